"""Machines with their cycles, the minutes around them, and the sets that pass through."""

from typing import Any, Final

from fettlebook.exchange.setup import reading, typical
from fettlebook.exchange.setup.asking import TYPICAL, YES_NO, Choice, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.said import joined, said, term

CRITERIA: Final = {"134 B": "steam-134-b", "121 B": "steam-121-b", "134 N": "steam-134-n", "121 N": "steam-121-n"}
KINDS: Final = (
    ("washer", said("washer"), said("How many washers (washer-disinfectors) are there?"), 1),
    ("ultrasonic bath", said("ultrasonic bath"), said("How many ultrasonic baths are there?"), 0),
    ("sterilizer", said("sterilizer"), said("How many sterilizers are there?"), 1),
)
TESTS: Final = {"washer": ("daily look", "protein"), "sterilizer": ("daily steam", "leak")}
EVERY: Final = {"day": said("each day"), "week": said("each week")}


def ask_instruments(walk: Walk, draft: Draft) -> None:
    """Ask for machines and sets."""
    walk.part = said("Machines")
    lines = [Choice(kind, name, str(count)) for kind, name, _, count in KINDS]
    other = walk.otherwise("machines.usual", said("Are these your machines?"), lines)
    counts = {kind: _count(walk, kind, how_many, usual) if kind in other else usual for kind, _, how_many, usual in KINDS}
    for kind, name, _, _ in KINDS:
        for n in range(1, counts[kind] + 1):
            walk.part = said("{name} {n}", name=name, n=n)
            draft.machines.append(_machine(walk, draft, kind, f"{kind.replace('ultrasonic ', '')} {n}"))
    _around(walk, draft)
    _sets(walk, draft)


def _count(walk: Walk, kind: str, how_many: str, usual: int) -> int:
    return walk.ask(
        f"{kind}.count",
        how_many,
        said("Sets are planned through a washer and a sterilizer. Ultrasonic baths come before the washer."),
        reading.count(0 if kind == "ultrasonic bath" else 1, 12),
        offered=str(usual),
    )


def _machine(walk: Walk, draft: Draft, kind: str, name: str) -> dict[str, Any]:
    """Ask for a machine and the cycle that it runs most; what is usual stands on the sheet after them."""
    places = walk.ask(
        f"{name}.places",
        said("{name}: how many tray places has one load?", name=name),
        said("Count the trays or cassettes that go in at once, by its instructions."),
        reading.count(1, 200),
    )
    first = _cycle(walk, kind, name, 1, said("the cycle that you run most"))
    machine: dict[str, Any] = {"id": name, "kind": kind, "room": draft.rooms[-1]["id"], "capacity_places": places, "cycles": [first]}
    return machine | {"day_cycle": first["id"]}


def _around(walk: Walk, draft: Draft) -> None:
    """Show what most machines have around their cycles, and ask for what is otherwise."""
    walk.part = said("Around the machines")
    lines = [
        Choice(
            "around", said("to load, unload, pack one set, cool"), said("{value} min (typical, not measured)", value=typical.AROUND_MINUTES)
        )
    ]
    for machine in draft.machines:
        name, kind = machine["id"], machine["kind"]
        if kind == "sterilizer":
            lines.append(Choice(f"{name}.more", said("{name}, another cycle in use", name=name), said("none")))
            warm = said("{value} min (typical, not measured)", value=typical.WARM_UP_MINUTES)
            lines.append(Choice(f"{name}.warm", said("{name}, to warm up", name=name), warm))
        if kind in TESTS:
            tests = joined("; ", (_test_words(test) for test in TESTS[kind]))
            lines.append(Choice(f"{name}.tests", said("{name}, tests by its instructions", name=name), tests))
    other = walk.otherwise("around.usual", said("Is this so at your machines?"), lines)
    for n, machine in enumerate(draft.machines):
        _completed(walk, draft, machine, f"machines.{n}", other)
    _minutes(walk, draft, ask="around" in other)


def _completed(walk: Walk, draft: Draft, machine: dict[str, Any], at: str, other: frozenset[str]) -> None:
    name, kind = machine["id"], machine["kind"]
    if kind == "sterilizer":
        if f"{name}.more" in other:
            machine["cycles"] += _more_cycles(walk, name)
        warm = _warm_up(walk, name) if f"{name}.warm" in other else None
        machine["warm_up_minutes"] = int(typical.WARM_UP_MINUTES) if warm is None else warm
        if warm is None:
            draft.comments[f"{at}.warm_up_minutes"] = "typical, not measured"
    if kind in TESTS:
        tests = _tests(walk, name, TESTS[kind]) if f"{name}.tests" in other else TESTS[kind]
        fields = ("id", "name", "every", "attended_minutes", "unattended_minutes")
        machine["tests"] = [dict(zip(fields, (test, *typical.TESTS[test]), strict=True)) for test in tests]
        if tests:
            draft.comments[f"{at}.tests"] = "minutes: typical, not measured"


def _more_cycles(walk: Walk, name: str) -> list[dict[str, Any]]:
    cycles = [_cycle(walk, "sterilizer", name, 2, said("cycle {n}", n=2))]
    while len(cycles) < 5:
        n = len(cycles) + 2
        if not walk.ask(
            f"{name}.more {n}",
            said("{name}: do you use another cycle?", name=name),
            said("Such as a shorter one for unwrapped instruments. The plan uses the first."),
            reading.yes,
            offered="no",
            choices=YES_NO,
        ):
            break
        cycles.append(_cycle(walk, "sterilizer", name, n, said("cycle {n}", n=n)))
    return cycles


