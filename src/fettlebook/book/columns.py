"""What stands a second time beside the sealed bytes, held against them: device, id, kind and counter of each record, and its subjects.

Columns are compared as they are. The table of subjects is in the order of subjects, not of entries, so two sums are compared: over each
(subject, entry) what the subject weighs times what the place in the book does, by weights that nobody can foresee.
"""

from collections.abc import Sequence
from operator import mul
from typing import Any, Final

import msgspec

from fettlebook.book.sweep import P, Q, Salt, keyed

_CACHED_MOST: Final = 20_000


class _Entry(msgspec.Struct, gc=False):
    device: str
    id: str
    kind: str
    n: int
    subjects: msgspec.Raw


class _Record(msgspec.Struct, gc=False):
    entry: _Entry


_records: Final = msgspec.json.Decoder(_Record).decode_lines
_lists: Final = msgspec.json.Decoder(list[list[str]]).decode


class Columns:
    """Holds columns against records, a run at a time.

    What subjects weigh is kept for those seen lately: a visit's entries follow each other, a chair's come again and again.
    """

    def __init__(self, salt: Salt) -> None:
        self._salt = salt
        self._as_spelled: dict[bytes, int] = {}
        self._each: dict[str, int] = {}

    def weigh(self, lines: bytes, columns: Sequence[Sequence[Any]], first: int) -> int | None:
        """Return the sum over the subjects of these records.

        Parameters
        ----------
        lines
            The records from seq `first` on, one a line.
        columns
            Device, id, kind and n, of each record.

        Returns
        -------
        int
            None where a column is not what its record says.
        """
        try:
            entries = [record.entry for record in _records(lines)]
            devices, ids, kinds, counters = columns
            if (
                [*devices] != [entry.device for entry in entries]
                or [*ids] != [entry.id for entry in entries]
                or [*kinds] != [entry.kind for entry in entries]
                or [*counters] != [entry.n for entry in entries]
            ):
                return None
            weighed = self._weights([bytes(entry.subjects) for entry in entries])
        except (msgspec.MsgspecError, RecursionError):
            return None
        _, a, b = self._salt
        total: int = sum(map(mul, weighed, [(seq * a % P) * (seq * b % Q) for seq in range(first, first + len(weighed))]))
        return total

    def _weights(self, spelled: Sequence[bytes]) -> list[int]:
        """Return what each of these JSON lists of subjects weighs, each subject once."""
        known, each = self._as_spelled, self._each
        if len(known) + len(each) > _CACHED_MOST:
            known.clear()
            each.clear()
        if new := [*{one for one in spelled if one not in known}]:
            lists = [{*one} for one in _lists(b"[" + b",".join(new) + b"]")]
            each.update((one, keyed(one, self._salt)) for one in set[str]().union(*lists).difference(each))
            known.update(zip(new, [sum(map(each.__getitem__, one)) for one in lists], strict=True))
        return [*map(known.__getitem__, spelled)]
