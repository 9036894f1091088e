"""Random small days of version 2 for the properties: each detail is there or not, drawn by hypothesis."""

from hypothesis import strategies as st

from fettlebook.plan.detail import Cycle, Duty, DutyStep, OwedTest, Transport
from fettlebook.plan.instance import Chair, Instance, Machine, Person, Reprocess, SetType, Step, Visit

DETAILS = ("bath", "cycles", "apart", "tests", "dry", "oil", "ways", "out", "closed_by", "move", "duties", "skills", "places")


@st.composite
def detailed_days(draw: st.DrawFn, details: tuple[str, ...] | None = None, most_visits: int = 3) -> Instance:
    """Return a small day; `details` fixes which of `DETAILS` it has, left out they are drawn."""
    has = set(details if details is not None else draw(st.lists(st.sampled_from(DETAILS), unique=True)))
    minutes = st.integers(1, 8)

    def step(name: str, attended: bool) -> Step:
        return Step(name=name, minutes=draw(minutes), attended=attended)

    chairs, visits = [], []
    rooms = ("front", "back")
    for c in range(draw(st.integers(1, 2))):
        out = ((at := draw(st.integers(0, 90)), at + draw(st.integers(1, 30))),) if "out" in has and draw(st.booleans()) else ()
        chairs.append(
            Chair(
                id=f"c{c}",
                opening=(step("open", True), *([step("flush", False)] if draw(st.booleans()) else [])),
                turnover=(step("clear", draw(st.booleans())), step("lay out", True)),
                closing=(step("clear", True), *([step("contact", False), step("rinse", True)] if draw(st.booleans()) else [])),
                room=rooms[c] if "ways" in has else None,
                out=out,
                closed_by=draw(st.integers(90, 200)) if "closed_by" in has else None,
            )
        )
        at = 10
        for v in range(draw(st.integers(1, most_visits if c == 0 else 1))):
            at += draw(st.integers(0, 25))
            length = draw(st.integers(3, 20))
            uses = {"exam": draw(st.integers(0, 1)), "filling": draw(st.integers(0, 1))}
            visits.append(Visit(id=f"v{c}{v}", chair=f"c{c}", booked=at, minutes=length, uses=uses, weight=draw(st.integers(1, 3))))
            at += length
    if "move" in has and len(chairs) > 1:
        ids = [c.id for c in chairs]
        visits = [v.model_copy(update={"may_move": tuple(c for c in ids if c != v.chair)}) if draw(st.booleans()) else v for v in visits]
    people = []
    for p in range(draw(st.integers(1, 2))):
        start = draw(st.integers(0, 15))
        breaks = ((40, 40 + draw(st.integers(1, 30))),) if draw(st.booleans()) else ()
        does = ("instruments",) if "skills" in has and p == 1 else ("chairs", "instruments")
        people.append(Person(id=f"p{p}", from_=start, to=draw(st.sampled_from([110, 160, 200])), breaks=breaks, does=does))
    types = []
    for name in ("exam", "filling"):
        types.append(
            SetType(
                id=name,
                owned=draw(st.integers(1, 2)),
                places=draw(st.integers(1, 2)) if "places" in has else 1,
                bath="bath" in has and draw(st.booleans()),
                dry_minutes=draw(st.integers(0, 6)) if "dry" in has else 0,
                lubricate_minutes=draw(st.integers(0, 3)) if "oil" in has else 0,
                rides=draw(st.sampled_from([(), ("long", "wash"), ("long", "short", "wash")])) if "cycles" in has else (),
            )
        )
    return Instance(
        schema_=2,
        name="detailed",
        day_start=0,
        day_end=200,
        people=tuple(people),
        chairs=tuple(chairs),
        visits=tuple(visits),
        set_types=tuple(types),
        washers=(_machine(draw, "w", has, ("wash",)),),
        sterilizers=tuple(_machine(draw, f"s{k}", has, ("short", "long")) for k in range(draw(st.integers(1, 2)))),
        baths=(_machine(draw, "b", has, ()),) if "bath" in has else (),
        reprocess=Reprocess(
            load_minutes=draw(st.integers(1, 2)),
            unload_minutes=1,
            pack_minutes=draw(st.integers(1, 3)),
            cool_minutes=draw(st.integers(0, 5)),
        ),
        apart=(draw(st.sampled_from([("exam", "filling"), ("exam", "exam")])),) if "apart" in has else (),
        store="store" if "ways" in has else None,
        transport=tuple(Transport(from_=r, to="store", minutes=draw(st.integers(1, 5))) for r in rooms) if "ways" in has else (),
        duties=tuple(_duty(draw, k, chairs) for k in range(draw(st.integers(1, 3)))) if "duties" in has else (),
    )


def _machine(draw: st.DrawFn, name: str, has: set[str], kinds: tuple[str, ...]) -> Machine:
    cycles: tuple[Cycle, ...] = ()
    if "cycles" in has and kinds:
        cycles = tuple(Cycle(id=f"{name} {kind}", kind=kind, minutes=draw(st.integers(5, 20))) for kind in kinds)
    tests: tuple[OwedTest, ...] = ()
    if "tests" in has and draw(st.booleans()):
        tests = (
            OwedTest(name="look", attended_minutes=draw(st.integers(1, 3)), alone_minutes=draw(st.integers(0, 8))),
            OwedTest(name="alone", attended_minutes=0, alone_minutes=draw(st.integers(1, 8))),
        )
    return Machine(
        id=name,
        capacity=draw(st.integers(2, 3)),
        minutes=min((c.minutes for c in cycles), default=draw(st.integers(5, 15))),
        not_before=draw(st.integers(0, 30)),
        cycles=cycles,
        tests=tests,
        room="store" if "ways" in has else None,
    )


def _duty(draw: st.DrawFn, k: int, chairs: list[Chair]) -> Duty:
    steps = [DutyStep(name="hands", minutes=draw(st.integers(1, 6)), attended=True)]
    if draw(st.booleans()):
        steps += [DutyStep(name="contact", minutes=draw(st.integers(1, 10)), attended=False)]
        steps += [DutyStep(name="rinse", minutes=draw(st.integers(1, 4)), attended=True)] if draw(st.booleans()) else []
    if draw(st.booleans()):
        steps = steps[1:2] or steps
    earliest = draw(st.integers(0, 150))
    return Duty(
        id=f"d{k}",
        name="owed",
        steps=tuple(steps),
        earliest=earliest,
        latest=earliest + draw(st.integers(5, 100)),
        subject=draw(st.sampled_from([None, "w", "s0", *(c.id for c in chairs)])),
        who=draw(st.sampled_from([(), ("p0",)])),
        after=draw(st.sampled_from([None, "v00"])),
    )
