"""What an entry says, in the short form that verdicts are made from, and under which streams it is found.

A fact keeps only what some verdict or trace asks for. Whatever else the entry holds stays in the book, under the entry's id.
"""

from collections.abc import Callable, Iterator
from sys import intern
from typing import Any, Final, NamedTuple

from fettlebook.book.kinds import (
    PRACTICE,
    BookImported,
    CleaningChecked,
    CycleJudged,
    CycleRecorded,
    Data,
    DutySkipped,
    FailureStep,
    FaultReported,
    LoadPacked,
    LoadRejected,
    LoadReleased,
    LoadReleasedEarly,
    MachineTest,
    NoticeBegun,
    NoticeEnded,
    OutletRun,
    OutletTemperature,
    OutOfService,
    PackOpened,
    PartChanged,
    PracticeFileVersion,
    ProductOpened,
    RepairDone,
    Returned,
    RulebookVersion,
    SampleResult,
    SampleTaken,
    SetRetired,
    SolutionMixed,
    StepDone,
    StepStarted,
    StockCounted,
    StockReceived,
    SuctionMeasured,
    TrainingHeld,
    VisitEnded,
    VisitStarted,
)
from fettlebook.book.received import Received

Key = tuple[str, str]  # subject as the book writes it, and the sort of fact
Names = tuple[str, ...]


class Clocks(NamedTuple):
    """What the clocks showed: received [ms], whether it came at once, and the clock that only runs forward."""

    received: int
    live: bool
    session: str | None
    mono_ms: int


class Visit(NamedTuple):
    """A visit began or ended."""

    ref: str
    chair: str
    ended: bool
    units: Names
    outlets: Names | None
    surgical: bool
    kind: str | None = None
    water: tuple[str, str, str | None] | None = None  # sterile water: product, lot, the day printed on it


class Use(NamedTuple):
    """A set or handpiece lay open at a visit."""

    visit: str
    chair: str
    indicator: str | None


class Step(NamedTuple):
    """A step was begun (`outcome` None), done or broken off."""

    duty: str
    step: str
    subject: str
    outcome: str | None
    outlets: Names | None
    run: str | None
    visit: str | None
    clocks: Clocks
    lasted: tuple[int | None, int | None]  # wall and forward clock [ms], where one entry says it all
    readings: dict[str, int] | None
    lot: tuple[str, str] | None  # product, lot
    by: str
    solution: str | None = None
    suction: Names | None = None  # which suction lines


class Skip(NamedTuple):
    """A duty was left out knowingly."""

    duty: str
    step: str | None
    reason: str
    by: str


class Taken(NamedTuple):
    """A sample was taken."""

    sample: str
    what: str
    subject: str
    outlets: Names | None
    neutralised: bool | None
    method: str | None
    neutraliser: str | None = None
    laboratory: str | None = None


class Result(NamedTuple):
    """A laboratory's or a test kit's number."""

    sample: str
    quantity: str
    value: float
    unit: str
    mark: str | None
    subject: str | None
    outlets: Names | None
    taken_ms: int | None
    method: str | None
    plates: tuple[tuple[int | None, int, str], ...] = ()  # colonies (None: not said), undiluted sample [nL], count, below or above
    received_ms: int | None = None
    received_mc: int | None = None
    blank_colonies: int | None = None
    not_valid: str | None = None


class Notice(NamedTuple):
    """A notice began or ended."""

    notice: str
    begun: bool
    words: str


class Service(NamedTuple):
    """A fault, a repair, out of service, back in service."""

    sort: str  # fault, stop, repair, returned
    fault: str | None
    outlets: Names | None
    words: str
    water_path: bool
    by: str
    dosing: bool = False


class Packed(NamedTuple):
    """A load was put together; `items` are (unit, pack or None), `forms` what is hardest for steam to reach in each, where it was said."""

    load: str
    machine: str
    cycle: str | None
    items: tuple[tuple[str, str | None], ...]
    implant: bool
    forms: tuple[str | None, ...] = ()
    oiled: Names = ()


