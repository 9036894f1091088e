"""The practice file as frozen models: rooms, chairs with their lines, machines, sets, people, products, visit kinds.

Units stand in the names. Plausible ranges are part of the model: a bore of 20 mm or a syringe of 9 L/min is a typing
slip, and a slip here becomes a wrong running time at a chair. Relations between parts (a segment that hangs on
nothing, a loop, a set that nobody owns) are in `check`.
"""

from datetime import date, time
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]
Id = Annotated[
    str, Field(min_length=1, max_length=60, pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]*$", description="short key, used to refer to this part")
]
BoreMm = Annotated[float, Field(ge=0.5, le=10, description="inner diameter [mm]")]
LengthM = Annotated[float, Field(gt=0, le=30, description="length [m]")]
VolumeMl = Annotated[float, Field(gt=0, le=20_000, description="volume [mL]")]
FlowMlMin = Annotated[float, Field(gt=0, le=5_000, description="measured flow with this outlet open as in use [mL/min]")]
Minutes = Annotated[int, Field(ge=0, le=600)]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


class Part(BaseModel):
    """What every part of the file has in common: strict types, no unknown key, never changed after reading."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class PracticeHead(Part):
    """Who this file is for, and under which rules."""

    id: Id
    name: Name
    time_zone: Annotated[str, Field(description="IANA name, for example Europe/Berlin")]
    rulebooks: Annotated[tuple[Name, ...], Field(min_length=1, description="packs in force, general first, for example general, uk")]
    water_temperature_c: Annotated[
        float, Field(ge=1, le=45, description="coldest water that reaches the chairs [degC]; cold water needs longest")
    ]
    invented: Annotated[bool, Field(description="true: a made-up practice, and every page says so")] = False
    surgical_water: Annotated[
        Literal["sterile"], Field(description="water for surgery is sterile water by a sterile path; nothing else can be chosen")
    ] = "sterile"


class Opening(Part):
    """One stretch of opening hours."""

    days: Annotated[tuple[Day, ...], Field(min_length=1)]
    from_: Annotated[time, Field(alias="from")]
    to: time


class Holiday(Part):
    """A day on which the practice is closed."""

    date: date
    name: Name = "closed"


class Room(Part):
    """A room: treatment room, instrument room, store."""

    id: Id
    name: Name


class SupplyKind(StrEnum):
    """How water reaches the chair."""

    MAINS = "mains through an air gap"
    BOTTLE = "bottle"
    DOSING = "continuous dosing"


class Supply(Part):
    """The chair's water supply."""

    kind: Annotated[SupplyKind, Field(strict=False)]
    bottle_ml: VolumeMl | None = None
    product: Annotated[Id | None, Field(description="dosed product, for continuous dosing")] = None
    strength_mg_l: Annotated[float | None, Field(gt=0, le=100_000, description="strength that the dosing keeps [mg/L]")] = None


class Segment(Part):
    """A straight piece of water line."""

    id: Id
    from_: Annotated[Id | None, Field(alias="from", description="the part it hangs on; leave out for the supply")] = None
    bore_mm: BoreMm
    length_m: LengthM


class StirredVolume(Part):
    """A part that mixes: filter, heater, cup reservoir, or a fitting of unknown inside."""

    id: Id
    from_: Annotated[Id | None, Field(alias="from")] = None
    volume_ml: VolumeMl


class OutletKind(StrEnum):
    """What hangs at the end of a line."""

    TURBINE = "turbine"
    MOTOR = "motor"
    SCALER = "scaler"
    SYRINGE = "syringe"
    CUP_FILLER = "cup filler"
    BOWL_RINSE = "bowl rinse"
    OTHER = "other"


class Outlet(Part):
    """Where water leaves the chair."""

    id: Id
    kind: Annotated[OutletKind, Field(strict=False)]
    from_: Annotated[Id, Field(alias="from")]
    flow_ml_min: FlowMlMin
    measured_on: Annotated[
        date | None, Field(description="day of the cup-and-clock measurement; without it the flow shows as not measured")
    ] = None


class SuctionLine(Part):
    """A suction hose."""

    id: Id
    kind: Literal["high volume", "saliva ejector"]
    bore_mm: Annotated[float, Field(ge=3, le=30)]
    length_m: LengthM


