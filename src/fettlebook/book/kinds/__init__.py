"""What an entry can say: one frozen model per kind. Kinds and fields of a newer program are kept as they came."""

from typing import Final

from fettlebook.book.kinds.chairs import (
    DutySkipped,
    NoticeBegun,
    NoticeEnded,
    PackOpened,
    SampleResult,
    SampleTaken,
    StepDone,
    StepStarted,
    VisitEnded,
    VisitStarted,
)
from fettlebook.book.kinds.checks import CleaningChecked, OutletRun, OutletTemperature, SuctionMeasured
from fettlebook.book.kinds.files import (
    BookImported,
    DayPlanned,
    DayReplanned,
    Happened,
    ImportedVisit,
    NotLoaded,
    PracticeFileVersion,
    RulebookLayer,
    RulebookVersion,
)
from fettlebook.book.kinds.forms import (
    AsTuple,
    Data,
    Frozen,
    HeldFile,
    Id,
    Ms,
    OtherData,
    Said,
    SealedText,
    digest_of,
    from_ms,
    to_ms,
    unit_of_reading,
)
from fettlebook.book.kinds.instruments import (
    CycleJudged,
    CycleRecorded,
    FailureStep,
    InLoad,
    LoadPacked,
    LoadRejected,
    LoadReleased,
    LoadReleasedEarly,
    MachineTest,
    SetRetired,
)
from fettlebook.book.kinds.keeping import (
    BookPruned,
    BookRestored,
    BookVerified,
    CheckpointStamped,
    ClockBack,
    KeyChanged,
    RestoreTried,
    TextErased,
)
from fettlebook.book.kinds.mending import EntryClash, EntryCorrected, EntryLaidAside, EntrySettled, EntryWithdrawn
from fettlebook.book.kinds.stock import StockCounted, StockReceived
from fettlebook.book.kinds.subjects import PRACTICE, subjects_of
from fettlebook.book.kinds.upkeep import (
    FaultReported,
    OutOfService,
    PartChanged,
    ProductOpened,
    RepairDone,
    Returned,
    SignIn,
    SignOut,
    SolutionMixed,
)

KINDS: Final[dict[str, type[Data]]] = {
    model.KIND: model
    for model in (
        PracticeFileVersion,
        RulebookVersion,
        BookImported,
        DayPlanned,
        DayReplanned,
        VisitStarted,
        VisitEnded,
        PackOpened,
        StepStarted,
        StepDone,
        DutySkipped,
        SampleTaken,
        SampleResult,
        NoticeBegun,
        NoticeEnded,
        LoadPacked,
        CycleRecorded,
        CycleJudged,
        LoadReleased,
        LoadReleasedEarly,
        LoadRejected,
        FailureStep,
        MachineTest,
        SetRetired,
        FaultReported,
        RepairDone,
        OutOfService,
        Returned,
        ProductOpened,
        SolutionMixed,
        PartChanged,
        StockCounted,
        StockReceived,
        SuctionMeasured,
        OutletTemperature,
        OutletRun,
        CleaningChecked,
        SignIn,
        SignOut,
        EntryCorrected,
        EntryWithdrawn,
        EntryClash,
        EntryLaidAside,
        EntrySettled,
        ClockBack,
        BookRestored,
        RestoreTried,
        BookPruned,
        TextErased,
        KeyChanged,
        BookVerified,
        CheckpointStamped,
    )
}

__all__ = [
    "KINDS", "PRACTICE", "AsTuple", "BookImported", "BookPruned", "BookRestored", "BookVerified", "CheckpointStamped",
    "CleaningChecked", "ClockBack", "CycleJudged", "CycleRecorded", "Data", "DayPlanned", "DayReplanned", "DutySkipped", "EntryClash",
    "EntryCorrected", "EntryLaidAside", "EntrySettled", "EntryWithdrawn", "FailureStep", "FaultReported", "Frozen", "Happened",
    "HeldFile", "Id", "ImportedVisit", "InLoad", "KeyChanged", "LoadPacked", "LoadRejected", "LoadReleased", "LoadReleasedEarly",
    "MachineTest", "Ms", "NotLoaded", "NoticeBegun", "NoticeEnded", "OtherData", "OutOfService", "OutletRun", "OutletTemperature",
    "PackOpened", "PartChanged", "PracticeFileVersion", "ProductOpened", "RepairDone", "RestoreTried", "Returned", "RulebookLayer",
    "RulebookVersion", "Said", "SampleResult", "SampleTaken", "SealedText", "SetRetired", "SignIn", "SignOut", "SolutionMixed",
    "StepDone", "StepStarted", "StockCounted", "StockReceived", "SuctionMeasured", "TextErased", "VisitEnded", "VisitStarted",
    "digest_of", "from_ms", "subjects_of", "to_ms", "unit_of_reading",
]  # fmt: skip