class Ran(NamedTuple):
    """A machine ran a cycle."""

    load: str | None
    machine: str
    cycle: str
    said: str
    began: int
    logged: bool = False  # its log is kept: the machine's word alone counts no more
    read: bool = False  # somebody read values and entered them


class Judged(NamedTuple):
    """A cycle was judged from its log."""

    load: str | None
    cycle_entry: str
    verdict: str
    reasons: str


class Decided(NamedTuple):
    """A person released a load, put it aside or called it back."""

    load: str
    meaning: str
    by: str
    units: Names | None
    packs: Names | None
    dry: bool | None
    turned: bool | None
    override: str | None
    reason: str
    found: str | None = None
    early: bool = False  # before the result of its spore test


class Tested(NamedTuple):
    """A test of a machine; the fact's moment is when it ran, `read` is when its outcome was entered."""

    machine: str
    test: str
    outcome: str
    control: str | None
    load: str | None
    read: int


class FailureDone(NamedTuple):
    """A step of what follows a failure was done, or found not to be needed."""

    step: str
    outcome: str
    reason: str
    by: str
    failure: str


class Opened(NamedTuple):
    """A package was opened, or a solution made up."""

    product: str
    lot: str | None
    use_by: str | int | None  # a day as printed, or a moment [ms]
    subject: str


class Stock(NamedTuple):
    """A product was counted, delivered, opened, or mixed into a bottle or tank."""

    sort: str  # counted, received, opened, mixed
    packages: int
    package_ul: int | None = None
    open_ul: int | None = None
    used_ul: int | None = None  # of the product as it comes
    water_ml: int | None = None
    subject: str | None = None  # whose bottle or tank


class MixStrip(NamedTuple):
    """What a strip said of a solution when it was mixed for a chair [mg/L]."""

    product: str
    readings: dict[str, int]


class Drew(NamedTuple):
    """How well a suction hose draws: seconds a litre, or what a gauge showed [Pa]."""

    hose: str
    s_per_l: float | None
    gauge_pa: int | None


class Cleaned(NamedTuple):
    """A spot checked after cleaning; `clean` None: nothing says what its reading must be."""

    place: str
    subject: str
    round: str | None
    method: str
    clean: bool | None
    rlu: int | None


class Warm(NamedTuple):
    """How warm a tap's water was when it had run for some time."""

    place: str
    water: str
    water_c: float
    ran_s: int | None
    mixed: bool


class TapRan(NamedTuple):
    """A tap's water was run; `rare`: whether it is rarely used from then on, None: as before."""

    place: str
    ran_s: int | None
    rare: bool | None


class PartNew(NamedTuple):
    """A part was changed or cleaned; `good_days` as its label or instructions say."""

    part: str
    name: str | None
    done: str
    good_days: int | None
    lot: str | None


class Trained(NamedTuple):
    """A member of staff was trained: days as the entry writes them; `again_on` None where nobody said."""

    what: str
    held_on: str
    held_by: str
    again_on: str | None


class Booked(NamedTuple):
    """The visits of a day as the appointment book had them: (chair, start [ms], end [ms], ref)."""

    visits: tuple[tuple[str, int, int, str], ...]


class FileHeld(NamedTuple):
    """A practice file that holds from then on."""

    digest: str
    text: str
    name: str


class LayerHeld(NamedTuple):
    """One pack of a rulebook."""

    name: str
    digest: str
    text: str


class RulesHeld(NamedTuple):
    """A rulebook that holds from then on; `digest` names its packs together."""

    digest: str
    layers: tuple[LayerHeld, ...]


FILE, RULES = "practice file", "rulebook"
NOT_SAID: Final = (None, None)  # one copy for the many entries that don't say it
LIVE_WITHIN_MS: Final = 60_000


