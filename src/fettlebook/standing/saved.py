"""A state as bytes and back, subject by subject: what the fold of millions of entries gave, so that it need not be made at each start.

The head names devices and how far the fold went; a row holds the streams of one subject, a blob 256 facts of a long stream. Nothing that is
read back can run: MessagePack, decoded into the forms that this program knows. Whether it is the state of the book at hand is for whoever
keeps it to prove (`exchange.kept_state`).
"""

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from typing import Any, Final

import msgspec

from fettlebook.book.received import unseal
from fettlebook.errors import Mendable
from fettlebook.standing import facts as said_in
from fettlebook.standing.gaps import Counter, Hole
from fettlebook.standing.moved import Moved, MovedRow
from fettlebook.standing.older import Fact, Older, Place
from fettlebook.standing.shelf import NoStateError, Shelf
from fettlebook.standing.state import About, Fetched, Mended, Original, State
from fettlebook.standing.streams import NEWEST, Before, Stream

_ABOUT, _MENDED, _DEVICE = "", "\x01", "\x02"  # before a row's name; no subject begins with a control character
_PLAIN, _MIXED = -1, -2  # what is said has no form of ours (a word, a pair); the facts of a run have several
_AT_HAND: Final = 400  # parts of long streams that stay in memory, 256 facts each
_FORMS: Final = [form for form in vars(said_in).values() if isinstance(form, type) and issubclass(form, tuple) and hasattr(form, "_fields")]
_NUMBER_OF: Final = {form: number for number, form in enumerate(_FORMS)}

_FactRow = tuple[int, int, int, int, str, int, msgspec.Raw]
_Run = tuple[int, msgspec.Raw]  # facts one after the other: the form of what they say, and all of them, read at once
_StreamRow = tuple[str, tuple[bytes, ...] | None, tuple[int, int, bytes] | None, _Run]  # sort, older, `Before`, the newest
_AboutRow = tuple[int, dict[str, msgspec.Raw], list[MovedRow] | None]  # streams by sort, each read when it is asked for
_MendedRow = tuple[list[bytes], list[tuple[str, str, _FactRow]] | None]
_DeviceRow = tuple[int, list[Hole], _StreamRow, _StreamRow]
_HeadRow = tuple[int, int, list[str], list[str]]

_WRITE: Final = msgspec.msgpack.Encoder().encode
_SAYS: Final = [msgspec.msgpack.Decoder(form).decode for form in _FORMS]
_OF_FORM: Final = [msgspec.msgpack.Decoder(list[tuple[int, int, int, int, str, form]]).decode for form in _FORMS]  # type: ignore[valid-type]
_ANY: Final = msgspec.msgpack.Decoder().decode
_RUNS: Final = msgspec.msgpack.Decoder(_Run).decode
_FACTS: Final = msgspec.msgpack.Decoder(list[_FactRow]).decode
_PLAIN_FACTS: Final = msgspec.msgpack.Decoder(list[tuple[int, int, int, int, str, Any]]).decode
_STREAMS: Final = msgspec.msgpack.Decoder(_StreamRow).decode
_ABOUTS: Final = msgspec.msgpack.Decoder(_AboutRow).decode
_MENDEDS: Final = msgspec.msgpack.Decoder(_MendedRow).decode
_DEVICES: Final = msgspec.msgpack.Decoder(_DeviceRow).decode
_HEADS: Final = msgspec.msgpack.Decoder(_HeadRow).decode


def state_on(shelf: Shelf, original: Original, head: bytes) -> State:
    """Return the state that was kept on a shelf with this head; raises `NoStateError` where it is none.

    Parameters
    ----------
    original
        Gives an entry by its id, as for a state that is folded.
    """
    fetched = _FromShelf(shelf)
    state = fresh_on(shelf, original)
    state.fetched = fetched
    try:
        state.seq, state.received, devices, early = _HEADS(head)
    except (msgspec.MsgspecError, ValueError) as error:
        raise NoStateError(str(error)) from error
    state.early = set(early)
    state.devices = {device: fetched.device(device) for device in devices}
    return state


def fresh_on(shelf: Shelf, original: Original) -> State:
    """Return an empty state that will be kept on an empty shelf."""
    state = State(original)
    state.changed = (set(), set())
    state.fetched = _FromShelf(shelf)
    return state


