"""A small invented book with what is shared: a load, its cycle and judgement, a result, a correction, a withdrawal."""

from pathlib import Path

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import (
    CycleJudged,
    CycleRecorded,
    EntryCorrected,
    EntryWithdrawn,
    FaultReported,
    InLoad,
    LoadPacked,
    OutletTemperature,
    SampleResult,
)
from fettlebook.book.received import Received
from fettlebook.book.stores import open_book

BEGAN = 1_795_600_000_000  # 2026-11-25 09:46:40 UTC


def written(folder: Path, *remarks: str) -> list[Received]:
    at = iter(range(BEGAN, BEGAN + 10**9, 60_000))

    def moment() -> Moment:
        return Moment(next(at), "Europe/London")

    with open_book(folder / "book.sqlite", "demo") as store:
        items = (InLoad(unit="exam#1", pack="p1"), InLoad(unit="exam#2", pack="p2"))
        store.note(LoadPacked(load="L1", machine="sterilizer 1", cycle="universal", items=items), moment=moment(), by="ana")
        cycle = CycleRecorded(
            machine="sterilizer 1", cycle="universal", load="L1", number=812, began_ms=BEGAN, ended_ms=BEGAN + 2_700_000, said="passed",
            readings={"hold_ms": 210_000},
        )  # fmt: skip
        kept = store.note(cycle, moment=moment(), by="ana")
        judged = CycleJudged(
            machine="sterilizer 1", load="L1", verdict="fit", reasons=("hold 210 s of 180 s",), judged_with="fettlebook 0.1.0"
        )
        store.note(judged, moment=moment(), refers_to=kept.id)
        result = SampleResult(
            sample="S1", chair="chair 1", outlets=("turbine",), quantity="water count", value=23, decimals=1, value_unit="CFU/mL",
            taken_ms=BEGAN - 86_400_000, method="R2A, 22 degC, 7 d",
        )  # fmt: skip
        mended = store.note(result, moment=moment(), by="ana")
        store.note(EntryCorrected(field="value", was=23, now=230, why="read wrong"), moment=moment(), by="ana", refers_to=mended.id)
        below = result.model_copy(update={"sample": "S2", "value": 1, "decimals": None, "mark": "below"})
        gone = store.note(below, moment=moment(), by="ana")
        store.note(EntryWithdrawn(why="another practice's"), moment=moment(), by="ana", refers_to=gone.id)
        store.note(OutletTemperature(place="basin 1", water="hot", water_mc=58_500, ran_s=60), moment=moment(), by="ben")
        for number, remark in enumerate(remarks):
            store.note(FaultReported(chair="chair 1", fault=f"f{number}", what=remark, stops_use=False), moment=moment(), by="ben")
        return list(store.read())
