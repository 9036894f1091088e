"""What a tablet may say, beside what the gate asks of everyone: the day's work, in a person's name, with all subjects named.

Files, plans, judgements of logs, releases and what the program says of the book are written by pages and commands, never sent.
"""

from collections.abc import Collection, Iterator
from typing import Final

from fettlebook.book.entries import Entry
from fettlebook.book.kinds import (
    CleaningChecked,
    DutySkipped,
    EntryLaidAside,
    FaultReported,
    LoadPacked,
    OutletRun,
    OutletTemperature,
    PackOpened,
    PartChanged,
    ProductOpened,
    SampleTaken,
    SolutionMixed,
    StepDone,
    StepStarted,
    StockCounted,
    StockReceived,
    SuctionMeasured,
    VisitEnded,
    VisitStarted,
    subjects_of,
)
from fettlebook.errors import Finding

TAKEN: Final = frozenset(
    model.KIND
    for model in (
        VisitStarted, VisitEnded, PackOpened, StepStarted, StepDone, DutySkipped, SampleTaken, LoadPacked, FaultReported, ProductOpened,
        SolutionMixed, StockCounted, StockReceived, SuctionMeasured, CleaningChecked, OutletTemperature, OutletRun,
        PartChanged, EntryLaidAside,
    )
)  # fmt: skip


def tablet_refusals(entry: Entry, people: Collection[str]) -> Iterator[Finding]:
    """Yield what keeps a tablet's entry out; `people` are those of every practice file so far (empty: nobody is known yet)."""
    if entry.kind not in TAKEN:
        mend = "Write it on the page for it, while the network is there."
        yield Finding(f"a tablet does not send entries of the kind {entry.kind}", "entry.kind", mend)
    if people and entry.by not in people:
        mend = "Look at the spelling, or put the person into the practice file first."
        yield Finding(f"nobody {entry.by!r} in the practice", "entry.by", mend)
    if left_out := [one for one in subjects_of(entry.data) if one not in entry.subjects]:
        mend = "Update the tablet's program: reload the page while the network is there."
        yield Finding(f"does not name {', '.join(left_out):.200} among its subjects", "entry.subjects", mend)