def happened_ms(received: Received) -> int:
    """Return when an entry's fact happened: as claimed, put right by the device's offset, and never after its receipt."""
    at = received.entry.at + received.offset if received.offset else received.entry.at
    return min(at, received.received)


def facts_of(received: Received) -> Iterator[tuple[Key, int, Any]]:
    """Yield (stream, moment it happened, what it says) for each stream that an entry belongs to; nothing for an unknown kind."""
    reader = _READERS.get(type(received.entry.data))
    if reader is not None:
        happened = happened_ms(received)
        seen: set[Key] = set()
        for key, moment, says in reader(received, received.entry.data, happened):
            if key not in seen:  # one stream holds an entry once
                seen.add(key)
                yield key, min(max(moment, 0), happened), says


def _clocks(received: Received) -> Clocks:
    mono = received.entry.mono
    live = received.received - happened_ms(received) <= LIVE_WITHIN_MS
    return Clocks(received.received, live, intern(mono.session) if mono else None, mono.ms if mono else 0)


def _names(names: Names | None) -> Names | None:
    return None if names is None else _SAME.setdefault(names, names)


_SAME: dict[Names, Names] = {}  # the same few lists of outlets come again and again: one copy serves
Found = Iterator[tuple[Key, int, Any]]


def _chair(name: str) -> str:
    return intern(f"chair:{name}")


def _machine(name: str) -> str:
    return intern(f"machine:{name}")


def _visit(r: Received, d: VisitStarted | VisitEnded, at: int) -> Found:
    ended = isinstance(d, VisitEnded)
    chair, units = _chair(d.chair), _names(d.units or ()) or ()
    outlets = _names(d.outlets) if isinstance(d, VisitEnded) else None
    surgical, kind = bool(getattr(d, "surgical", False)), getattr(d, "visit_kind", None)
    water = (d.product, d.lot, d.use_by) if d.product is not None and d.lot is not None else None
    says = Visit(d.visit, chair, ended, units, outlets, surgical, kind, water)
    yield (chair, "visit"), at, says
    if water is not None:
        yield (intern(f"product:{water[0]}/{water[1]}"), "visits"), at, says
    yield (f"visit:{d.visit}", "visit"), at, says
    for unit in units:
        yield (intern(f"unit:{unit}"), "use"), at, Use(d.visit, chair, None)


def _opened_pack(r: Received, d: PackOpened, at: int) -> Found:
    use = Use(d.visit, _chair(d.chair), d.indicator)
    yield (f"pack:{d.pack}", "use"), at, use
    if d.unit is not None:
        yield (intern(f"unit:{d.unit}"), "use"), at, use
        yield (f"visit:{d.visit}", "pack"), at, (d.unit, d.pack, d.indicator)


def _place(d: StepStarted | StepDone | DutySkipped) -> str:
    return _chair(d.chair) if d.chair is not None else _machine(d.machine) if d.machine is not None else PRACTICE


def _step(r: Received, d: StepStarted | StepDone, at: int) -> Found:
    done = d if isinstance(d, StepDone) else None
    subject, step = _place(d), intern(d.step)
    product_lot = (done.product, done.lot) if done and done.product is not None and done.lot is not None else None
    lasted = (done.lasted_wall_ms, done.lasted_mono_ms) if done else NOT_SAID
    says = Step(
        duty=intern(d.duty),
        step=step,
        subject=subject,
        outcome=done.outcome if done else None,
        outlets=_names(d.outlets),
        run=d.run,
        visit=d.visit,
        clocks=_clocks(r),
        lasted=NOT_SAID if lasted == NOT_SAID else lasted,
        readings=done.readings if done else None,
        lot=product_lot,
        by=intern((done.done_by if done else None) or r.entry.by),
        solution=done.solution if done else None,
        suction=_names(d.suction),
    )
    yield (subject, intern(("done:" if done else "begun:") + step)), at, says
    yield (subject, "steps"), at, says
    yield (intern(f"person:{says.by}"), "steps"), at, says
    if product_lot is not None:
        yield (intern(f"product:{product_lot[0]}/{product_lot[1]}"), "steps"), at, says
    if done is not None and done.solution is not None:
        yield (f"solution:{done.solution}", "steps"), at, says
    if d.visit is not None:
        yield (f"visit:{d.visit}", "steps"), at, says


