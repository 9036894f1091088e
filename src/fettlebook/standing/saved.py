"""A state as bytes and back: what the fold of millions of entries gave, so that it need not be made again at each start.

Columns, not objects: the facts' numbers stand beside each other, what they say stands in one table for each sort of saying, and texts that
come again and again stand once. Nothing that is read back can run: lines of JSON, checked against the forms that this program knows.
Whether they are the state of the book at hand is for whoever keeps them to prove (`exchange.kept_state`).
"""

import gc
import json
import sys
from array import array
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice, starmap
from typing import Any, Final

from fettlebook.book.received import unseal
from fettlebook.standing import facts as said_in
from fettlebook.standing.gaps import Counter, Hole
from fettlebook.standing.state import Original, State
from fettlebook.standing.streams import Fact, Stream

FORMS: Final[dict[str, Callable[..., Any]]] = {
    name: form for name, form in vars(said_in).items() if isinstance(form, type) and issubclass(form, tuple) and hasattr(form, "_fields")
}
_ID: Final = 36  # characters of an entry's id
_SCALAR: Final = (str, int, float, bool, type(None))
_PLAIN: Final = -1  # says no form of ours: a word, a pair


class NoStateError(Exception):
    """The bytes are not those of a state that this program writes."""


def state_to_lines(state: State) -> Iterator[bytes]:
    """Yield a state as lines of JSON."""
    out = _Out()
    facts: dict[int, int] = {}
    held: list[Fact] = []
    keys: list[tuple[str, str, int, int]] = []
    places = array("q")
    placed = [(entry_id, [(key, fact) for key, fact in rows]) for entry_id, rows in state._placed.items()]
    for fact in (fact for stream in state.streams.values() for fact in stream.facts):
        if id(fact) not in facts:
            facts[id(fact)] = len(held)
            held.append(fact)
    for fact in (fact for _, rows in placed for _, fact in rows):
        if id(fact) not in facts:
            facts[id(fact)] = len(held)
            held.append(fact)
    for (subject, sort), stream in state.streams.items():
        keys.append((subject, sort, len(stream.facts), stream.rewritten))
        places.extend(facts[id(fact)] for fact in stream.facts)
    forms, rows = array("q"), array("q")
    for fact in held:
        form, row = out.said(fact.says)
        forms.append(form)
        rows.append(row)
    yield _line([state.seq, state.received, len(held)])
    yield from out.lines()
    numbers = [_packed([getattr(fact, name) for fact in held]) for name in ("happened", "seq", "since", "until")]
    yield _line([*numbers, "".join(fact.entry for fact in held), _packed(forms), _packed(rows)])
    yield _line([_texts([key[0] for key in keys]), _texts([key[1] for key in keys])])
    yield _line([_packed([key[2] for key in keys]), _packed([key[3] for key in keys]), _packed(places)])
    yield _line(list(state.subjects))
    yield _line([[entry_id, [[*key, facts[id(fact)]] for key, fact in rows]] for entry_id, rows in placed])
    yield _line([[entry_id, [one.leaf.decode() for one in amended]] for entry_id, amended in state._amendments.items()])
    yield _line(len(state.devices))
    for device, counter in state.devices.items():
        same: dict[tuple[str, ...], int] = {}
        touched = [same.setdefault(subjects, len(same)) for subjects in counter.subjects]
        arrays = [_packed(numbers) for numbers in (counter.n, counter.happened, counter.received, touched)]
        yield _line([device, *arrays, list(same), counter.open, counter.closed, counter.earliest])


