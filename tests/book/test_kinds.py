"""Each kind of entry: comes back from its bytes, touches the subjects that its fields name, refuses what makes no sense."""

import base64
import json
from typing import Any

import pytest

from fettlebook.book.entries import Moment, new_entry, new_id, read_entry
from fettlebook.book.kinds import (
    KINDS,
    PRACTICE,
    BookPruned,
    BookRestored,
    BookVerified,
    CheckpointStamped,
    CleaningChecked,
    ClockBack,
    CycleJudged,
    CycleRecorded,
    Data,
    DutySkipped,
    FailureStep,
    FaultReported,
    HeldFile,
    InLoad,
    KeyChanged,
    LoadPacked,
    LoadRejected,
    LoadReleased,
    LoadReleasedEarly,
    MachineTest,
    NoticeBegun,
    NoticeEnded,
    OtherData,
    OutletRun,
    OutletTemperature,
    OutOfService,
    PackOpened,
    PartChanged,
    ProductOpened,
    RepairDone,
    RestoreTried,
    Returned,
    SampleResult,
    SampleTaken,
    SealedText,
    SetRetired,
    SignIn,
    SignOut,
    SolutionMixed,
    StepDone,
    StepStarted,
    StockCounted,
    StockReceived,
    SuctionMeasured,
    TextErased,
    VisitEnded,
    VisitStarted,
    subjects_of,
    unit_of_reading,
)
from fettlebook.book.kinds.people import (
    CertificateMade,
    DeviceEnrolled,
    DeviceRenamed,
    DeviceWithdrawn,
    PinChanged,
    SignRefused,
    TrainingHeld,
)
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
MOMENT = Moment(1_772_442_000_000, "Europe/Berlin")
LOG = HeldFile(digest="cd" * 32, length_bytes=1234, media="text/csv", name="cycle 0412.csv")
ROOT = base64.b64encode(bytes(32)).decode()
VISIT = "v_00112233445566778899"