def _skipped(r: Received, d: DutySkipped, at: int) -> Found:
    yield (_place(d), "skipped"), at, Skip(d.duty, d.step, d.reason, r.entry.by)


def _taken(r: Received, d: SampleTaken, at: int) -> Found:
    subject = _chair(d.chair) if d.chair is not None else _machine(d.machine) if d.machine is not None else PRACTICE
    says = Taken(d.sample, d.what, subject, _names(d.outlets), d.neutralised, d.method, d.neutraliser, d.laboratory)
    yield (subject, "sample"), at, says
    yield (f"sample:{d.sample}", "taken"), at, says


def _result(r: Received, d: SampleResult, at: int) -> Found:
    subject = _chair(d.chair) if d.chair is not None else _machine(d.machine) if d.machine is not None else None
    value = d.value / 10 ** (d.decimals or 0)
    plates: tuple[tuple[int | None, int, str], ...] = ()
    if d.plates is not None:
        plates = tuple((plate.colonies, plate.plated_nl, "above" if plate.too_many else "count") for plate in d.plates)
    elif d.plated_nl is not None:
        plates = ((d.colonies, d.plated_nl, d.mark or "count"),)
    says = Result(
        d.sample, d.quantity, value, d.value_unit, d.mark, subject, _names(d.outlets), d.taken_ms, d.method,
        plates, d.received_ms, d.received_mc, d.blank_colonies, d.not_valid,
    )  # fmt: skip
    yield (f"sample:{d.sample}", "result"), at, says
    if subject is not None:
        yield (subject, "sample"), d.taken_ms if d.taken_ms is not None else at, says


def _notice(r: Received, d: NoticeBegun | NoticeEnded, at: int) -> Found:
    begun = isinstance(d, NoticeBegun)
    yield (PRACTICE, f"notice:{d.notice}"), at, Notice(d.notice, begun, d.issued_by or "")


_SERVICE: Final = {FaultReported: "fault", RepairDone: "repair", OutOfService: "stop", Returned: "returned"}


def _service(r: Received, d: FaultReported | RepairDone | OutOfService | Returned, at: int) -> Found:
    sort = _SERVICE[type(d)]
    if isinstance(d, FaultReported) and d.stops_use:
        sort = "stop"
    words = d.what if isinstance(d, FaultReported | RepairDone) else d.reason
    water_path = isinstance(d, RepairDone) and bool(d.water_path_opened)
    dosing = isinstance(d, FaultReported) and bool(d.dosing)
    says = Service(sort, getattr(d, "fault", None), _names(d.outlets), words, water_path, r.entry.by, dosing)
    if d.chair is not None:
        yield (_chair(d.chair), "service"), at, says
    if d.machine is not None:
        yield (_machine(d.machine), "service"), at, says
    for unit in d.units or ():
        yield (intern(f"unit:{unit}"), "service"), at, says


def _packed(r: Received, d: LoadPacked, at: int) -> Found:
    items = tuple((intern(item.unit), item.pack) for item in d.items)
    forms = tuple(item.form for item in d.items) if any(item.form for item in d.items) else ()
    oiled = tuple(intern(item.unit) for item in d.items if item.oiled)
    says = Packed(d.load, _machine(d.machine), d.cycle, items, any(item.implant for item in d.items), forms, oiled)
    yield (f"load:{d.load}", "packed"), at, says
    yield (says.machine, "loads"), at, says
    for unit, pack in items:
        yield (intern(f"unit:{unit}"), "packed"), at, says
        if pack is not None:
            yield (f"pack:{pack}", "packed"), at, says


