"""The fold: entries in the order of receipt become streams of facts that any verdict, of any moment, is asked from.

Adding an entry costs a search in the few streams it belongs to, whatever the book's length; nothing is judged until somebody asks.
Nothing here knows a rule: the same state answers under the rulebook of any day.

A state can stand on a shelf (`shelf.py`): what was kept of it there is taken down subject by subject, when a question or an entry needs it.
"""

import weakref
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from typing import Final, Protocol

from fettlebook.book.received import Received
from fettlebook.standing.amend import DEEPEST, amends, versions
from fettlebook.standing.facts import Key, facts_of
from fettlebook.standing.gaps import Counter
from fettlebook.standing.moved import Moved
from fettlebook.standing.streams import EVER, NOTHING, Fact, Stream

Kept = Callable[[str], Stream | None]
Original = Callable[[str], Received | None]
_NO_AMENDMENTS: Final[Sequence[Received]] = ()
NAMED: Final = "=named"  # what changes when an entry names a subject for the first time: no sort of fact is called so


class Ear(Protocol):
    """Who wants to know what an entry changed."""

    def hear(self, key: Key) -> None:
        """Take note that the facts of a stream are others now, or that a subject was named (`NAMED`)."""


class About:
    """All streams of one subject."""

    __slots__ = ("kept", "moved", "name", "named", "streams")

    def __init__(self, name: str, named: int = 0) -> None:
        self.name = name  # one copy serves all that speak of it
        self.named = named  # seq of the first entry that names the subject; 0: none does, facts alone are about it
        self.streams: dict[str, Stream] = {}
        self.moved: Moved | None = None  # of a chair: when its water moved
        self.kept: Kept | None = None  # streams that nobody asked for since the subject was taken down

    def stream(self, sort: str) -> Stream | None:
        """Return the facts of a sort; None where there are none."""
        found = self.streams.get(sort)
        if found is None and self.kept is not None:
            found = self.kept(sort)
            if found is not None:
                self.streams[sort] = found
        return found


class Mended:
    """What was said of one entry later, and where its facts were put then."""

    __slots__ = ("amendments", "placed")

    def __init__(self) -> None:
        self.amendments: list[Received] = []
        self.placed: list[tuple[Key, Fact]] | None = None  # None: never put anew


class Fetched:
    """Where a state that was kept fetches from; without a shelf it has all there is in memory."""

    def about(self, subject: str) -> About | None:
        """Return what was kept of a subject."""
        return None

    def mended(self, entry_id: str) -> Mended | None:
        """Return what was kept of an amended entry."""
        return None

    def subjects(self) -> Iterator[tuple[int, str]]:
        """Yield every subject that was kept and that an entry named, with that entry's seq."""
        return iter(())