# One of each, with the subjects that it must touch, written out by hand.
EACH: list[tuple[Data, set[str]]] = [
    (
        VisitStarted(visit=VISIT, chair="chair 1", visit_kind="filling", units=("exam#3",), packs=("P412",)),
        {f"visit:{VISIT}", "chair:chair 1", "unit:exam#3", "pack:P412"},
    ),
    (
        VisitEnded(visit=VISIT, chair="chair 1", units=("exam#3", "turbine#2"), outlets=("turbine", "syringe")),
        {f"visit:{VISIT}", "chair:chair 1", "unit:exam#3", "unit:turbine#2", "outlet:chair 1/turbine", "outlet:chair 1/syringe"},
    ),
    (
        PackOpened(pack="P412", unit="exam#3", visit=VISIT, chair="chair 1", indicator="turned"),
        {"pack:P412", "unit:exam#3", f"visit:{VISIT}", "chair:chair 1"},
    ),
    (
        StepStarted(duty="chair.close", step="close.rinse", chair="chair 1", outlets=("turbine",), run="r1"),
        {"chair:chair 1", "outlet:chair 1/turbine"},
    ),
    (
        StepDone(
            duty="chair.close",
            step="close.fill",
            chair="chair 1",
            outlets=("turbine",),
            suction=("high volume",),
            outcome="done",
            readings={"strip_mg_l": 1000, "water_mc": 18_500},
            product="line h2o2",
            lot="L24/07",
            lasted_wall_ms=60_000,
            lasted_mono_ms=60_001,
            files=(LOG,),
        ),
        {"chair:chair 1", "outlet:chair 1/turbine", "suction:chair 1/high volume", "product:line h2o2/L24/07"},
    ),
    (StepDone(duty="practice.weekly", step="weekly.stock", outcome="done"), {PRACTICE}),
    (StepDone(duty="sterilizer.first", step="sterilizer.look", machine="sterilizer 1", outcome="broken off"), {"machine:sterilizer 1"}),
    (DutySkipped(duty="chair.still", chair="chair 2", reason="out of service"), {"chair:chair 2"}),
    (DutySkipped(duty="practice.weekly", reason="closed"), {PRACTICE}),
    (
        SampleTaken(sample="W1", what="water", chair="chair 1", outlets=("turbine", "syringe"), neutralised=True),
        {"sample:W1", "chair:chair 1", "outlet:chair 1/turbine", "outlet:chair 1/syringe"},
    ),
    (
        SampleResult(
            sample="W1", quantity="water count", value=12, decimals=1, value_unit="CFU/mL", mark="below", chair="chair 1", report=LOG
        ),
        {"sample:W1", "chair:chair 1"},
    ),
    (NoticeBegun(notice="boil water", issued_by="the water works"), {PRACTICE}),
    (NoticeEnded(notice="boil water"), {PRACTICE}),
    (
        LoadPacked(
            load="2026-03-02 s1 4",
            machine="sterilizer 1",
            items=(InLoad(unit="exam#3", pack="P412", form="solid"), InLoad(unit="turbine#2", form="hollow")),
        ),
        {"load:2026-03-02 s1 4", "machine:sterilizer 1", "unit:exam#3", "pack:P412", "unit:turbine#2"},
    ),
    (
        CycleRecorded(machine="sterilizer 1", cycle="wrapped 134", load="L4", number=0, said="passed", log=LOG, readings={"hold_s": 212}),
        {"machine:sterilizer 1", "load:L4"},
    ),
    (
        CycleJudged(machine="sterilizer 1", load="L4", verdict="unproven", reasons=("a gap in the hold",), judged_with="fettlebook 0.1"),
        {"machine:sterilizer 1", "load:L4"},
    ),
    (LoadReleased(load="L4", meaning="released", dry=True, indicators_turned=True), {"load:L4"}),
    (LoadReleasedEarly(load="L4", meaning="released before its spore result", reason="implant today"), {"load:L4"}),
    (LoadRejected(load="L4", meaning="recalled", reason="spore test", packs=("P412",)), {"load:L4", "pack:P412"}),
    (FailureStep(machine="steam 1", step="review", outcome="done", reason="overloaded"), {"machine:steam 1"}),
    (
        MachineTest(machine="sterilizer 1", test="spore test", outcome="failed", load="L4", product="spore strips", lot="7"),
        {"machine:sterilizer 1", "load:L4", "product:spore strips/7"},
    ),
    (SetRetired(unit="exam#3", reason="worn"), {"unit:exam#3"}),
    (
        FaultReported(chair="chair 1", outlets=("turbine",), fault="F7", what="leaks", stops_use=True),
        {"chair:chair 1", "outlet:chair 1/turbine"},
    ),
    (RepairDone(machine="washer 1", fault="F8", what="new pump", firm="invented firm"), {"machine:washer 1"}),
    (OutOfService(units=("exam#1",), reason="bent"), {"unit:exam#1"}),
    (Returned(chair="chair 1", reason="repaired and flushed", meaning="returned"), {"chair:chair 1"}),
    (ProductOpened(product="wipes", lot="9", use_by="2027-01-31"), {"product:wipes/9"}),
    (StockCounted(product="wipes", packages=3, package_ul=1_000_000, open_ul=200_000), {"product:wipes"}),
    (StockReceived(product="wipes", packages=6, lot="10"), {"product:wipes/10"}),
    (SuctionMeasured(chair="chair 1", hose="high volume", drawn_ml=1000, took_ms=6200), {"chair:chair 1"}),
    (OutletRun(place="eye wash", ran_s=180, rare=True), set()),
    (PartChanged(part="separator", chair="chair 1", done="changed", good_days=365, lot="S7"), {"chair:chair 1"}),
    (OutletTemperature(place="basin room 1", water="hot", water_mc=55_400, ran_s=60), set()),
    (CleaningChecked(place="light handle", chair="chair 1", round="2026-03", method="mark", mark_gone=True), {"chair:chair 1"}),
    (
        SolutionMixed(solution="m7", product="line h2o2", chair="chair 1", product_ul=20_000, water_ml=980),
        {"solution:m7", "product:line h2o2", "chair:chair 1"},
    ),
    (SignIn(person="ana", role="lead"), {"person:ana"}),
    (SignOut(person="ana", why="inactive"), {"person:ana"}),
    (SignRefused(person="ana", at_device="tablet-a2b3c4", tries=3, wait_s=5), {"person:ana"}),
    (PinChanged(person="ana", what="PIN", how="given"), {"person:ana"}),
    (DeviceEnrolled(device="tablet-a2b3c4", name="tablet of room 2"), set()),
    (DeviceRenamed(device="tablet-a2b3c4", name="tablet of room 3"), set()),
    (DeviceWithdrawn(device="tablet-a2b3c4", name="tablet of room 3"), set()),
    (CertificateMade(fingerprint="ab" * 32, authority="cd" * 32, until="2027-12-30", names=("practice.local",)), set()),
    (TrainingHeld(person="ana", what="sterilizer", held_on="2026-03-02", held_by="Ben", again_on="2027-03-02"), {"person:ana"}),
    (ClockBack(from_ms=5, to_ms=3), set()),
    (BookRestored(backup_size=7, backup_root=ROOT, lost_from_seq=8), set()),
    (RestoreTried(backup_digest="ab" * 32, size=7, root=ROOT, whole=True), set()),
    (BookPruned(first_seq=1, last_seq=7, rule="ten years"), set()),
    (TextErased(why="asked for"), set()),
    (KeyChanged(old="a+1+b", new="c+2+d", note="…"), set()),
    (BookVerified(size=7, root=ROOT, fault_count=0), set()),
    (CheckpointStamped(size=7, root=ROOT, stamped_ms=5, authority="CN=invented", files=(LOG, LOG)), set()),
]


def made(data: Data) -> Any:
    return new_entry(data, moment=MOMENT, device="tablet-3", n=1, by="ana", refers_to=new_id(1) if data.REFERS else None)