def _ran(r: Received, d: CycleRecorded, at: int) -> Found:
    ended = d.ended_ms if d.ended_ms is not None else at
    began = d.began_ms if d.began_ms is not None else min(ended, at)
    says = Ran(d.load, _machine(d.machine), d.cycle, d.said, began, d.log is not None, bool(d.readings))
    yield (says.machine, "cycles"), ended, says
    if d.load is not None:
        yield (f"load:{d.load}", "cycle"), ended, says


def _judged(r: Received, d: CycleJudged, at: int) -> Found:
    says = Judged(d.load, r.entry.refers_to or "", d.verdict, "; ".join(d.reasons))
    yield (f"cycle:{r.entry.refers_to}", "judged"), at, says
    yield (_machine(d.machine), "judged"), at, says
    if d.load is not None:
        yield (f"load:{d.load}", "judged"), at, says


def _decided(r: Received, d: LoadReleased | LoadReleasedEarly | LoadRejected, at: int) -> Found:
    released = d if isinstance(d, LoadReleased | LoadReleasedEarly) else None
    says = Decided(
        load=d.load,
        meaning="released" if released else d.meaning,
        by=intern(r.entry.by),
        units=_names(d.units),
        packs=_names(d.packs),
        dry=released.dry if released else None,
        turned=released.indicators_turned if released else None,
        override=d.override if isinstance(d, LoadReleased) else None,
        reason="" if isinstance(d, LoadReleased) else d.reason,
        found=d.found if isinstance(d, LoadRejected) else None,
        early=isinstance(d, LoadReleasedEarly),
    )
    yield (f"load:{d.load}", "decided"), at, says
    yield (intern(f"person:{says.by}"), "decided"), at, says


def _tested(r: Received, d: MachineTest, at: int) -> Found:
    says = Tested(_machine(d.machine), intern(d.test), d.outcome, d.control, d.load, at)
    ran = d.ran_ms if d.ran_ms is not None else at
    yield (says.machine, intern(f"test:{d.test}")), ran, says
    yield (says.machine, "tests"), ran, says


def _failure(r: Received, d: FailureStep, at: int) -> Found:
    says = FailureDone(d.step, d.outcome, d.reason, intern(r.entry.by), r.entry.refers_to or "")
    yield (f"failure:{says.failure}", "done"), at, says


def _opened(r: Received, d: ProductOpened, at: int) -> Found:
    subject = intern(f"product:{d.product}/{d.lot}")
    says = Opened(d.product, d.lot, d.use_by, subject)
    yield (subject, "opened"), at, says
    yield (f"product:{d.product}", "opened"), at, says
    yield (f"product:{d.product}", "stock"), at, Stock("opened", 1)


def _mixed(r: Received, d: SolutionMixed, at: int) -> Found:
    subject = f"solution:{d.solution}"
    says = Opened(d.product, d.lot, d.use_by_ms, subject)
    yield (subject, "mixed"), at, says
    if d.lot is not None:
        yield (intern(f"product:{d.product}/{d.lot}"), "mixed"), at, says
    place = _chair(d.chair) if d.chair is not None else _machine(d.machine) if d.machine is not None else None
    used = Stock("mixed", 0, used_ul=d.product_ul, water_ml=d.water_ml, subject=place)
    yield (f"product:{d.product}", "stock"), at, used
    if d.chair is not None and d.readings is not None:
        yield (_chair(d.chair), "mix strip"), at, MixStrip(d.product, d.readings)


def _stock(r: Received, d: StockCounted | StockReceived, at: int) -> Found:
    sort, left = ("counted", d.open_ul) if isinstance(d, StockCounted) else ("received", None)
    yield (f"product:{d.product}", "stock"), at, Stock(sort, d.packages, d.package_ul, left)


