"""Chairs: supply, outlets, hoses, suction; a further chair is like an earlier one, and only its flows are asked anew."""

from dataclasses import dataclass
from typing import Any, Final

from fettlebook.exchange.setup import reading, typical
from fettlebook.exchange.setup.asking import TYPICAL, YES_NO, Choice, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.exchange.setup.script_flows import ask_flow
from fettlebook.said import said

SEVERAL: Final = ("turbine", "motor", "scaler", "syringe")  # what is opened together, and may be there twice
OUTLETS: Final = (
    Choice("turbine", said("turbine")), Choice("turbine 2", said("second turbine")), Choice("motor", said("motor")),
    Choice("motor 2", said("second motor")), Choice("scaler", said("scaler")), Choice("syringe", said("syringe")),
    Choice("syringe 2", said("second syringe")), Choice("cup filler", said("cup filler")), Choice("bowl rinse", said("bowl rinse")),
)  # fmt: skip
SUPPLIES: Final = (
    Choice("bottle", said("from a bottle")),
    Choice("mains through an air gap", said("from the mains, through an air gap")),
)
DOSED: Final = Choice("continuous dosing", said("a disinfectant is dosed into it all day"))


@dataclass(frozen=True)
class Kind:
    """What chairs may have in common: everything but room and flows."""

    supply: dict[str, Any]
    amalgam: bool
    outlets: tuple[str, ...]
    together: bool
    segments: tuple[dict[str, Any], ...]
    stirred: tuple[dict[str, Any], ...]
    suction: tuple[str, ...]
    typical_bottle: bool


def ask_chairs(walk: Walk, draft: Draft) -> None:
    """Ask for each chair."""
    rooms = draft.rooms[:-1]  # the last one is for instruments
    walk.part = said("Chairs")
    count = walk.ask(
        "chairs.count",
        said("How many chairs are there?"),
        said("Each dental unit counts. They are called chair 1, chair 2 and so on, in the order of the rooms."),
        reading.count(1, 40),
        offered=str(len(rooms)),
    )
    kinds: list[Kind] = []
    for n in range(1, count + 1):
        walk.part = said("Chair {n}", n=n)
        room = rooms[min(n, len(rooms)) - 1]["id"]
        if count != len(rooms):
            choices = [Choice(r["id"], r["name"]) for r in rooms]
            room = walk.ask(
                f"chair {n}.room", said("In which room stands chair {n}?", n=n), said("A room may have several."), str, choices=choices
            )
        kind = _like(walk, n, kinds) or _kind(walk, draft, f"chair {n}")
        kinds.append(kind)
        _written(walk, draft, n, room, kind)


def _like(walk: Walk, n: int, kinds: list[Kind]) -> Kind | None:
    if not kinds:
        return None
    choices = [Choice(f"chair {k}", said("yes, like chair {k}", k=k)) for k in range(1, n)] + [Choice("no", said("no, ask everything"))]
    like = walk.ask(
        f"chair {n}.like",
        said("Has chair {n} the same supply, outlets, lines and suction as another one?", n=n),
        said("Same make and age usually means yes. Its flows are asked all the same: they differ from chair to chair."),
        str,
        offered="chair 1",
        choices=choices,
    )
    return None if like == "no" else kinds[int(like.split()[1]) - 1]


def _kind(walk: Walk, draft: Draft, key: str) -> Kind:
    supply, typical_bottle = _supply(walk, draft, key)
    amalgam = walk.ask(
        f"{key}.amalgam",
        said("Is amalgam placed or removed at it?"),
        said("Some cleaners are then barred from the drain. If in doubt, yes."),
        reading.yes,
        offered="yes",
        choices=YES_NO,
    )
    outlets = walk.ask(
        f"{key}.outlets",
        said("Where does water leave it?"),
        said("All outlets, also those that are seldom used. Several with commas between."),
        reading.listed,
        offered="turbine, motor, scaler, syringe",
        choices=OUTLETS,
        many=True,
    )
    if not outlets:
        outlets = ("syringe",)
    mouth = [o for o in outlets if _of(o) in SEVERAL]
    together = len(mouth) < 2 or walk.ask(
        f"{key}.together",
        said("When you flush, do you open these together: {outlets}?", outlets=", ".join(mouth)),
        said("Outlets that run together take water from each other. Measure each flow with the others open, as you flush."),
        reading.yes,
        offered="yes",
        choices=(Choice("yes", said("yes, together")), Choice("no", said("no, one after the other"))),
    )
    segments, stirred = _lines(walk, key, outlets)
    suction = walk.ask(
        f"{key}.suction",
        said("Which suction hoses has it?"),
        said("Each hose that a person holds. Bore and length are entered as typical ones; they can be corrected in the file."),
        reading.listed,
        offered="high volume, saliva ejector",
        choices=(
            Choice("high volume", said("high volume")), Choice("high volume 2", said("second high volume")),
            Choice("saliva ejector", said("saliva ejector")), Choice("saliva ejector 2", said("second saliva ejector")),
            Choice("none", said("no suction")),
        ),
        many=True,
    )  # fmt: skip
    return Kind(supply, amalgam, outlets, together, segments, stirred, suction, typical_bottle)


