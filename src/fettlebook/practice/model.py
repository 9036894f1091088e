"""The practice file as frozen models: rooms, chairs with their lines, machines, sets, people, products, visit kinds.

Units stand in the names. Plausible ranges are part of the model: a bore of 20 mm or a syringe of 9 L/min is a typing
slip, and a slip here becomes a wrong running time at a chair. Descriptions are noun phrases: messages say "Give the ..." with
them, up to the first semicolon. Relations between parts (a segment that hangs on
nothing, a loop, a set that nobody owns) are in `check`.
"""

from datetime import date, time
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$", description="name as it is shown")]
Id = Annotated[
    str,
    Field(
        min_length=1,
        max_length=60,
        pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]*$",
        description="short id of this part; other parts name it by this",
    ),
]
BoreMm = Annotated[float, Field(ge=0.5, le=10, description="inner diameter [mm]")]
LengthM = Annotated[float, Field(gt=0, le=30, description="length [m]")]
VolumeMl = Annotated[float, Field(gt=0, le=20_000, description="volume [mL]")]
FlowMlMin = Annotated[float, Field(gt=0, le=5_000, description="measured flow with this outlet open as in use [mL/min]")]
Minutes = Annotated[int, Field(ge=0, le=600, description="length [min]")]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Days = Annotated[tuple[Day, ...], Field(min_length=1, description="list of weekdays; mon, tue, wed, thu, fri, sat, sun")]
FromTime = Annotated[time, Field(alias="from", description="time at which it begins; 08:30:00, with seconds")]
ToTime = Annotated[time, Field(description="time at which it ends; 17:30:00, with seconds")]
RoomId = Annotated[Id, Field(description="id of the room it stands in")]
Typical = Annotated[
    bool, Field(description="answer true where the values are typical ones that nobody measured here; times are longer then")
]
OutOfService = Annotated[bool, Field(description="answer true while it is out of service")]
HangsOn = Annotated[Id | None, Field(alias="from", description="id of the segment or stirred volume it hangs on; leave out for the supply")]


Language = Literal["en", "de", "es", "fr"]  # those that the catalogs hold

Gtin = Annotated[
    str | None,
    Field(pattern=r"^([0-9]{8}|[0-9]{12,14})$", description="trade item number as the package or maker says it (GS1 GTIN)"),
]


