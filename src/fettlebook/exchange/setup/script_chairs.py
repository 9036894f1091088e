"""Chairs: supply, outlets, hoses, suction. A further chair is like an earlier one, or like it but for a few things."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from fettlebook.exchange.setup import reading, typical
from fettlebook.exchange.setup.asking import TYPICAL, YES_NO, Choice, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.exchange.setup.script_flows import ask_flow, ask_where_measured
from fettlebook.said import joined, said, term

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
SUCTIONS: Final = (
    Choice("high volume", said("high volume")), Choice("high volume 2", said("second high volume")),
    Choice("saliva ejector", said("saliva ejector")), Choice("saliva ejector 2", said("second saliva ejector")),
    Choice("none", said("no suction")),
)  # fmt: skip
USUAL_SUCTION: Final = ("high volume", "saliva ejector")
Hoses = Mapping[str, tuple[float, float] | None]  # bore [mm] and length [m] of each; None: typical ones


@dataclass(frozen=True)
class Kind:
    """What chairs may have in common: everything but room and flows."""

    supply: Mapping[str, Any]
    typical_bottle: bool
    amalgam: bool
    outlets: tuple[str, ...]
    together: bool
    hoses: Hoses
    tank_ml: float | None
    suction: tuple[str, ...]


def ask_chairs(walk: Walk, draft: Draft) -> None:
    """Ask for each kind of chair, then where flows are measured now."""
    walk.part = said("Chairs")
    count, rooms = draft.chair_count, _rooms(walk, draft)
    kinds: dict[int, Kind] = {}
    last: int | None = None  # the last one that was described
    for n in range(1, count + 1):
        if n in kinds:
            continue
        walk.part = said("Chair {n}", n=n)
        kinds[n] = _kind(walk, draft, f"chair {n}") if last is None else _kind_like(walk, draft, n, last, kinds[last])
        last = n
        if rest := [m for m in range(n + 1, count + 1) if m not in kinds]:
            kinds |= dict.fromkeys(_alike(walk, n, rest), kinds[n])
    walk.part = said("Flows")
    measured = ask_where_measured(walk, [f"chair {n}" for n in range(1, count + 1)])
    for n in range(1, count + 1):
        _written(walk, draft, n, rooms[n - 1], kinds[n], measured=f"chair {n}" in measured)


def _rooms(walk: Walk, draft: Draft) -> list[str]:
    """Return the room of each chair."""
    rooms = draft.rooms[:-1]  # the last one is for instruments
    if draft.chair_count == len(rooms):
        return [room["id"] for room in rooms]
    choices = [Choice(room["id"], room["name"]) for room in rooms]
    return [
        walk.ask(f"chair {n}.room", said("In which room stands chair {n}?", n=n), said("A room may have several."), str, choices=choices)
        for n in range(1, draft.chair_count + 1)
    ]


def _alike(walk: Walk, n: int, rest: list[int]) -> list[int]:
    found = walk.ask(
        f"chair {n}.alike",
        said("Which chairs have the same supply, outlets, water lines and suction as chair {n}?", n=n),
        said("Same make and age usually means yes. What is otherwise at the rest is asked next; flows differ from chair to chair anyway."),
        reading.listed,
        offered=", ".join(f"chair {m}" for m in rest),
        choices=(*(Choice(f"chair {m}", said("chair {n}", n=m)) for m in rest), Choice("none", said("none of them"))),
        many=True,
    )
    return [m for m in rest if f"chair {m}" in found]


def _kind(walk: Walk, draft: Draft, key: str) -> Kind:
    """Ask for a chair: what nobody can guess one by one, the usual on one sheet."""
    supply = _supply(walk, draft, key)
    outlets = _outlets(walk, key)
    tank_ml = _tank(walk, key)
    mouth = _in_mouth(outlets)
    bottle, hoses = supply["kind"] == "bottle", said("typical bores and lengths, not measured")
    lines = [
        *([Choice("bottle", said("bottle"), said("{value} mL (typical, not measured)", value=typical.BOTTLE_ML))] if bottle else []),
        Choice("amalgam", said("amalgam placed or removed"), said("yes")),
        *([_together_line(outlets, together=True)] if len(mouth) > 1 else []),
        Choice("hoses", said("water hoses"), hoses),
        _suction_line(USUAL_SUCTION),
    ]
    other = walk.otherwise(f"{key}.usual", said("Is this so at {chair}?", chair=key), lines)
    bottle_ml = _bottle(walk, key) if "bottle" in other else None
    return Kind(
        supply | ({"bottle_ml": float(typical.BOTTLE_ML) if bottle_ml is None else bottle_ml} if bottle else {}),
        bottle and bottle_ml is None,
        _amalgam(walk, key) if "amalgam" in other else True,
        outlets,
        _together(walk, key, mouth) if "together" in other else True,
        _hoses(walk, key, outlets) if "hoses" in other else dict.fromkeys(_wanted(outlets)),
        tank_ml,
        _suction(walk, key) if "suction" in other else USUAL_SUCTION,
    )


def _kind_like(walk: Walk, draft: Draft, n: int, than: int, like: Kind) -> Kind:
    """Ask for a chair that differs from another one: only what is otherwise."""
    key, mouth = f"chair {n}", _in_mouth(like.outlets)
    known = all(like.hoses.values())
    lines = [
        Choice("supply", said("water supply"), _supply_words(like)),
        Choice("outlets", said("water leaves it at"), joined(", ", (_words(OUTLETS, o) for o in like.outlets))),
        *([_together_line(like.outlets, together=like.together)] if len(mouth) > 1 else []),
        Choice("hoses", said("water hoses"), said("as entered there") if known else said("typical bores and lengths, not measured")),
        Choice("tank", said("filter, heater or tank"), said("none there") if like.tank_ml is None else f"{like.tank_ml:g} mL"),
        Choice("amalgam", said("amalgam placed or removed"), said("yes") if like.amalgam else said("no")),
        _suction_line(like.suction),
    ]
    other = walk.otherwise(f"{key}.usual", said("Where is chair {n} unlike chair {k}?", n=n, k=than), lines)
    supply, typical_bottle = like.supply, like.typical_bottle
    if "supply" in other:
        supply = _supply(walk, draft, key)
        if supply["kind"] == "bottle":
            bottle_ml = _bottle(walk, key)
            typical_bottle = bottle_ml is None
            supply |= {"bottle_ml": float(typical.BOTTLE_ML) if bottle_ml is None else bottle_ml}
    outlets = _outlets(walk, key) if "outlets" in other else like.outlets
    mouth, together = _in_mouth(outlets), like.together
    if "together" in other or ("outlets" in other and len(mouth) > 1 >= len(_in_mouth(like.outlets))):
        together = _together(walk, key, mouth)
    hoses = _hoses(walk, key, outlets) if "hoses" in other else _hoses_of(walk, key, outlets, like.hoses)
    return Kind(
        supply,
        typical_bottle and supply["kind"] == "bottle",
        _amalgam(walk, key) if "amalgam" in other else like.amalgam,
        outlets,
        together,
        hoses,
        _tank(walk, key) if "tank" in other else like.tank_ml,
        _suction(walk, key) if "suction" in other else like.suction,
    )


def _supply(walk: Walk, draft: Draft, key: str) -> dict[str, Any]:
    dosed = draft.in_use.get("line_continuous")
    kind = walk.ask(
        f"{key}.supply",
        said("Where does its water come from?"),
        said("A bottle hangs at the chair. A chair with dosing is offered once the dosed product was entered: go back for that."),
        str,
        choices=(*SUPPLIES, DOSED) if dosed else SUPPLIES,
    )
    if kind != DOSED.value:
        return {"kind": kind}
    strength = walk.ask(
        f"{key}.dosed",
        said("Which strength does the dosing keep, in mg/L?"),
        said("From the unit's instructions, or as strips show it at the outlet."),
        reading.value(0.01, 100_000, "mg/L"),
    )
    return {"kind": kind, "product": dosed, "strength_mg_l": strength}


def _supply_words(kind: Kind) -> str:
    words = _words((*SUPPLIES, DOSED), kind.supply["kind"])
    return joined("", (words, f", {kind.supply['bottle_ml']:,.0f} mL")) if "bottle_ml" in kind.supply else words


def _bottle(walk: Walk, key: str) -> float | None:
    return walk.ask(
        f"{key}.bottle",
        said("How much does the bottle hold, in mL?"),
        said("It stands on the bottle, or fill it from a measuring jug. It tells how often the bottle must be filled."),
        lambda typed: None if typed == TYPICAL else reading.value(50, 20_000, "mL")(typed),
        offered=TYPICAL,
        offered_words=said("typical: {value} mL, not measured", value=typical.BOTTLE_ML),
    )


def _amalgam(walk: Walk, key: str) -> bool:
    return walk.ask(
        f"{key}.amalgam",
        said("Is amalgam placed or removed at it?"),
        said("Some cleaners are then barred from the drain. If in doubt, yes."),
        reading.yes,
        offered="yes",
        choices=YES_NO,
    )


def _outlets(walk: Walk, key: str) -> tuple[str, ...]:
    found = walk.ask(
        f"{key}.outlets",
        said("Where does water leave it?"),
        said("All outlets, also those that are seldom used. Several with commas between."),
        reading.listed,
        offered="turbine, motor, scaler, syringe",
        choices=OUTLETS,
        many=True,
    )
    return found or ("syringe",)


def _together(walk: Walk, key: str, mouth: tuple[str, ...]) -> bool:
    return len(mouth) < 2 or walk.ask(
        f"{key}.together",
        said("When you flush, do you open these together: {outlets}?", outlets=", ".join(mouth)),
        said("Outlets that run together take water from each other. Measure each flow with the others open, as you flush."),
        reading.yes,
        offered="yes",
        choices=(Choice("yes", said("yes, together")), Choice("no", said("no, one after the other"))),
    )


def _together_line(outlets: tuple[str, ...], *, together: bool) -> Choice:
    names = joined(", ", (_words(OUTLETS, o) for o in _in_mouth(outlets)))
    how = said("{outlets} together", outlets=names) if together else said("{outlets} one after the other", outlets=names)
    return Choice("together", said("opened for a flush"), how)


def _tank(walk: Walk, key: str) -> float | None:
    return walk.ask(
        f"{key}.stirred",
        said("How much water does its filter, heater or tank hold, in mL?"),
        said("All that mixes between supply and hoses, together. Ask whoever services it; leave it empty where there is none."),
        reading.optional(reading.value(0.1, 20_000, "mL")),
        enter_words=said("none there"),
    )


def _suction(walk: Walk, key: str) -> tuple[str, ...]:
    return walk.ask(
        f"{key}.suction",
        said("Which suction hoses has it?"),
        said("Each hose that a person holds. Bore and length are entered as typical ones; they can be corrected in the file."),
        reading.listed,
        offered=", ".join(USUAL_SUCTION),
        choices=SUCTIONS,
        many=True,
    )


def _suction_line(suction: tuple[str, ...]) -> Choice:
    return Choice("suction", said("suction hoses"), joined(", ", (_words(SUCTIONS, hose) for hose in suction or ("none",))))


def _hoses(walk: Walk, key: str, outlets: tuple[str, ...]) -> Hoses:
    """Ask whether bores and lengths are known, then for each."""
    known = walk.ask(
        f"{key}.hoses",
        said("Do you know the bores and lengths of its water hoses?"),
        said("They stand in the unit's papers; whoever services it knows them. Typical ones make the times longer, and the file says so."),
        str,
        offered="known",
        choices=(Choice("typical", said("no: take typical ones for now")), Choice("known", said("yes: ask for each"))),
    )
    return {name: None if known == "typical" else _hose(walk, key, name, outlets) for name in _wanted(outlets)}


def _hoses_of(walk: Walk, key: str, outlets: tuple[str, ...], have: Hoses) -> Hoses:
    """Take another chair's hoses; one that it has not is asked for where that chair's are known, else typical."""
    known = any(have.values())
    return {name: have[name] if name in have else _hose(walk, key, name, outlets) if known else None for name in _wanted(outlets)}


def _hose(walk: Walk, key: str, name: str, outlets: tuple[str, ...]) -> tuple[float, float] | None:
    (bore, length), where = _wanted(outlets)[name]
    return walk.ask(
        f"{key}.hose.{name}",
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


def _wanted(outlets: tuple[str, ...]) -> dict[str, tuple[tuple[float, float], str]]:
    """Return the hoses of a chair, from the supply on: typical bore and length, and where each leads."""
    found: dict[str, tuple[tuple[float, float], str]] = {"feed": (typical.FEED, said("from the supply to the block under the chair"))}
    if _in_mouth(outlets):
        found["block"] = (typical.BLOCK, said("through the block to the hoses"))
    return found | {f"{o} hose": (typical.OUTLETS[_of(o)][:2], said("to the {outlet}", outlet=o)) for o in outlets}


def _segments(kind: Kind) -> Iterator[dict[str, Any]]:
    above = {"feed": "", "block": "filter" if kind.tank_ml is not None else "feed"}
    above |= {f"{o} hose": "block" if _of(o) in SEVERAL else "feed" for o in kind.outlets}
    for name, (usual, _) in _wanted(kind.outlets).items():
        told = kind.hoses[name]
        bore, length = told or usual
        part: dict[str, Any] = {"id": name} | ({"from": above[name]} if above[name] else {}) | {"bore_mm": bore, "length_m": length}
        yield part | ({} if told else {"typical": True})


def _in_mouth(outlets: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(o for o in outlets if _of(o) in SEVERAL)


def _of(outlet: str) -> str:
    """Return the kind of an outlet: that of "turbine 2" is "turbine"."""
    return outlet.removesuffix(" 2")


def _words(choices: tuple[Choice, ...], value: str) -> str:
    return next((choice.words for choice in choices if choice.value == value), term(value))


def _written(walk: Walk, draft: Draft, n: int, room: str, kind: Kind, *, measured: bool) -> None:
    name, at = f"chair {n}", f"chairs.{n - 1}"
    outlets: list[dict[str, Any]] = []
    mouth = _in_mouth(kind.outlets)
    for outlet in kind.outlets:
        usual = typical.OUTLETS[_of(outlet)][2]
        flow: dict[str, Any] = {"flow_ml_min": usual, "typical": True}
        if measured:
            others = [o for o in mouth if o != outlet] if kind.together and outlet in mouth else []
            flow = ask_flow(
                walk, f"{name}.flow.{outlet}", chair=name, outlet=outlet, kind=_of(outlet), usual_ml_min=usual, others=others,
                water_c=draft.head["water_temperature_c"],
            )  # fmt: skip
        outlets.append({"id": outlet, "kind": _of(outlet), "from": f"{outlet} hose"} | flow)
    chair: dict[str, Any] = {"id": name, "room": room, "amalgam": kind.amalgam, "supply": dict(kind.supply)}
    chair["run_together"] = ([list(mouth)] if kind.together and mouth else [[o] for o in mouth]) + [
        [o] for o in kind.outlets if o not in mouth
    ]
    stirred = [{"id": "filter", "from": "feed", "volume_ml": kind.tank_ml}] if kind.tank_ml is not None and mouth else []
    chair |= {"segments": list(_segments(kind)), "stirred": stirred, "outlets": outlets}
    sizes = [(hose, *typical.SUCTION[_of(hose)]) for hose in kind.suction]
    chair["suction"] = [{"id": hose, "kind": _of(hose), "bore_mm": bore, "length_m": length} for hose, bore, length in sizes]
    draft.comments[f"{at}.suction"] = "bore and length: typical, not measured"
    if kind.typical_bottle:
        draft.comments[f"{at}.supply"] = "bottle: typical, not measured"
    draft.chairs.append(chair)