class Chair(Part):
    """A chair with its dental unit."""

    id: Id
    room: Id
    model_note: Annotated[str, Field(max_length=200)] = ""
    supply: Supply
    amalgam: Annotated[bool, Field(description="amalgam is placed or removed here: some cleaners are then barred from the drain")] = False
    out_of_service: bool = False
    segments: Annotated[tuple[Segment, ...], Field(min_length=1)]
    stirred: tuple[StirredVolume, ...] = ()
    outlets: tuple[Outlet, ...]
    run_together: Annotated[
        tuple[tuple[Id, ...], ...],
        Field(description="groups of outlets that are opened together, one group after the other; leave out for one at a time"),
    ] = ()
    suction: tuple[SuctionLine, ...] = ()


class MachineKind(StrEnum):
    """What a machine does."""

    WASHER = "washer"
    ULTRASONIC = "ultrasonic bath"
    STERILIZER = "sterilizer"


class Cycle(Part):
    """A program of a machine, by its own IFU."""

    id: Id
    minutes: Annotated[int, Field(ge=1, le=300, description="from start to door open, drying included [min]")]
    type: Annotated[Literal["B", "N", "S", "wash", "bath"], Field(description="B, N, S as in EN 13060; wash; bath")]


class MachineTest(Part):
    """A test that the machine owes."""

    id: Id
    name: Name
    every: Literal["day", "week", "quarter", "year"]
    attended_minutes: Minutes
    unattended_minutes: Minutes


class Machine(Part):
    """A washer, an ultrasonic bath or a sterilizer."""

    id: Id
    kind: Annotated[MachineKind, Field(strict=False)]
    room: Id
    capacity_places: Annotated[int, Field(ge=1, le=200, description="tray places; a set takes `places` of them")]
    cycles: Annotated[tuple[Cycle, ...], Field(min_length=1)]
    day_cycle: Annotated[Id, Field(description="the cycle that the plan uses")]
    tests: tuple[MachineTest, ...] = ()
    warm_up_minutes: Minutes = 0
    out_of_service: bool = False


class SetType(Part):
    """Instrument sets or handpieces of one type."""

    id: Id
    name: Name
    kind: Literal["set", "handpiece"] = "set"
    owned: Annotated[int, Field(ge=0, le=500)]
    places: Annotated[int, Field(ge=1, le=20, description="tray places in a machine")] = 1


class Reprocessing(Part):
    """Attended minutes around the machines, measured in this practice."""

    load_minutes: Annotated[int, Field(ge=1, le=60)]
    unload_minutes: Annotated[int, Field(ge=1, le=60)]
    pack_minutes: Annotated[int, Field(ge=1, le=60, description="inspect, oil, pack, label one set")]
    cool_minutes: Annotated[int, Field(ge=0, le=240)]


class Shift(Part):
    """When a person works."""

    days: Annotated[tuple[Day, ...], Field(min_length=1)]
    from_: Annotated[time, Field(alias="from")]
    to: time
    over_midnight: Annotated[bool, Field(description="the shift ends on the next day")] = False
    breaks: tuple[tuple[time, time], ...] = ()


class Skill(StrEnum):
    """What a person may do here."""

    CHAIRS = "chairs"
    INSTRUMENTS = "instruments"
    RELEASE = "release"
    LEAD = "lead"


class Person(Part):
    """One of the staff, by initials or a short name that they chose."""

    id: Id
    name: Name
    skills: Annotated[tuple[Annotated[Skill, Field(strict=False)], ...], Field(min_length=1)]
    shifts: tuple[Shift, ...]


class ProductUse(StrEnum):
    """What a label allows a product for."""

    LINE_INTENSIVE = "line intensive"
    LINE_CONTINUOUS = "line continuous"
    SUCTION = "suction"
    SURFACES = "surfaces"


class StrengthUnit(StrEnum):
    """How a label states strength. w/w and w/v are never the same thing."""

    PCT_WV = "% w/v"
    PCT_WW = "% w/w"
    MG_L = "mg/L"
    READY = "ready to use"


