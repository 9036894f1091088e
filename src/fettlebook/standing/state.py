"""The fold: entries in the order of receipt become streams of facts that any verdict, of any moment, is asked from.

Adding an entry costs a search in the few streams it belongs to, whatever the book's length; nothing is judged until somebody asks.
Nothing here knows a rule: the same state answers under the rulebook of any day.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from fettlebook.book.received import Received
from fettlebook.standing.amend import DEEPEST, amends, versions
from fettlebook.standing.facts import Key, facts_of
from fettlebook.standing.gaps import Counter
from fettlebook.standing.streams import EVER, NOTHING, Fact, Stream

Original = Callable[[str], Received | None]
_NO_AMENDMENTS: Final[Sequence[Received]] = ()


class State:
    """All facts of a book, in both times.

    Parameters
    ----------
    original
        Gives an entry by its id, such as a store's `get`; asked only when another entry refers to it. Left out: the state keeps
        every entry itself, which suits a small book and tests.
    """

    def __init__(self, original: Original | None = None) -> None:
        self.streams: dict[Key, Stream] = {}
        self.devices: dict[str, Counter] = {}
        self.subjects: dict[str, str] = {}  # every subject that an entry named, in the order of the first one; one copy of each
        self._same: dict[tuple[str, ...], tuple[str, ...]] = {}  # the same few subjects together come again and again
        self.found: dict[tuple[Any, ...], Any] = {}  # searches through long times, kept by who made them; may be dropped
        self.seq = 0
        self.received = 0
        self._kept: dict[str, Received] | None = {} if original is None else None
        self._original: Original = original or self._kept.get  # type: ignore[union-attr] # one of the two is there
        self._amendments: dict[str, list[Received]] = {}
        self._placed: dict[str, list[tuple[Key, Fact]]] = {}  # of amended entries only

    def add(self, received: Received) -> None:
        """Add the next entry of the book.

        Parameters
        ----------
        received
            An entry whose seq is higher than that of all added before; one that was added already is passed over.
        """
        if received.seq <= self.seq:
            return
        self.seq, self.received = received.seq, received.received
        entry = received.entry
        if self._kept is not None:
            self._kept[entry.id] = received
        subjects = tuple([self.subjects.setdefault(subject, subject) for subject in entry.subjects])
        self._counter(entry.device).add(received, self._same.setdefault(subjects, subjects))
        if amends(received) and entry.refers_to is not None:
            self._amendments.setdefault(entry.refers_to, []).append(received)
            root = self._root(entry.refers_to)
            if root is not None:
                self._place_again(root)
        elif entry.id in self._amendments:
            self._place_again(received)
        else:
            fact: Fact | None = None
            for key, happened, says in facts_of(received):
                if fact is None or fact.says is not says or fact.happened != happened:  # one fact stands in several streams
                    fact = Fact(happened, received.seq, received.received, EVER, entry.id, says)
                self._stream(key).add(fact)

    def stream(self, subject: str, sort: str) -> Stream:
        """Return the facts of a sort about a subject; an empty stream where there are none."""
        return self.streams.get((subject, sort), NOTHING)

    def amendments_of(self, entry_id: str) -> Sequence[Received]:
        """Return the entries that correct or withdraw an entry, in the order of receipt."""
        return self._amendments.get(entry_id, _NO_AMENDMENTS)

    def _stream(self, key: Key) -> Stream:
        stream = self.streams.get(key)
        if stream is None:
            stream = self.streams[key] = Stream()
        return stream

    def _counter(self, device: str) -> Counter:
        counter = self.devices.get(device)
        if counter is None:
            counter = self.devices[device] = Counter()
        return counter

    def _root(self, entry_id: str) -> Received | None:
        """Return the entry that a chain of amendments is about; None while it, or a link, hasn't arrived."""
        for _ in range(DEEPEST):  # a hostile device may make entries that refer to each other in a ring
            entry = self._original(entry_id)
            if entry is None or entry.seq > self.seq:
                return None
            if not amends(entry) or entry.entry.refers_to is None:
                return entry
            entry_id = entry.entry.refers_to
        return None

    def _place_again(self, root: Received) -> None:
        """Put an amended entry's facts anew: one version for each stretch of receipt."""
        old = self._placed.get(root.entry.id)
        if old is None:
            old = [(key, Fact(at, root.seq, root.received, EVER, root.entry.id, says)) for key, at, says in facts_of(root)]
        for key, fact in old:
            self.stream(*key).take_out(fact)
        placed: list[tuple[Key, Fact]] = []
        for since, until, said in versions(root, lambda entry_id: self._amendments.get(entry_id, _NO_AMENDMENTS)):
            if said is not None:
                placed.extend((key, Fact(at, root.seq, since, until, root.entry.id, says)) for key, at, says in facts_of(said))
        for key, fact in placed:
            self._stream(key).add(fact)
        self._placed[root.entry.id] = placed


def fold_entries(entries: Iterable[Received], original: Original | None = None) -> State:
    """Return the state of a book's entries, given in the order of receipt."""
    state = State(original)
    for received in entries:
        state.add(received)
    return state