def keep(state: State, shelf: Shelf) -> None:
    """Keep on its shelf what changed of a state since it was last kept, and let go of what stands there."""
    assert state.changed is not None  # it was made for a shelf
    assert isinstance(state.fetched, _FromShelf)
    head = _WRITE((state.seq, state.received, list(state.devices), sorted(state.early)))
    shelf.commit(_rows(state, _Keeping(shelf, state.fetched)), head)
    for names in state.changed:
        names.clear()
    state.forget()


def _rows(state: State, keeping: "_Keeping") -> Iterator[tuple[str, bytes]]:
    subjects, entries = state.changed or ((), ())
    for subject in subjects:
        about = state.abouts[subject]
        untouched = about.kept.rows if isinstance(about.kept, _KeptStreams) else {}
        streams = {sort: keeping.stream(sort, stream) for sort, stream in about.streams.items()}
        yield _ABOUT + subject, _WRITE((about.named, untouched | streams, None if about.moved is None else about.moved.rows()))
    for entry_id in entries:
        mended = state.mended[entry_id]
        placed = None if mended.placed is None else [(*key, _row(fact)) for key, fact in mended.placed]
        yield _MENDED + entry_id, _WRITE(([one.leaf for one in mended.amendments], placed))
    for device, counter in state.devices.items():
        both = keeping.stream("numbers", counter.numbers), keeping.stream("closed", counter.closed)
        yield _DEVICE + device, _WRITE((counter.highest, counter.open, *both))


def as_plain(state: State) -> dict[str, Any]:
    """Return all of a state as plain values, to hold one against another: on a shelf or not, it is the same."""
    fetched = state.fetched if isinstance(state.fetched, _FromShelf) else None
    mended = {name: state.mended_of(name) for name in (*state.mended, *(fetched.entries() if fetched else ()))}
    streams, moved = {}, {}
    for subject in (*state.abouts, *(fetched.names() if fetched else ())):
        about = state.about(subject)
        if about is not None:
            sorts = {*about.streams, *(about.kept.rows if isinstance(about.kept, _KeptStreams) else ())}
            found = {sort: stream for sort in sorts if (stream := about.stream(sort)) is not None}
            streams.update({(subject, sort): list(stream) for sort, stream in found.items()})
            moved[subject] = None if about.moved is None else sorted(about.moved.rows(), key=repr)
    return {
        "seq": (state.seq, state.received, state.early),
        "subjects": list(state.subjects),
        "streams": streams,
        "moved": moved,
        "mended": {name: (one.amendments, one.placed) for name, one in mended.items() if one is not None},
        "devices": {d: (c.highest, c.open, list(c.numbers), list(c.closed)) for d, c in state.devices.items()},
    }


class _Keeping:
    """Writes streams; facts that went into older parts go onto the shelf at once."""

    def __init__(self, shelf: Shelf, fetched: "_FromShelf") -> None:
        self._shelf, self._fetched = shelf, fetched

    def stream(self, sort: str, stream: Stream) -> tuple[Any, ...]:
        older = stream.older.columns(self._put, self._fetched.facts) if stream.older else None
        if stream.before is not None and len(stream.facts) <= 2 * NEWEST:  # nobody has read those before: they stay as they are
            return sort, older, stream.before[:3], _run(stream.facts)
        facts = stream.all_newest()
        before = None if len(facts) <= 2 * NEWEST else (len(facts) - NEWEST, facts[0].happened, _WRITE(_run(facts[:-NEWEST])))
        return sort, older, before, _run(facts if before is None else facts[-NEWEST:])

    def _put(self, facts: list[Fact]) -> Place:
        return self._shelf.put(_WRITE(_run(facts)))


class _KeptStreams:
    """The streams of a subject as they were kept."""

    __slots__ = ("_made", "rows")

    def __init__(self, rows: dict[str, msgspec.Raw], made: Callable[[_StreamRow], Stream]) -> None:
        self.rows, self._made = rows, made

    def __call__(self, sort: str) -> Stream | None:
        raw = self.rows.get(sort)
        return None if raw is None else self._made(_read(_STREAMS, raw))