class Part(BaseModel):
    """What every part of the file has in common: strict types, no unknown key, never changed after reading."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


class PracticeHead(Part):
    """Who this file is for, and under which rules."""

    id: Id
    name: Name
    time_zone: Annotated[str, Field(description="time zone by its IANA name, for example Europe/London")]
    rulebooks: Annotated[
        tuple[Name, ...], Field(min_length=1, description='list of rulebooks in force; general first, for example ["general", "uk"]')
    ]
    water_temperature_c: Annotated[
        float, Field(ge=1, le=45, description="temperature of the coldest water that reaches the chairs [degC]; cold water needs longest")
    ]
    language: Annotated[
        Language | None, Field(description="language of what is printed; en, de, es, fr; left out: that of the practice's country")
    ] = None
    invented: Annotated[bool, Field(description="word true for a made-up practice; every page then says so")] = False
    surgical_water: Annotated[
        Literal["sterile"], Field(description="water for surgery; sterile water by a sterile path, nothing else can be chosen")
    ] = "sterile"


class Opening(Part):
    """One stretch of opening hours."""

    days: Days
    from_: FromTime
    to: ToTime


class Holiday(Part):
    """A day on which the practice is closed."""

    date: Annotated[date, Field(description="day on which the practice is closed; 2026-12-25")]
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

    kind: Annotated[SupplyKind, Field(strict=False, description="kind of supply")]
    bottle_ml: Annotated[VolumeMl | None, Field(description="volume of the full bottle [mL]")] = None
    product: Annotated[Id | None, Field(description="id of the dosed product; for continuous dosing")] = None
    strength_mg_l: Annotated[float | None, Field(gt=0, le=100_000, description="strength that the dosing keeps [mg/L]")] = None


class SegmentShape(StrEnum):
    """How a piece of water line lies."""

    STRAIGHT = "straight"
    COILED = "coiled"


class Segment(Part):
    """A piece of water line of one bore."""

    id: Id
    from_: HangsOn = None
    bore_mm: BoreMm
    length_m: LengthM
    shape: Annotated[
        SegmentShape, Field(strict=False, description="how it lies; a coil clears sooner, and no time is shortened for it")
    ] = SegmentShape.STRAIGHT
    typical: Typical = False


class StirredVolume(Part):
    """A part that mixes: filter, heater, cup reservoir, or a fitting of unknown inside."""

    id: Id
    from_: HangsOn = None
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


class Strips(Part):
    """What strips at an outlet said of its line: how many times as slow as computed, and what mixes at its end."""

    dipped_on: Annotated[date, Field(description="day on which the strips were dipped; 2026-11-02")]
    slower: Annotated[float, Field(gt=0.05, le=20, description="number of times as slow as computed, likeliest; 1.1")]
    slower_from: Annotated[float, Field(gt=0.05, le=20, description="lower end of its range, 95 %; 1.0")]
    slower_to: Annotated[float, Field(gt=0.05, le=20, description="upper end of its range, 95 %; 1.3")]
    mixing_ml: Annotated[float, Field(ge=0, le=2_000, description="water that mixes at the end of this line, beside what is entered [mL]")]


class Outlet(Part):
    """Where water leaves the chair."""

    id: Id
    kind: Annotated[OutletKind, Field(strict=False, description="kind of outlet")]
    from_: Annotated[Id, Field(alias="from", description="id of the segment or stirred volume it hangs on")]
    flow_ml_min: FlowMlMin
    measured_on: Annotated[
        date | None, Field(description="day of the cup-and-clock measurement; 2026-11-02; without it the flow shows as not measured")
    ] = None
    flow_within_pct: Annotated[
        float | None,
        Field(gt=0, le=50, description="range of the measured flow, up and down, as `fettlebook flow` tells it [%]; left out: 10"),
    ] = None
    strips: Annotated[
        Strips | None, Field(description="table of what strips at this outlet said; `fettlebook calibrate` tells it, no time gets shorter")
    ] = None
    typical: Typical = False


class SecondFeedKind(StrEnum):
    """By what a second water reaches the lines."""

    OPEN_BRANCH = "open branch"
    MIXING_VALVE = "mixing valve"
    LEAK = "leaking non-return valve"


class SecondFeed(Part):
    """Other water that enters the lines below the supply, and thins what the supply brings."""

    id: Id
    kind: Annotated[SecondFeedKind, Field(strict=False, description="kind of second feed")]
    into: Annotated[Id, Field(description="id of the segment or stirred volume at whose beginning it enters")]
    flow_ml_min: Annotated[
        float, Field(gt=0, le=5_000, description="flow that it brings while the outlets are open as in use, supply shut [mL/min]")
    ]
    shut_for_fill: Annotated[bool, Field(description="answer true where a person shuts it before each fill")] = False


class SuctionLine(Part):
    """A suction hose."""

    id: Id
    kind: Annotated[Literal["high volume", "saliva ejector"], Field(description="kind of suction")]
    bore_mm: Annotated[float, Field(ge=3, le=30, description="inner diameter of the hose [mm]")]
    length_m: LengthM


class WearPart(Part):
    """A part of the chair that lasts for so long by its label or instructions, and is then changed."""

    what: Annotated[
        Literal["water filter", "water bottle", "suction filter", "separator", "other"], Field(description="what it is, as its entries say")
    ]
    name: Annotated[Id | None, Field(description="which one, where there are several; what it is, where it is another")] = None
    life_days: Annotated[int | None, Field(ge=1, le=3_660, description="how long it may stay, by its label or instructions [days]")] = None
    litres: Annotated[
        float | None, Field(gt=0, le=1_000_000, description="how much water may pass it, by its label; only with a bottle [L]")
    ] = None


class ChairOut(Part):
    """A stretch of one day in which a chair can't be used."""

    on: Annotated[date, Field(description="day; 2026-12-01")]
    from_: FromTime
    to: ToTime