def _supply(walk: Walk, draft: Draft, key: str) -> tuple[dict[str, Any], bool]:
    dosed = draft.in_use.get("line_continuous")
    kind = walk.ask(
        f"{key}.supply",
        said("Where does its water come from?"),
        said("A bottle hangs at the chair. A chair with dosing is offered once the dosed product was entered: go back for that."),
        str,
        choices=(*SUPPLIES, DOSED) if dosed else SUPPLIES,
    )
    if kind == "bottle":
        bottle = walk.ask(
            f"{key}.bottle",
            said("How much does the bottle hold, in mL?"),
            said("It stands on the bottle, or fill it from a measuring jug. It tells how often the bottle must be filled."),
            lambda typed: None if typed == TYPICAL else reading.value(50, 20_000, "mL")(typed),
            offered=TYPICAL,
            offered_words=said("typical: {value} mL, not measured", value=typical.BOTTLE_ML),
        )
        return {"kind": kind, "bottle_ml": float(typical.BOTTLE_ML) if bottle is None else bottle}, bottle is None
    if kind == DOSED.value:
        strength = walk.ask(
            f"{key}.dosed",
            said("Which strength does the dosing keep, in mg/L?"),
            said("From the unit's instructions, or as strips show it at the outlet."),
            reading.value(0.01, 100_000, "mg/L"),
        )
        return {"kind": kind, "product": dosed, "strength_mg_l": strength}, False
    return {"kind": kind}, False


def _lines(walk: Walk, key: str, outlets: tuple[str, ...]) -> tuple[tuple[dict[str, Any], ...], tuple[dict[str, Any], ...]]:
    known = walk.ask(
        f"{key}.hoses",
        said("Do you know the bores and lengths of its water hoses?"),
        said("They stand in the unit's papers; whoever services it knows them. Typical ones make the times longer, and the file says so."),
        str,
        offered="typical",
        choices=(Choice("typical", said("no: take typical ones for now")), Choice("known", said("yes: ask for each"))),
    )
    still = walk.ask(
        f"{key}.stirred",
        said("How much water does its filter, heater or tank hold, in mL?"),
        said("All that mixes between supply and hoses, together. Ask whoever services it; leave it empty where there is none."),
        reading.optional(reading.value(0.1, 20_000, "mL")),
        enter_words=said("none there"),
    )
    stirred = () if still is None else ({"id": "filter", "from": "feed", "volume_ml": still},)
    above = "filter" if stirred else "feed"
    wanted = [("feed", "", typical.FEED, said("from the supply to the block under the chair"))]
    wanted.append(("block", above, typical.BLOCK, said("through the block to the hoses")))
    wanted += [(f"{o} hose", _hangs_on(o), typical.OUTLETS[_of(o)][:2], said("to the {outlet}", outlet=o)) for o in outlets]
    if not any(_of(o) in SEVERAL for o in outlets):
        wanted = [part for part in wanted if part[0] != "block"]
        stirred = ()
    parts = []
    for name, from_, (bore, length), where in wanted:
        told = None if known == "typical" else _hose(walk, f"{key}.hose.{name}", where, bore, length)
        part: dict[str, Any] = {"id": name} | ({"from": from_} if from_ else {})
        part |= {"bore_mm": bore, "length_m": length, "typical": True} if told is None else {"bore_mm": told[0], "length_m": told[1]}
        parts.append(part)
    return tuple(parts), stirred


def _hose(walk: Walk, key: str, where: str, bore: float, length: float) -> tuple[float, float] | None:
    return walk.ask(
        key,
        said("Hose {where}: bore in mm x length in m", where=where),
        said("If in doubt the wider bore and the longer length: that errs towards the longer flush. Never open a chair to measure."),
        lambda typed: None if typed == TYPICAL else _water_hose(typed),
        offered=TYPICAL,
        offered_words=said("typical: {bore:g} x {length:g}, not measured", bore=bore, length=length),
        example="1.6 x 2.0",
    )


def _water_hose(typed: str) -> tuple[float, float]:
    bore, length = reading.hose(typed)
    if bore > 10:
        raise reading.refuse(said("{bore:g} mm is too wide for a water hose", bore=bore), said("Write mm x metres: 1.6 x 2.0."))
    return bore, length


def _hangs_on(outlet: str) -> str:
    return "block" if _of(outlet) in SEVERAL else "feed"


def _of(outlet: str) -> str:
    """Return the kind of an outlet: that of "turbine 2" is "turbine"."""
    return outlet.removesuffix(" 2")


def _written(walk: Walk, draft: Draft, n: int, room: str, kind: Kind) -> None:
    name, at = f"chair {n}", f"chairs.{n - 1}"
    outlets: list[dict[str, Any]] = []
    for outlet in kind.outlets:
        usual = typical.OUTLETS[_of(outlet)][2]
        others = [o for o in kind.outlets if kind.together and _of(o) in SEVERAL and o != outlet] if _of(outlet) in SEVERAL else []
        flow = ask_flow(
            walk, f"{name}.flow.{outlet}", chair=name, outlet=outlet, kind=_of(outlet), usual_ml_min=usual, others=others,
            water_c=draft.head["water_temperature_c"],
        )  # fmt: skip
        outlets.append({"id": outlet, "kind": _of(outlet), "from": f"{outlet} hose"} | flow)
    chair: dict[str, Any] = {"id": name, "room": room, "amalgam": kind.amalgam, "supply": kind.supply}
    mouth = [o for o in kind.outlets if _of(o) in SEVERAL]
    groups = ([mouth] if kind.together and mouth else [[o] for o in mouth]) + [[o] for o in kind.outlets if _of(o) not in SEVERAL]
    chair["run_together"] = groups
    chair |= {"segments": list(kind.segments), "stirred": list(kind.stirred), "outlets": outlets}
    sizes = [(hose, *typical.SUCTION[_of(hose)]) for hose in kind.suction]
    chair["suction"] = [{"id": hose, "kind": _of(hose), "bore_mm": bore, "length_m": length} for hose, bore, length in sizes]
    draft.comments[f"{at}.suction"] = "bore and length: typical, not measured"
    if kind.typical_bottle:
        draft.comments[f"{at}.supply"] = "bottle: typical, not measured"
    draft.chairs.append(chair)