class _FromShelf(Fetched):
    """What is asked for, from the shelf."""

    def __init__(self, shelf: Shelf) -> None:
        self._shelf = shelf
        self.facts = lru_cache(maxsize=_AT_HAND)(self._facts)

    def about(self, subject: str) -> About | None:
        raw = self._shelf.row(_ABOUT + subject)
        return None if raw is None else self._about(subject, raw)

    def mended(self, entry_id: str) -> Mended | None:
        raw = self._shelf.row(_MENDED + entry_id)
        if raw is None:
            return None
        mended = Mended()
        leaves, placed = _read(_MENDEDS, raw)
        try:
            mended.amendments = [unseal(leaf) for leaf in leaves]
        except Mendable as error:
            raise NoStateError(str(error)) from error
        if placed is not None:
            mended.placed = [((subject, sort), _fact(row)) for subject, sort, row in placed]
        return mended

    def device(self, device: str) -> Counter:
        raw = self._shelf.row(_DEVICE + device)
        if raw is None:
            raise NoStateError(f"device {device} is missing")
        counter = Counter()
        counter.highest, counter.open, numbers, closed = _read(_DEVICES, raw)
        counter.numbers, counter.closed = self._stream(numbers), self._stream(closed)
        return counter

    def subjects(self) -> Iterator[tuple[int, str]]:
        for name, raw in self._shelf.rows():
            if name[:1] not in (_MENDED, _DEVICE) and (named := _read(_ABOUTS, raw)[0]):
                yield named, name

    def names(self) -> list[str]:
        """Return every subject that was kept."""
        return [name for name, _ in self._shelf.rows() if name[:1] not in (_MENDED, _DEVICE)]

    def entries(self) -> list[str]:
        """Return every amended entry that was kept."""
        return [name[1:] for name, _ in self._shelf.rows() if name[:1] == _MENDED]

    def _about(self, subject: str, raw: bytes) -> About:
        named, streams, moved = _read(_ABOUTS, raw)
        about = About(subject, named)
        about.moved = None if moved is None else Moved(moved)
        about.kept = _KeptStreams(streams, self._stream)
        return about

    def _stream(self, row: _StreamRow) -> Stream:
        stream = Stream()
        _, older, before, newest = row
        stream.facts = _facts_of(newest)
        stream.before = None if before is None else Before(*before, _run_of)
        stream.older = None if older is None else Older(older, self.facts)
        return stream

    def _facts(self, place: Place) -> list[Fact]:
        return _run_of(self._shelf.blob(place))


def _run(facts: Sequence[Fact]) -> tuple[int, list[Any]]:
    forms = {_NUMBER_OF.get(type(fact.says), _PLAIN) for fact in facts}
    if len(forms) == 1:
        return forms.pop(), list(facts)
    return _MIXED, [_row(fact) for fact in facts]


def _run_of(raw: bytes) -> list[Fact]:
    return _facts_of(_read(_RUNS, raw))


def _facts_of(run: _Run) -> list[Fact]:
    form, raw = run
    if form == _MIXED:
        return [_fact(row) for row in _read(_FACTS, raw)]
    if form == _PLAIN:
        return [Fact._make((*row[:5], _tuples(row[5]))) for row in _read(_PLAIN_FACTS, raw)]
    if not 0 <= form < len(_FORMS):
        raise NoStateError(f"form {form} is not known")
    return list(map(Fact._make, _read(_OF_FORM[form], raw)))


def _row(fact: Fact) -> tuple[Any, ...]:
    return (*fact[:5], _NUMBER_OF.get(type(fact.says), _PLAIN), fact.says)


def _fact(row: _FactRow) -> Fact:
    form, raw = row[5:]
    try:
        says = _tuples(_ANY(raw)) if form == _PLAIN else _SAYS[form](raw)
    except (msgspec.MsgspecError, IndexError) as error:
        raise NoStateError(str(error)) from error
    return Fact(*row[:5], says)


def _tuples(value: Any) -> Any:
    return tuple([_tuples(part) for part in value]) if isinstance(value, list) else value


def _read(decode: Any, raw: bytes) -> Any:
    try:
        return decode(raw)
    except (msgspec.MsgspecError, ValueError) as error:
        raise NoStateError(str(error)) from error


__all__: Sequence[str] = ("NoStateError", "as_plain", "fresh_on", "keep", "state_on")