class Chair(Part):
    """A chair with its dental unit."""

    id: Id
    room: RoomId
    model_note: Annotated[str, Field(max_length=200, description="note on make and model; for people, not read")] = ""
    supply: Annotated[Supply, Field(description="water supply of the chair")]
    amalgam: Annotated[
        bool, Field(description="answer true where amalgam is placed or removed; some cleaners are then barred from the drain")
    ] = False
    out_of_service: OutOfService = False
    segments: Annotated[tuple[Segment, ...], Field(min_length=1, description="list of straight pieces of water line, from the supply on")]
    stirred: Annotated[tuple[StirredVolume, ...], Field(description="list of parts that mix; filter, heater, reservoir")] = ()
    outlets: Annotated[tuple[Outlet, ...], Field(description="list of outlets with their measured flows")]
    run_together: Annotated[
        tuple[tuple[Id, ...], ...],
        Field(description="list of groups of outlets that are opened together; one group after the other; leave out for one at a time"),
    ] = ()
    second_feeds: Annotated[
        tuple[SecondFeed, ...], Field(description="list of places where other water enters; open branch, mixing valve, leak")
    ] = ()
    changed_on: Annotated[
        date | None, Field(description="day on which its water lines were last changed; hose, valve, filter, block, pump; 2026-11-02")
    ] = None
    suction: Annotated[tuple[SuctionLine, ...], Field(description="list of suction hoses")] = ()
    parts: Annotated[tuple[WearPart, ...], Field(description="list of parts that last for so long; filter, separator, bottle")] = ()
    kind: Annotated[Name | None, Field(description="word of yours; chairs with the same word can serve the same visits")] = None
    out: Annotated[tuple[ChairOut, ...], Field(description="list of stretches in which the chair can't be used; day, begin, end")] = ()
    closed_by: Annotated[
        time | None, Field(description="time by which its closing, with an intensive treatment, must have ended; 18:30:00")
    ] = None


class MachineKind(StrEnum):
    """What a machine does."""

    WASHER = "washer"
    ULTRASONIC = "ultrasonic bath"
    STERILIZER = "sterilizer"


class Cycle(Part):
    """A program of a machine, by its own IFU."""

    id: Id
    minutes: Annotated[int, Field(ge=1, le=300, description="length from start to door open, drying included [min]")]
    type: Annotated[
        Literal["B", "N", "S", "wash", "bath"],
        Field(description="type of cycle; B, N, S as in EN 13060 for a sterilizer, wash for a washer, bath for an ultrasonic bath"),
    ]
    criteria: Annotated[
        str,
        Field(max_length=60, description="name of the criteria that its log is judged by; steam-134-b, washer-a0-600 and so on"),
    ] = ""
    limits: Annotated[
        dict[str, float | tuple[float, float]],
        Field(description="table of the machine's own limits; from its validation report, by the ids of the criteria"),
    ] = {}
    limits_from: Annotated[str, Field(max_length=200, description="report that these limits stand in, with its date")] = ""


class MachineTest(Part):
    """A test that the machine owes."""

    id: Id
    name: Name
    every: Annotated[Literal["day", "week", "quarter", "year"], Field(description="time after which it is due again")]
    attended_minutes: Annotated[Minutes, Field(description="length of the part that needs a person [min]")]
    unattended_minutes: Annotated[Minutes, Field(description="length of the part that runs alone [min]")]


class Sensor(Part):
    """What a calibration says of one of a machine's sensors."""

    channel: Annotated[
        str,
        Field(min_length=1, max_length=40, description="sensor as the log calls it; chamber, drain, load, pressure"),
    ]
    within: Annotated[
        float, Field(gt=0, le=50, description="how far it may be out once the offset is taken off; K, or kPa for the pressure")
    ]
    reads_more_by: Annotated[float, Field(ge=-50, le=50, description="what it shows too much; K, or kPa for the pressure")] = 0.0
    calibrated_on: Annotated[date | None, Field(description="day of the calibration; 2026-03-04")] = None