def _drew(r: Received, d: SuctionMeasured, at: int) -> Found:
    s_per_l = d.took_ms / d.drawn_ml if d.took_ms is not None and d.drawn_ml is not None else None  # ms a mL is s a litre
    yield (_chair(d.chair), "drew"), at, Drew(d.hose, s_per_l, d.gauge_pa)


def _warm(r: Received, d: OutletTemperature, at: int) -> Found:
    yield (PRACTICE, "warm"), at, Warm(d.place, d.water, d.water_mc / 1000, d.ran_s, bool(d.mixed))


def _tap_ran(r: Received, d: OutletRun, at: int) -> Found:
    yield (PRACTICE, "tap ran"), at, TapRan(d.place, d.ran_s, d.rare)


def _part(r: Received, d: PartChanged, at: int) -> Found:
    subject = _chair(d.chair) if d.chair is not None else _machine(d.machine) if d.machine is not None else PRACTICE
    yield (subject, "part"), at, PartNew(d.part, d.name, d.done, d.good_days, d.lot)


def _trained(r: Received, d: TrainingHeld, at: int) -> Found:
    yield (intern(f"person:{d.person}"), "trained"), at, Trained(d.what, d.held_on, d.held_by, d.again_on)


def _cleaned(r: Received, d: CleaningChecked, at: int) -> Found:
    within = None if d.atp_rlu is None or d.limit_rlu is None else d.atp_rlu <= d.limit_rlu
    subject = _chair(d.chair) if d.chair is not None else PRACTICE
    clean = d.mark_gone if d.method == "mark" else within
    yield (PRACTICE, "cleaned"), at, Cleaned(d.place, subject, d.round, d.method, clean, d.atp_rlu)


def _retired(r: Received, d: SetRetired, at: int) -> Found:
    yield (intern(f"unit:{d.unit}"), "retired"), at, d.reason


def _booked(r: Received, d: BookImported, at: int) -> Found:
    visits = tuple((v.chair, v.start_ms, v.start_ms + v.minutes * 60_000, v.ref) for v in d.visits)
    yield (f"day:{d.day}", "booked"), at, Booked(visits)


def _file(r: Received, d: PracticeFileVersion, at: int) -> Found:
    yield (PRACTICE, FILE), at, FileHeld(d.digest, d.text, d.name or "practice.toml")


def _rules(r: Received, d: RulebookVersion, at: int) -> Found:
    layers = tuple(LayerHeld(layer.name, layer.digest, layer.text) for layer in d.layers)
    yield (PRACTICE, RULES), at, RulesHeld(" ".join(layer.digest for layer in layers), layers)


Reader = Callable[[Received, Any, int], Found]
_READERS: Final[dict[type[Data], Reader]] = {
    VisitStarted: _visit,
    VisitEnded: _visit,
    PackOpened: _opened_pack,
    StepStarted: _step,
    StepDone: _step,
    DutySkipped: _skipped,
    SampleTaken: _taken,
    SampleResult: _result,
    NoticeBegun: _notice,
    NoticeEnded: _notice,
    FaultReported: _service,
    RepairDone: _service,
    OutOfService: _service,
    Returned: _service,
    LoadPacked: _packed,
    CycleRecorded: _ran,
    CycleJudged: _judged,
    LoadReleased: _decided,
    LoadReleasedEarly: _decided,
    FailureStep: _failure,
    LoadRejected: _decided,
    MachineTest: _tested,
    ProductOpened: _opened,
    SolutionMixed: _mixed,
    StockCounted: _stock,
    StockReceived: _stock,
    SuctionMeasured: _drew,
    CleaningChecked: _cleaned,
    OutletTemperature: _warm,
    OutletRun: _tap_ran,
    PartChanged: _part,
    TrainingHeld: _trained,
    SetRetired: _retired,
    BookImported: _booked,
    PracticeFileVersion: _file,
    RulebookVersion: _rules,
}