class State:
    """All facts of a book, in both times.

    Parameters
    ----------
    original
        Gives an entry by its id, such as a store's `get`; asked only when another entry refers to it. Left out: the state keeps
        every entry itself, which suits a small book and tests.
    """

    def __init__(self, original: Original | None = None) -> None:
        self.devices: dict[str, Counter] = {}
        self.seq = 0
        self.received = 0
        self.holed = 0  # entries of devices that missed some: each may tell more of what they were working on
        self.early: set[str] = set()  # entries that others refer to and that have not arrived
        self.abouts: dict[str, About] = {}  # of a state on a shelf: what was asked for or has changed
        self.mended: dict[str, Mended] = {}
        self.changed: tuple[set[str], set[str]] | None = None  # subjects and entries that are not on the shelf as they are now
        self.fetched = Fetched()
        self._ears: list[weakref.ref[Ear]] = []
        self._same: dict[tuple[str, ...], tuple[str, ...]] = {}  # the same few subjects together come again and again
        self._kept: dict[str, Received] | None = {} if original is None else None
        self._original: Original = original or self._kept.get  # type: ignore[union-attr] # one of the two is there

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
        names = []
        for subject in entry.subjects:
            about = self._about_to_change(subject)
            if not about.named:
                about.named = received.seq
                self._tell((subject, NAMED))
            names.append(about.name)
        subjects, counter = tuple(names), self._counter(entry.device)
        holes = bool(counter.open)
        counter.add(received, self._same.setdefault(subjects, subjects))
        self.holed += holes or bool(counter.open)
        if amends(received) and entry.refers_to is not None:
            self.early.discard(entry.id)
            self._mended_to_change(entry.refers_to).amendments.append(received)
            root = self._root(entry.refers_to)
            if root is not None:
                self._place_again(root)
        elif entry.id in self.early:
            self.early.discard(entry.id)
            self._place_again(received)
        else:
            fact: Fact | None = None
            for key, happened, says in facts_of(received):
                if fact is None or fact.says is not says or fact.happened != happened:  # one fact stands in several streams
                    fact = Fact(happened, received.seq, received.received, EVER, entry.id, says)
                self._put(key, fact)

    def begin_after(self, pruned: Mapping[str, Sequence[tuple[int, int]]]) -> None:
        """Begin a fold of a book whose oldest entries were pruned; `pruned` has the stretches of each device's numbers."""
        for device, stretches in pruned.items():
            self._counter(device).begin_after(stretches)

    def listen(self, ear: Ear) -> None:
        """Tell someone, for as long as they are there, what each entry from now on changes."""
        self._ears = [*(known for known in self._ears if known() is not None), weakref.ref(ear)]

    def stream(self, subject: str, sort: str) -> Stream:
        """Return the facts of a sort about a subject; an empty stream where there are none."""
        about = self.about(subject)
        found = None if about is None else about.stream(sort)
        return NOTHING if found is None else found

    def about(self, subject: str) -> About | None:
        """Return all streams of a subject; None where nothing was said of it."""
        about = self.abouts.get(subject)
        if about is None:
            about = self.fetched.about(subject)
            if about is not None:
                self.abouts[subject] = about
        return about

    @property
    def subjects(self) -> "Subjects":
        """Every subject that an entry named, in the order of the first one, then by name."""
        return Subjects(self)

    def amendments_of(self, entry_id: str) -> Sequence[Received]:
        """Return the entries that correct or withdraw an entry, in the order of receipt."""
        mended = self.mended_of(entry_id)
        return _NO_AMENDMENTS if mended is None else mended.amendments

    def forget(self) -> None:
        """Let go what stands on the shelf: it comes down again when it is asked for."""
        self.abouts.clear()
        self.mended.clear()
        self._same.clear()

    def _about_to_change(self, subject: str) -> About:
        about = self.about(subject)
        if about is None:
            about = self.abouts[subject] = About(subject)
        if self.changed is not None:
            self.changed[0].add(subject)
        return about

    def _stream(self, key: Key) -> Stream:
        about = self._about_to_change(key[0])
        stream = about.stream(key[1])
        if stream is None:
            stream = about.streams[key[1]] = Stream()
        return stream

    def _tell(self, key: Key) -> None:
        for known in self._ears:
            ear = known()
            if ear is not None:
                ear.hear(key)

    def _put(self, key: Key, fact: Fact) -> None:
        self._stream(key).add(fact)
        if self._ears:
            self._tell(key)
        if _moves_water(key):
            about = self.abouts[key[0]]
            if about.moved is None:
                about.moved = Moved()
            about.moved.add(key[1], fact)

    def mended_of(self, entry_id: str) -> Mended | None:
        """Return what was said of an entry later; None where nothing was."""
        mended = self.mended.get(entry_id)
        if mended is None:
            mended = self.fetched.mended(entry_id)
            if mended is not None:
                self.mended[entry_id] = mended
        return mended

    def _mended_to_change(self, entry_id: str) -> Mended:
        mended = self.mended_of(entry_id)
        if mended is None:
            mended = self.mended[entry_id] = Mended()
        if self.changed is not None:
            self.changed[1].add(entry_id)
        return mended

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
                self.early.add(entry_id)
                return None
            if not amends(entry) or entry.entry.refers_to is None:
                return entry
            entry_id = entry.entry.refers_to
        return None

    def _place_again(self, root: Received) -> None:
        """Put an amended entry's facts anew: one version for each stretch of receipt."""
        mended = self._mended_to_change(root.entry.id)
        old = mended.placed
        if old is None:
            old = [(key, Fact(at, root.seq, root.received, EVER, root.entry.id, says)) for key, at, says in facts_of(root)]
        for key, fact in old:
            if self.stream(*key) is not NOTHING:
                self._stream(key).take_out(fact)
                self._tell(key)
                moved = self.abouts[key[0]].moved
                if moved is not None and _moves_water(key):
                    moved.take_out(key[1], fact)
        placed: list[tuple[Key, Fact]] = []
        for since, until, said in versions(root, self.amendments_of):
            if said is not None:
                placed.extend((key, Fact(at, root.seq, since, until, root.entry.id, says)) for key, at, says in facts_of(said))
        for key, fact in placed:
            self._put(key, fact)
        mended.placed = placed


def _moves_water(key: Key) -> bool:
    """Tell whether facts of a stream may say that water moved at a chair."""
    return key[0].startswith("chair:") and (key[1] == "visit" or key[1].startswith("done:"))


class Subjects(Collection[str]):
    """The subjects that the entries of a book named."""

    def __init__(self, state: State) -> None:
        self._state = state

    def __contains__(self, subject: object) -> bool:
        about = self._state.about(subject) if isinstance(subject, str) else None
        return about is not None and about.named > 0

    def _all(self) -> dict[str, int]:
        named = {subject: seq for seq, subject in self._state.fetched.subjects()}
        return named | {subject: about.named for subject, about in self._state.abouts.items() if about.named}

    def __iter__(self) -> Iterator[str]:
        """Yield them in the order of the first entry that named them, then by name; of a state on a shelf this takes all of it down."""
        named = self._all()
        return iter(sorted(named, key=lambda subject: (named[subject], subject)))

    def __len__(self) -> int:
        return len(self._all())


def fold_entries(entries: Iterable[Received], original: Original | None = None) -> State:
    """Return the state of a book's entries, given in the order of receipt."""
    state = State(original)
    for received in entries:
        state.add(received)
    return state