def state_from_lines(lines: Iterator[bytes], original: Original) -> State:
    """Return the state that these lines hold; raises `NoStateError` where they don't hold one.

    Parameters
    ----------
    original
        Gives an entry by its id, as for a state that is folded.
    """
    try:
        with _no_collecting():
            return _state(map(json.loads, lines), original)
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, StopIteration, RuntimeError, OverflowError) as error:
        raise NoStateError(str(error)) from error


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Let nothing look for rings of objects meanwhile: there are none among these, and with millions of them it takes half the time."""
    were = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if were:
            gc.enable()


def _state(lines: Iterator[Any], original: Original) -> State:
    state = State(original)
    state.seq, state.received, count = next(lines)
    said = _In(lines)
    numbers = next(lines)
    ids, happened, seq, since, until, forms, rows = numbers[4], *map(_unpacked, (*numbers[:4], *numbers[5:]))
    entries = [ids[i : i + _ID] for i in range(0, len(ids), _ID)]
    says = list(map(said.says, forms, rows))
    facts = list(starmap(Fact, zip(happened, seq, since, until, entries, says, strict=True)))
    if len(facts) != count:
        raise ValueError("facts are missing")
    (subjects, sorts), (lengths, rewritten, places) = map(_read_texts, next(lines)), map(_unpacked, next(lines))
    following = map(facts.__getitem__, places)
    for subject, sort, length, changes in zip(subjects, sorts, lengths, rewritten, strict=True):
        stream = state.streams[subject, sort] = Stream()
        stream.facts = list(islice(following, length))
        stream.rewritten = changes
    state.subjects = {subject: subject for subject in next(lines)}
    state._placed = {entry_id: [((a, b), facts[place]) for a, b, place in rows] for entry_id, rows in next(lines)}
    state._amendments = {entry_id: [unseal(leaf.encode()) for leaf in leaves] for entry_id, leaves in next(lines)}
    for _ in range(next(lines)):
        device, *arrays, same, still_open, closed, earliest = next(lines)
        counter = state.devices[device] = Counter()
        counter.n, counter.happened, counter.received, touched = map(_unpacked, arrays)
        shared = [_shared(state, together) for together in same]
        counter.subjects = [shared[i] for i in touched]
        counter.open, counter.closed, counter.earliest = list(starmap(Hole, still_open)), list(starmap(Hole, closed)), earliest
    return state


def _shared(state: State, together: Sequence[str]) -> tuple[str, ...]:
    subjects = tuple([state.subjects[subject] for subject in together])
    return state._same.setdefault(subjects, subjects)


class _Out:
    """Tables of what facts say, one for each form, and things that come in them: tuples and mappings, each once."""

    def __init__(self) -> None:
        self._tables: dict[str, list[tuple[Any, ...]]] = {}
        self._rows: dict[int, int] = {}
        self._things: dict[str, int] = {}
        self._names = list(FORMS)

    def said(self, says: Any) -> tuple[int, int]:
        """Return form and row of what a fact says."""
        name = type(says).__name__
        if name not in FORMS or type(says) is not FORMS[name]:
            return _PLAIN, self._thing(says)
        table = self._tables.setdefault(name, [])
        row = self._rows.get(id(says))
        if row is None:
            row = self._rows[id(says)] = len(table)
            table.append(says)
            for part in says:
                if type(part).__name__ in FORMS:
                    self.said(part)
        return self._names.index(name), row

    def _thing(self, value: Any) -> int:
        spelled = json.dumps(self._spelled(value), ensure_ascii=False)
        return self._things.setdefault(spelled, len(self._things))

    def _spelled(self, value: Any) -> Any:
        if isinstance(value, tuple):
            name = type(value).__name__
            return [name if name in FORMS else "", [self._spelled(part) for part in value]]
        if isinstance(value, dict):
            return {name: self._spelled(part) for name, part in value.items()}
        if type(value) in _SCALAR:
            return value
        raise TypeError(f"a {type(value).__name__} in a fact")

    def lines(self) -> Iterator[bytes]:
        """Yield the things, then each table; one whose columns name rows of another comes after it."""
        columns = {name: self._columns(name) for name in self._tables}  # which may add things
        yield b"[" + ",".join(self._things).encode() + b"]\n"
        yield _line(len(columns))
        ready: set[str] = set()
        while waiting := [name for name in columns if name not in ready]:
            for name in waiting:
                if all(column[0] != "rows" or column[1] in ready for column in columns[name]):
                    ready.add(name)
                    yield _line([name, len(self._tables[name]), columns[name]])

    def _columns(self, name: str) -> list[list[Any]]:
        return [self._column(values) for values in zip(*self._tables[name], strict=True)]

    def _column(self, values: Sequence[Any]) -> list[Any]:
        kinds = {type(value) for value in values}
        if kinds == {int}:
            return ["numbers", _packed(values)]
        if kinds <= {str, type(None)}:
            return ["texts", _texts(values)]
        if kinds <= set(_SCALAR):
            return ["plain", list(values)]
        form = next(iter(kinds)).__name__
        if len(kinds) == 1 and form in FORMS:
            return ["rows", form, _packed([self._rows[id(value)] for value in values])]
        return ["things", _packed([self._thing(value) for value in values])]


class _In:
    """What `_Out` wrote, read back."""

    def __init__(self, lines: Iterator[Any]) -> None:
        self._names = list(FORMS)
        self._things = [_thing(spelled) for spelled in next(lines)]
        self._tables: dict[str, list[Any]] = {}
        for _ in range(next(lines)):
            name, count, columns = next(lines)
            read = [self._column(*column) for column in columns]
            self._tables[name] = list(starmap(FORMS[name], zip(*read, strict=True)))
            if len(self._tables[name]) != count:
                raise ValueError("rows are missing")
        self._by_form = [self._tables.get(name, []) for name in self._names]

    def says(self, form: int, row: int) -> Any:
        """Return what a fact says."""
        return self._by_form[form][row] if form != _PLAIN else self._things[row]

    def _column(self, how: str, *what: Any) -> Sequence[Any]:
        if how == "numbers":
            return _unpacked(what[0])
        if how == "texts":
            return _read_texts(what[0])
        if how == "rows":
            return [self._tables[what[0]][i] for i in _unpacked(what[1])]
        if how == "things":
            return [self._things[i] for i in _unpacked(what[0])]
        return list(what[0])


def _thing(spelled: Any) -> Any:
    if isinstance(spelled, list):
        name, parts = spelled
        read = [_thing(part) for part in parts]
        return FORMS[name](*read) if name else tuple(read)
    if isinstance(spelled, dict):
        return {name: _thing(part) for name, part in spelled.items()}
    return spelled


def _texts(values: Sequence[str | None]) -> list[Any]:
    """Return texts so that each stands once: a list of them, and which stands where."""
    once: dict[str | None, int] = {}
    where = [once.setdefault(value, len(once)) for value in values]
    return [list(once), _packed(where)]


def _read_texts(read: Sequence[Any]) -> list[Any]:
    return list(map(read[0].__getitem__, _unpacked(read[1])))


def _packed(numbers: Sequence[int]) -> str:
    """Return whole numbers below 2^63 as text: eight bytes each, the least first."""
    held = array("q", numbers)
    if sys.byteorder == "big":
        held.byteswap()
    return b64encode(held.tobytes()).decode()


def _unpacked(text: str) -> "array[int]":
    held = array("q")
    held.frombytes(b64decode(text))
    if sys.byteorder == "big":
        held.byteswap()
    return held


def _line(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"