class LabelUse(Part):
    """One use that the label allows, with what it asks."""

    use: Annotated[ProductUse, Field(strict=False)]
    strength: Annotated[float | None, Field(gt=0, le=1_000_000)] = None
    strength_unit: Annotated[StrengthUnit, Field(strict=False)]
    contact_s: Annotated[int, Field(ge=1, le=172_800, description="contact time of the label [s]; never shortened")]
    temperature_c: Annotated[tuple[float, float], Field(description="lowest and highest temperature of the label [degC]")]
    residual_limit_mg_l: Annotated[float | None, Field(gt=0, description="rinse until at most this is left [mg/L]; from label or IFU")] = (
        None
    )
    rinse_s: Annotated[int | None, Field(ge=1, description="shortest rinse that the label states [s]")] = None
    claim: Annotated[str, Field(max_length=300, description="what the label claims, in its words")] = ""


class Product(Part):
    """A product as its label says."""

    id: Id
    name: Name
    active: Name
    density_kg_l: Annotated[float | None, Field(ge=0.7, le=1.9)] = None
    ph: Annotated[tuple[float, float] | None, Field(description="lowest and highest pH in use")] = None
    uses: Annotated[tuple[LabelUse, ...], Field(min_length=1)]
    shelf_closed_days: Annotated[int | None, Field(ge=1)] = None
    shelf_open_days: Annotated[int | None, Field(ge=1)] = None
    shelf_mixed_hours: Annotated[float | None, Field(gt=0)] = None
    hazards: tuple[Name, ...] = ()
    wear: Annotated[tuple[Name, ...], Field(description="what to wear when handling it")] = ()
    label_ref: Annotated[str, Field(max_length=200, description="where the label's text is kept")] = ""


class InUse(Part):
    """Which product the practice has chosen for each use."""

    line_intensive: Id | None = None
    line_continuous: Id | None = None
    suction: Id | None = None
    surfaces: Id | None = None


class VisitKind(Part):
    """A kind of visit, and the sets that one visit of it uses."""

    id: Id
    name: Name
    uses: Annotated[dict[str, Annotated[int, Field(ge=1, le=20)]], Field(description="set type = how many")]
    surgical: Annotated[bool, Field(description="needs sterile water by a sterile path")] = False
    weight: Annotated[int, Field(ge=1, le=100, description="how much a minute late counts")] = 1


class MapRule(Part):
    """Says which calendar entries belong to a chair or a visit kind."""

    property: Annotated[Literal["calendar", "location", "resources", "categories"], Field(description="never the summary: it holds names")]
    equals: Name
    chair: Id | None = None
    visit_kind: Id | None = None
    ignore: Annotated[bool, Field(description="entries like this are no visits (a meeting, a blocked hour)")] = False


class CalendarMap(Part):
    """How the appointment book is read."""

    rules: Annotated[tuple[MapRule, ...], Field(min_length=1)]
    default_visit_kind: Annotated[Id | None, Field(description="used where no rule names a kind; left out: they are listed")] = None


class OwnRule(Part):
    """A value of the practice's own layer in the rulebook."""

    id: Annotated[str, Field(min_length=1, description="id of the duty's step or limit, as `fettlebook rules` lists it")]
    value: float | int | tuple[float, float]
    reason: Annotated[str, Field(max_length=300, description="needed where the value is looser than the layer below")] = ""
    decided_by: Annotated[str, Field(max_length=80)] = ""
    decided_on: date | None = None


class MeasuredStep(Part):
    """Minutes of a step as measured in this practice (stop-watch), where the rulebook leaves it to the practice."""

    step: Annotated[str, Field(min_length=1, description="id of the step, as `fettlebook rules` lists it")]
    minutes: Annotated[float, Field(gt=0, le=240)]


class Practice(Part):
    """The whole practice file."""

    schema_: Annotated[Literal[1], Field(alias="schema", description="version of this file form")]
    practice: PracticeHead
    opening: Annotated[tuple[Opening, ...], Field(min_length=1)]
    holidays: tuple[Holiday, ...] = ()
    rooms: Annotated[tuple[Room, ...], Field(min_length=1)]
    chairs: Annotated[tuple[Chair, ...], Field(min_length=1)]
    machines: tuple[Machine, ...] = ()
    sets: tuple[SetType, ...] = ()
    reprocessing: Reprocessing
    people: Annotated[tuple[Person, ...], Field(min_length=1)]
    products: tuple[Product, ...] = ()
    in_use: InUse
    visit_kinds: Annotated[tuple[VisitKind, ...], Field(min_length=1)]
    calendar: CalendarMap
    own_rules: tuple[OwnRule, ...] = ()
    measured: tuple[MeasuredStep, ...] = ()