class WordTo(Part):
    """Another program of the practice that gets word when a verdict changes."""

    id: Id
    url: Annotated[str, Field(pattern=r"^https?://[^\s@]{3,300}$", description="address that takes it; https, or http within the house")]
    kinds: Annotated[
        tuple[Literal["practice", "chair", "outlet", "machine", "unit", "load", "product"], ...],
        Field(min_length=1, description="list of the kinds of subject that it hears of"),
    ] = ("practice", "chair", "machine")


class Laboratory(Part):
    """How the laboratory's reports are to be read, where they don't say it themselves."""

    columns: Annotated[
        dict[str, Annotated[str, Field(min_length=1, max_length=120)]],
        Field(max_length=20, description='table of field and heading; {chair = "Messstelle", result = "KBE"}'),
    ] = {}
    decimal: Annotated[Literal["point", "comma"] | None, Field(description="decimal sign")] = None
    per_ml: Annotated[float | None, Field(gt=0, le=10_000, description="counts are per so many mL")] = None
    volume_ml: Annotated[float | None, Field(gt=0, le=10_000, description="undiluted sample on the plates [mL]")] = None
    too_many_at: Annotated[int | None, Field(ge=1, le=100_000, description="number of colonies at which it stops counting")] = None
    nd_is_none_seen: Annotated[bool, Field(description='answer true where its "n.d." means none seen')] = False
    dates: Annotated[Literal["day first", "month first"] | None, Field(description="order in dates with slashes")] = None
    chairs: Annotated[
        dict[str, Id], Field(max_length=500, description='table of its name for a chair and the chair\'s id; {"DU 1" = "chair 1"}')
    ] = {}


class MachineLog(Part):
    """How the log files of a machine are to be read, where they don't say it themselves; the page *Log form* makes it from a first file."""

    columns: Annotated[
        dict[str, Annotated[str, Field(min_length=1, max_length=120)]],
        Field(max_length=20, description='table of role and column; {time = "Zeit", chamber = "T1", pressure = "3"}'),
    ] = {}
    units: Annotated[
        dict[str, Annotated[str, Field(min_length=1, max_length=10)]],
        Field(max_length=20, description='table of role and unit; {pressure = "bar"}'),
    ] = {}
    reference: Annotated[Literal["absolute", "gauge"] | None, Field(description="what the pressure is measured against")] = None
    ambient_kpa: Annotated[float | None, Field(ge=50, le=110, description="air's pressure, where the log has gauge pressure [kPa]")] = None
    decimal: Annotated[Literal[".", ","] | None, Field(description="decimal sign")] = None
    time: Annotated[Literal["h:m", "m:s"] | None, Field(description="meaning of two numbers with a colon in the time column")] = None
    cycle: Annotated[Id | None, Field(description="id of the cycle that such a file is of; left out: the day's cycle")] = None


class Machine(Part):
    """A washer, an ultrasonic bath or a sterilizer."""

    id: Id
    kind: Annotated[MachineKind, Field(strict=False, description="kind of machine")]
    room: RoomId
    capacity_places: Annotated[int, Field(ge=1, le=200, description="number of tray places; a set takes `places` of them")]
    cycles: Annotated[tuple[Cycle, ...], Field(min_length=1, description="list of cycles that are used here, by the machine's IFU")]
    day_cycle: Annotated[Id, Field(description="id of the cycle that the plan uses")]
    tests: Annotated[tuple[MachineTest, ...], Field(description="list of tests that the machine owes")] = ()
    sensors: Annotated[
        tuple[Sensor, ...], Field(description="list of sensors that were calibrated; how far their readings may be out")
    ] = ()
    log: Annotated[MachineLog | None, Field(description="form of its log files")] = None
    warm_up_minutes: Annotated[Minutes, Field(description="length of the warm-up after switching on [min]")] = 0
    out_of_service: OutOfService = False