@pytest.mark.parametrize(("data", "subjects"), EACH, ids=lambda v: getattr(v, "KIND", ""))
def test_each_kind_comes_back_from_its_bytes_with_the_subjects_that_it_touches(data: Data, subjects: set[str]) -> None:
    entry = made(data)
    again = read_entry(entry.encode())
    assert again == entry
    assert type(again.data) is type(data)
    assert again.encode() == entry.encode()
    assert set(again.subjects) == subjects
    assert len(again.subjects) == len(subjects)


def test_every_kind_has_an_example_here_or_among_the_files_and_mendings() -> None:
    elsewhere = {k for k in KINDS if k.startswith(("practice_file.", "rulebook.", "book.imported", "day.", "entry."))}
    assert {data.KIND for data, _ in EACH} | elsewhere == set(KINDS)


@pytest.mark.parametrize("data", [data for data, _ in EACH], ids=lambda d: d.KIND)
def test_fields_of_a_newer_program_survive_in_each_kind(data: Data) -> None:
    fields = json.loads(made(data).encode())
    fields["data"]["x_new"] = {"x_deep": [1, 2]}
    raw = json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    assert read_entry(raw).encode() == raw


def test_a_kind_of_a_newer_program_names_its_subjects_itself() -> None:
    assert subjects_of(OtherData.model_validate({"chair": "chair 1"})) == ()


def test_subjects_given_beside_are_added_once() -> None:
    entry = new_entry(EACH[0][0], moment=MOMENT, device="t", n=1, by="ana", subjects=("chair:chair 1", "room:room 1"))
    assert entry.subjects.count("chair:chair 1") == 1
    assert entry.subjects[-1] == "room:room 1"


@pytest.mark.parametrize(
    ("model", "fields", "said"),
    [
        (StepDone, {"duty": "d", "step": "s", "chair": "1", "machine": "2", "outcome": "done"}, "not at both"),
        (StepDone, {"duty": "d", "step": "s", "outlets": ["turbine"], "outcome": "done"}, "need their chair"),
        (SampleTaken, {"sample": "W", "what": "water", "outlets": ["turbine"]}, "need their chair"),
        (StepDone, {"duty": "d", "step": "s", "outcome": "done", "readings": {"strip": 5}}, "does not end in a unit"),
        (StepDone, {"duty": "d", "step": "s", "outcome": "done", "readings": {"strip_mg_l": 5.5}}, "integer"),
        (FaultReported, {"fault": "F", "what": "leaks", "stops_use": True}, "say what it is about"),
        (VisitEnded, {"visit": "v", "chair": "1", "units": ["exam"]}, "pattern"),
        (VisitEnded, {"visit": "Mrs Smith, 4 May", "chair": "1", "units": []}, "pattern"),
        (SampleResult, {"sample": "W", "quantity": "q", "value": 1.5, "value_unit": "CFU/mL"}, "integer"),
        (LoadReleased, {"load": "L"}, "required"),
        (SuctionMeasured, {"chair": "1", "hose": "h", "drawn_ml": 1000}, "go together"),
        (SuctionMeasured, {"chair": "1", "hose": "h"}, "give either"),
        (CleaningChecked, {"place": "tray", "method": "ATP", "mark_gone": True}, "neither the other's"),
        (CleaningChecked, {"place": "tray", "method": "mark", "mark_gone": True, "limit_rlu": 9}, "of an ATP swab"),
        (TrainingHeld, {"person": "ana", "what": "x", "held_on": "2026-02-30", "held_by": "Ben"}, "no day 2026-02-30"),
        (
            TrainingHeld,
            {"person": "ana", "what": "x", "held_on": "2026-03-02", "held_by": "Ben", "again_on": "2026-03-02"},
            "after held_on",
        ),
        (ProductOpened, {"product": "wipes", "lot": "a\nb"}, "pattern"),
        (StepDone, {"duty": "d", "step": "s", "outcome": "done", "remark": "called Mrs Smith"}, "SealedText"),
    ],
    ids=str,
)
def test_what_a_kind_can_not_hold_is_refused_in_words(model: type[Data], fields: dict[str, Any], said: str) -> None:
    good = json.loads(made(EACH[0][0]).encode()) | {"kind": model.KIND, "subjects": [], "data": fields}
    with pytest.raises(Mendable) as caught:
        read_entry_of(good)
    assert said in str(caught.value)


def read_entry_of(fields: dict[str, Any]) -> Any:
    from fettlebook.book.entries import entry_of

    return entry_of(fields)


@pytest.mark.parametrize(
    ("name", "unit"),
    [("chamber_mc", ("degC", 3)), ("turbine_ml_min", ("mL/min", 0)), ("hold_min", ("min", 0)), ("ml", None), ("strip", None)],
)
def test_a_reading_says_its_unit_in_its_name(name: str, unit: tuple[str, int] | None) -> None:
    assert unit_of_reading(name) == unit


def test_words_of_a_person_stand_in_an_entry_as_ciphertext_only() -> None:
    sealed = SealedText(key="a" * 26, words=base64.b64encode(bytes(60)).decode())
    assert "remark" in json.loads(made(SetRetired(unit="exam#1", reason="worn", remark=sealed)).encode())["data"]
