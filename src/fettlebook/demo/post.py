"""How invented entries get from tablets into a book: at once, late, offline for a day, by a wrong clock, mended afterwards."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from fettlebook.book.entries import VERSION, Entry, Mono, entry_of
from fettlebook.book.kinds import Data, EntryCorrected, EntryWithdrawn, subjects_of
from fettlebook.book.received import Received, seal

MINUTE: Final = 60_000
_BEFORE: Final = 1_000_000_000_000  # forward clocks began then


@dataclass(slots=True)
class Said:
    """Something that somebody says at a moment; `of` is what it is about, where it mends or judges something said before."""

    at: int
    data: Data
    by: str
    device: str
    order: int
    of: "Said | None" = None
    id: str = ""


@dataclass
class Post:
    """What was said, what is on its way, and what has arrived.

    `late` and `mends` are the shares of entries that come up to a day later, and that are mended. `offline` and `clock_off` hold, for a
    device, until when it has no network, and how far its wall clock runs ahead [ms].
    """

    chance: random.Random
    zone: str
    late: float = 0.0
    mends: float = 0.0
    sealed: bool = True
    seq: int = 0
    received: int = 0
    offline: dict[str, int] = field(default_factory=dict)
    clock_off: dict[str, int] = field(default_factory=dict)
    _said: list[Said] = field(default_factory=list)
    _waiting: list[tuple[int, int, Entry, int]] = field(default_factory=list)  # comes, order, entry, offset
    _counts: dict[str, int] = field(default_factory=dict)
    _orders: int = 0

    def say(self, at: int, data: Data, by: str, device: str, of: Said | None = None) -> Said:
        """Take what somebody says; it is sent when its moment has come."""
        self._orders += 1
        said = Said(at, data, by, device, self._orders, of)
        self._said.append(said)
        return said

    def arrive(self, until: int) -> Iterator[Received]:
        """Yield what is received before a moment, in the order of receipt."""
        now, self._said = [s for s in self._said if s.at < until], [s for s in self._said if s.at >= until]
        for said in sorted(now, key=lambda s: (s.at, s.order)):
            self._send(said)
        self._waiting.sort(key=lambda one: one[:2])
        while self._waiting and self._waiting[0][0] < until:
            comes, _, entry, offset = self._waiting.pop(0)
            yield self._into_the_book(entry, comes, offset)

    def _send(self, said: Said) -> None:
        offset = -self.clock_off.get(said.device, 0)
        entry = self._entry(said, said.at - offset, said.of.id if said.of else None)
        said.id = entry.id
        late = self.chance.randint(1, 24 * 60) * MINUTE if self._happens(self.late) else self.chance.randint(20, 900)
        comes = max(said.at + late, self.offline.get(said.device, 0))
        self._waiting.append((comes, said.order, entry, offset))
        if self._happens(self.mends):
            self._mend(said, entry, offset)

    def _mend(self, said: Said, entry: Entry, offset: int) -> None:
        at, why = said.at + self.chance.randint(1, 600) * MINUTE, "invented slip"
        data: Data = EntryWithdrawn(why=why)
        if self.chance.random() >= 0.5:
            data = EntryCorrected(field="at", was=entry.at, now=entry.at - self.chance.randint(1, 90) * MINUTE, why=why)
        self._orders += 1
        mended = Said(at, data, said.by, said.device, self._orders)
        self._waiting.append((at + self.chance.randint(20, 900), mended.order, self._entry(mended, at - offset, entry.id), offset))

    def _entry(self, said: Said, claimed: int, refers_to: str | None) -> Entry:
        n = self._counts[said.device] = self._counts.get(said.device, 0) + 1
        fields = {
            "v": VERSION, "id": self._id(said.at), "kind": said.data.KIND, "at": claimed, "zone": self.zone,
            "mono": Mono(session=f"{said.device} s1", ms=said.at - _BEFORE), "device": said.device, "n": n, "by": said.by,
            "subjects": subjects_of(said.data), "data": said.data, "refers_to": refers_to,
        }  # fmt: skip
        return entry_of(fields)

    def _id(self, at: int) -> str:
        bits = self.chance.getrandbits(74)
        text = f"{at:012x}7{bits & 0xFFF:03x}{8 + (bits >> 72):x}{(bits >> 12) & (1 << 60) - 1:015x}"
        return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"

    def _into_the_book(self, entry: Entry, comes: int, offset: int) -> Received:
        self.seq += 1
        self.received = max(comes, self.received + 1)
        raw = entry.encode() if self.sealed else b""
        leaf = seal(raw, seq=self.seq, received=self.received, offset=offset, via=entry.device) if self.sealed else b""
        return Received(self.seq, self.received, offset, entry.device, entry, leaf)

    def _happens(self, share: float) -> bool:
        return share > 0 and self.chance.random() < share