class SetType(Part):
    """Instrument sets or handpieces of one type."""

    id: Id
    name: Name
    kind: Annotated[Literal["set", "handpiece"], Field(description="kind; set or handpiece")] = "set"
    owned: Annotated[int, Field(ge=0, le=500, description="number that the practice owns")]
    places: Annotated[int, Field(ge=1, le=20, description="number of tray places that one takes in a machine")] = 1
    bath: Annotated[bool, Field(description="answer true where it goes through the ultrasonic bath before the washer")] = False
    dry_minutes: Annotated[Minutes, Field(description="length of drying after the washer, before anybody packs it [min]")] = 0
    lubricate_minutes: Annotated[Minutes, Field(description="time of a person to oil one before packing [min]")] = 0
    most_cycles: Annotated[
        int | None, Field(ge=1, le=100_000, description="number of sterilizer cycles after which its IFU asks for service, or ends its use")
    ] = None
    cycle_types: Annotated[
        tuple[Literal["B", "N", "S"], ...],
        Field(description="list of the types of sterilizer cycle that it may ride, by its IFU; left out: the day's cycle only"),
    ] = ()
    gtin: Gtin = None
    giai: Annotated[
        str | None,
        Field(
            pattern=r"^[0-9]{4}[!-~]{0,22}$",
            description="asset identifier of the practice without its end; each one's number follows; for labels (GS1 GIAI)",
        ),
    ] = None


class Way(Part):
    """How long a set is on its way between two rooms."""

    from_: Annotated[Id, Field(alias="from", description="id of one room")]
    to: Annotated[Id, Field(description="id of the other room")]
    minutes: Annotated[int, Field(ge=1, le=240, description="time on the way [min]")]


class Reprocessing(Part):
    """Attended minutes around the machines, measured in this practice."""

    load_minutes: Annotated[int, Field(ge=1, le=60, description="time to load a machine [min]")]
    unload_minutes: Annotated[int, Field(ge=1, le=60, description="time to unload a machine [min]")]
    pack_minutes: Annotated[int, Field(ge=1, le=60, description="time to inspect, oil, pack and label one set [min]")]
    cool_minutes: Annotated[int, Field(ge=0, le=240, description="time that a sterilized load cools before it is touched [min]")]
    apart: Annotated[
        tuple[tuple[Id, Id], ...], Field(description="list of pairs of set types that may not share a load; by their IFU")
    ] = ()
    store: Annotated[Id | None, Field(description="id of the room in which sets are packed and kept")] = None
    ways: Annotated[tuple[Way, ...], Field(description="list of ways between rooms, either way; left out: none takes time")] = ()


class Shift(Part):
    """When a person works."""

    days: Days
    from_: FromTime
    to: ToTime
    over_midnight: Annotated[bool, Field(description="answer true where the shift ends on the next day")] = False
    breaks: Annotated[tuple[tuple[time, time], ...], Field(description="list of breaks; each [begin, end]")] = ()


class Skill(StrEnum):
    """What a person may do here."""

    CHAIRS = "chairs"
    INSTRUMENTS = "instruments"
    RELEASE = "release"
    LEAD = "lead"


class Role(StrEnum):
    """What somebody does with this program."""

    ASSISTANT = "assistant"
    LEAD = "lead"
    INSPECTOR = "inspector"  # reads only
    MAINTAINER = "maintainer"  # looks after machine and backups; writes nothing of the day's work


class Training(Part):
    """A training that a person had, and the day by which it is due again. Shown as due, never as proof."""

    what: Annotated[Name, Field(description="what was trained")]
    until: Annotated[date, Field(description="day by which it is due again; 2027-03-01")]