def _warm_up(walk: Walk, name: str) -> int | None:
    return walk.ask(
        f"{name}.warm",
        said("{name}: minutes to warm up after switching on", name=name),
        said("Take the time on a cold morning once."),
        lambda typed: None if typed == TYPICAL else reading.count(0, 240)(typed),
        offered=TYPICAL,
        offered_words=said("typical: {value} min, not measured", value=typical.WARM_UP_MINUTES),
    )


def _tests(walk: Walk, name: str, of_kind: tuple[str, ...]) -> tuple[str, ...]:
    return walk.ask(
        f"{name}.tests",
        said("{name}: which tests do its instructions ask for?", name=name),
        said("The day's plan gives them their place. Their minutes are typical ones; time them and correct the file."),
        reading.listed,
        offered=", ".join(of_kind),
        choices=(*(Choice(test, _test_words(test)) for test in of_kind), Choice("none", said("none of these"))),
        many=True,
    )


def _test_words(test: str) -> str:
    name, every = typical.TESTS[test][:2]
    return said("{test}, {every}", test=term(name), every=EVERY[every])


def _cycle(walk: Walk, kind: str, name: str, n: int, which: str) -> dict[str, Any]:
    minutes = walk.ask(
        f"{name}.minutes {n}",
        said("{name}, {which}: minutes from start to door open", name=name, which=which),
        said("Drying included. It stands on the display or on the print of the last cycle."),
        reading.count(1, 300),
    )
    if kind != "sterilizer":
        return {"id": "clean", "minutes": minutes, "type": "wash" if kind == "washer" else "bath"}
    type_ = walk.ask(
        f"{name}.type {n}",
        said("{name}, {which}: its type", name=name, which=which),
        said("It stands on the sterilizer or in its instructions, as in EN 13060. Type N is for solid, unwrapped instruments only."),
        str,
        choices=(
            Choice("B", said("B: wrapped or not, also hollow")),
            Choice("S", said("S: what its maker says")),
            Choice("N", said("N: solid, unwrapped")),
        ),
    )
    degrees = walk.ask(
        f"{name}.degrees {n}",
        said("{name}, {which}: its temperature in °C", name=name, which=which),
        said("The temperature that it holds: 134 or 121, mostly."),
        reading.count(105, 140),
    )
    cycle = {"id": f"{degrees} {type_} {n}" if n > 1 else f"{degrees} {type_}", "minutes": minutes, "type": type_}
    criteria = CRITERIA.get(f"{degrees} {type_}")
    return cycle | ({"criteria": criteria} if criteria else {})


def _minutes(walk: Walk, draft: Draft, *, ask: bool) -> None:
    found = None
    if ask:
        found = walk.ask(
            "around.minutes",
            said("Minutes to load a machine, to unload it, to pack one set, and until a sterilized load may be touched"),
            said("Four numbers with commas between, timed by you; whole minutes."),
            lambda typed: None if typed == TYPICAL else _four(typed),
            offered=TYPICAL,
            offered_words=said("typical: {value}, not measured", value=typical.AROUND_MINUTES),
        )
    if found is None:
        draft.comments["reprocessing"] = "typical, not measured: time them once"
    numbers = _four(typical.AROUND_MINUTES) if found is None else found
    draft.reprocessing = dict(zip(("load_minutes", "unload_minutes", "pack_minutes", "cool_minutes"), numbers, strict=True))


def _four(typed: str) -> tuple[int, ...]:
    words = [word for word in typed.replace(",", " ").split() if word]
    if len(words) != 4:
        raise reading.refuse(said("{n} numbers were found", n=len(words)), said("Write four: load, unload, pack, cool. 3, 3, 3, 15"))
    return (*(reading.count(1, 60)(word) for word in words[:3]), reading.count(0, 240)(words[3]))


def _sets(walk: Walk, draft: Draft) -> None:
    walk.part = said("Sets and handpieces")
    owned = walk.ask(
        "sets.owned",
        said("Which instrument sets do you own, and how many of each?"),
        said("Name and number, with commas between. All of a type count, wherever they lie now."),
        reading.counted,
        example="examination 14, scaling 6, filling 7, surgical 2",
    )
    handpieces = walk.ask(
        "sets.handpieces",
        said("Which handpieces are sterilized between visits, and how many of each?"),
        said("Name and number: turbine 6, motor 5. Leave it empty where they are not counted yet."),
        lambda typed: reading.counted(typed) if typed else (),
        enter_words=said("not counted yet"),
        example="turbine handpiece 6, motor handpiece 5",
    )
    for kind, several in (("set", owned), ("handpiece", handpieces)):
        for name, count in several:
            known = [s["id"] for s in draft.sets]
            draft.sets.append({"id": reading.id_of(name, known, "set"), "name": name[:1].upper() + name[1:], "kind": kind, "owned": count})
    large = walk.ask(
        "sets.large",
        said("Do some take more than one tray place? Which, and how many places?"),
        said("Name and number of places: surgical 2."),
        lambda typed: _large(typed, draft) if typed else {},
        enter_words=said("no, each takes one"),
    )
    for one in draft.sets:
        if one["id"] in large:
            one["places"] = large[one["id"]]


def _large(typed: str, draft: Draft) -> dict[str, int]:
    most = min(m["capacity_places"] for m in draft.machines if m["kind"] != "ultrasonic bath")
    found: dict[str, int] = {}
    for name, places in reading.counted(typed):
        one = next((s["id"] for s in draft.sets if name.casefold() in (s["id"], s["name"].casefold())), None)
        if one is None:
            raise reading.refuse(
                said('no set is called "{name}"', name=name[:40]),
                said("Write one of: {names}.", names=", ".join(s["name"] for s in draft.sets)),
            )
        if not 1 <= places <= min(20, most):
            raise reading.refuse(
                said("{places} places are more than a load has", places=places), said("Give 1 to {most}.", most=min(20, most))
            )
        found[one] = places
    return found