class Person(Part):
    """One of the staff, by initials or a short name that they chose."""

    id: Id
    name: Annotated[Name, Field(description="initials or short name that the person chose")]
    skills: Annotated[tuple[Annotated[Skill, Field(strict=False)], ...], Field(min_length=1, description="list of skills")]
    shifts: Annotated[tuple[Shift, ...], Field(description="list of shifts")]
    role: Annotated[Role | None, Field(strict=False, description="what the person does with this program")] = None
    training: Annotated[tuple[Training, ...], Field(max_length=40, description="list of trainings with the day each is due again")] = ()

    @property
    def acts_as(self) -> Role:
        """The role as written; left out, whoever leads infection prevention is lead and everybody else assistant."""
        return self.role or (Role.LEAD if Skill.LEAD in self.skills else Role.ASSISTANT)


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

    use: Annotated[ProductUse, Field(strict=False, description="use that the label allows")]
    strength: Annotated[
        float | None, Field(gt=0, le=1_000_000, description="strength that the label asks for; leave out if ready to use")
    ] = None
    strength_unit: Annotated[StrengthUnit, Field(strict=False, description="unit of the strength, as the label states it")]
    product_ml_per_l: Annotated[
        float | None, Field(gt=0, le=1_000, description="product in 1 L of the finished solution, where the label says so [mL]")
    ] = None
    contact_s: Annotated[int, Field(ge=1, le=172_800, description="contact time of the label [s]; never shortened")]
    temperature_c: Annotated[tuple[float, float], Field(description="list of the label's lowest and highest temperature [degC]")]
    residual_limit_mg_l: Annotated[
        float | None, Field(gt=0, description="most that may be left after the rinse [mg/L]; from label or IFU")
    ] = None
    rinse_s: Annotated[int | None, Field(ge=1, description="shortest rinse that the label states [s]")] = None
    strip_lowest_mg_l: Annotated[
        float | None, Field(gt=0, description="lowest strength that the strips in use show [mg/L]; from their package")
    ] = None
    claim: Annotated[str, Field(max_length=300, description="claim of the label, in its words")] = ""


class Concentrate(Part):
    """A product as it comes in its bottle, before it is made up with water."""

    strength: Annotated[float, Field(gt=0, le=1_000_000, description="strength as it comes")]
    strength_unit: Annotated[Literal["% w/v", "% w/w", "mg/L"], Field(description="unit of the strength, as label or data sheet state it")]
    density_kg_l: Annotated[float | None, Field(ge=0.7, le=1.9, description="density as it comes [kg/L]; needed for % w/w")] = None


class Product(Part):
    """A product as its label says."""

    id: Id
    name: Name
    active: Annotated[Name, Field(description="active substance")]
    density_kg_l: Annotated[float | None, Field(ge=0.7, le=1.9, description="density [kg/L]; needed to turn % w/w into % w/v")] = None
    concentrate: Annotated[
        Concentrate | None, Field(description="strength of the product as it comes; leave out if it is ready to use")
    ] = None
    ph: Annotated[tuple[float, float] | None, Field(description="list of the lowest and highest pH in use")] = None
    uses: Annotated[tuple[LabelUse, ...], Field(min_length=1, description="list of the uses that the label allows")]
    shelf_closed_days: Annotated[int | None, Field(ge=1, description="shelf life of the closed package [days]")] = None
    shelf_open_days: Annotated[int | None, Field(ge=1, description="shelf life once opened [days]")] = None
    shelf_mixed_hours: Annotated[float | None, Field(gt=0, description="life of the mixed solution [h]")] = None
    hazards: Annotated[tuple[Name, ...], Field(description="list of hazards, from the safety data sheet")] = ()
    wear: Annotated[tuple[Name, ...], Field(description="list of what to wear when handling it")] = ()
    caution: Annotated[str, Field(max_length=300, description="caution of the label, in its words; shown at each step with it")] = ""
    label_ref: Annotated[str, Field(max_length=200, description="place where the label's text is kept")] = ""
    gtin: Gtin = None


class InUse(Part):
    """Which product the practice has chosen for each use."""

    line_intensive: Annotated[Id | None, Field(description="id of the product for intensive treatment of the water lines")] = None
    line_continuous: Annotated[Id | None, Field(description="id of the product that stays in the water all day")] = None
    suction: Annotated[Id | None, Field(description="id of the product for the suction lines")] = None
    surfaces: Annotated[Id | None, Field(description="id of the product for surfaces")] = None


class VisitKind(Part):
    """A kind of visit, and the sets that one visit of it uses."""

    id: Id
    name: Name
    uses: Annotated[
        dict[str, Annotated[int, Field(ge=1, le=20, description="number of such sets that one visit uses")]],
        Field(description="table of set types; set type = how many one visit uses"),
    ]
    surgical: Annotated[bool, Field(description="answer true where the visit needs sterile water by a sterile path")] = False
    weight: Annotated[int, Field(ge=1, le=100, description="weight of a minute late; 1 is usual")] = 1
    may_move: Annotated[bool, Field(description="answer true where such a visit may move to another chair of the same kind")] = False


class MapRule(Part):
    """Says which calendar entries belong to a chair or a visit kind."""

    property: Annotated[
        Literal["calendar", "location", "resources", "categories"],
        Field(description="property of the entry; never the summary, which holds names"),
    ]
    equals: Annotated[Name, Field(description="text that the property has")]
    chair: Annotated[Id | None, Field(description="id of the chair that such an entry belongs to")] = None
    visit_kind: Annotated[Id | None, Field(description="id of the visit kind that such an entry is")] = None
    ignore: Annotated[bool, Field(description="answer true where such an entry is no visit; a meeting, a blocked hour")] = False


class CalendarMap(Part):
    """How the appointment book is read."""

    rules: Annotated[tuple[MapRule, ...], Field(min_length=1, description="list of rules")]
    default_visit_kind: Annotated[Id | None, Field(description="visit kind where no rule names one; left out: such entries are listed")] = (
        None
    )


class OwnRule(Part):
    """A value of the practice's own layer in the rulebook."""

    id: Annotated[str, Field(min_length=1, description="id of the duty's step or limit; as `fettlebook rules` lists it")]
    value: Annotated[float | int | tuple[float, float], Field(description="value in the rulebook's unit, or a pair [lowest, highest]")]
    reason: Annotated[str, Field(max_length=300, description="reason; needed where the value is looser than the layer below")] = ""
    decided_by: Annotated[str, Field(max_length=80, description="person or body who decided it")] = ""
    decided_on: Annotated[date | None, Field(description="day of the decision; 2026-11-02")] = None
    shared: Annotated[bool, Field(description="true: of the group's rulebook, under the practice's own values; as the group put it in")] = (
        False
    )


class MeasuredStep(Part):
    """Minutes of a step as measured in this practice (stop-watch), where the rulebook leaves it to the practice."""

    step: Annotated[str, Field(min_length=1, description="id of the step; as `fettlebook rules` lists it")]
    minutes: Annotated[float, Field(gt=0, le=240, description="measured length [min]")]


class Practice(Part):
    """The whole practice file."""

    schema_: Annotated[Literal[1], Field(alias="schema", description="version of this file form; 1")]
    practice: Annotated[PracticeHead, Field(description="who this file is for, and under which rulebooks")]
    opening: Annotated[tuple[Opening, ...], Field(min_length=1, description="list of opening hours")]
    holidays: Annotated[tuple[Holiday, ...], Field(description="list of days on which the practice is closed")] = ()
    rooms: Annotated[tuple[Room, ...], Field(min_length=1, description="list of rooms")]
    chairs: Annotated[tuple[Chair, ...], Field(min_length=1, description="list of chairs with their lines")]
    machines: Annotated[tuple[Machine, ...], Field(description="list of washers, ultrasonic baths and sterilizers")] = ()
    sets: Annotated[tuple[SetType, ...], Field(description="list of set and handpiece types")] = ()
    reprocessing: Annotated[Reprocessing, Field(description="attended minutes around the machines")]
    people: Annotated[tuple[Person, ...], Field(min_length=1, description="list of people with skills and shifts")]
    products: Annotated[tuple[Product, ...], Field(description="list of products as their labels say")] = ()
    in_use: Annotated[InUse, Field(description="product chosen for each use")]
    word_to: Annotated[tuple[WordTo, ...], Field(max_length=20, description="list of programs that get word of changed verdicts")] = ()
    laboratory: Annotated[Laboratory, Field(description="form of the laboratory's reports")] = Laboratory()
    visit_kinds: Annotated[tuple[VisitKind, ...], Field(min_length=1, description="list of visit kinds with the sets they use")]
    calendar: Annotated[CalendarMap, Field(description="rules by which the appointment book is read")]
    own_rules: Annotated[tuple[OwnRule, ...], Field(description="list of the practice's own values in the rulebook")] = ()
    measured: Annotated[tuple[MeasuredStep, ...], Field(description="list of steps measured here")] = ()
