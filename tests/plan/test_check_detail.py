"""Each rule of version 2, broken one at a time in a plan that held them all: the checker says which."""

from collections.abc import Callable
from typing import Any

import pytest

from fettlebook.plan.check import check_plan
from fettlebook.plan.detail import Cycle, Duty, DutyStep, OwedTest, Transport
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Chair, Instance, Machine, Person, Plan, Reprocess, SetType, Step, Visit
from fettlebook.plan.slack import with_duties

pytestmark = pytest.mark.invented


def _chair(name: str, **more: Any) -> Chair:
    steps = (Step(name="clear", minutes=4, attended=True),)
    return Chair(id=name, opening=steps, turnover=steps, closing=steps, room="front", **more)


def _visit(name: str, chair: str, booked: int, uses: dict[str, int], **more: Any) -> Visit:
    return Visit(id=name, chair=chair, booked=booked, minutes=20, uses=uses, weight=1, **more)


def _load(chairs: int) -> tuple[Visit, ...]:
    first = tuple(_visit(f"a{c}", f"c{c}", 30, {"exam": 1} if c else {"turbine": 1}) for c in range(chairs))
    return first + tuple(_visit(f"b{c}", f"c{c}", 260, {"exam": 1} if c else {"turbine": 1}) for c in range(chairs))


DAY = Instance(
    schema_=2,
    name="all of it",
    day_start=0,
    day_end=400,
    people=(Person(id="ana", from_=0, to=400), Person(id="ben", from_=0, to=400)),
    chairs=(_chair("c0", closed_by=390), _chair("c1", out=((70, 100),))),
    visits=_load(2),
    set_types=(
        SetType(id="exam", owned=1, rides=("wash", "long")),
        SetType(id="turbine", owned=1, bath=True, dry_minutes=6, lubricate_minutes=3),
    ),
    washers=(
        Machine(
            id="w",
            capacity=4,
            minutes=20,
            not_before=10,
            cycles=(Cycle(id="usual", kind="wash", minutes=20),),
            tests=(OwedTest(name="look", attended_minutes=3), OwedTest(name="run", attended_minutes=0, alone_minutes=5)),
            room="back",
        ),
    ),
    sterilizers=(
        Machine(
            id="s",
            capacity=4,
            minutes=15,
            not_before=20,
            cycles=(Cycle(id="open", kind="short", minutes=15), Cycle(id="wrapped", kind="long", minutes=30)),
            room="back",
        ),
    ),
    baths=(Machine(id="u", capacity=2, minutes=8, not_before=0, room="back"),),
    reprocess=Reprocess(load_minutes=2, unload_minutes=2, pack_minutes=3, cool_minutes=5),
    apart=(("exam", "turbine"),),
    store="back",
    transport=(Transport(from_="front", to="back", minutes=4),),
    duties=(
        Duty(
            id="suction",
            name="suction care",
            steps=(
                DutyStep(name="suck up", minutes=4, attended=True),
                DutyStep(name="contact", minutes=15, attended=False),
                DutyStep(name="rinse", minutes=3, attended=True),
            ),
            earliest=100,
            latest=250,
            subject="c0",
            who=("ana",),
            after="a0",
        ),
    ),
)
PLAN = with_duties(DAY, dispatch(DAY))


def _visit_moved(plan: Plan) -> Plan:
    return plan.model_copy(update={"visits": (plan.visits[0].model_copy(update={"chair": "c1"}), *plan.visits[1:])})


def _batch(machine: str, **change: Any) -> Callable[[Plan], Plan]:
    def changed(plan: Plan) -> Plan:
        return plan.model_copy(update={"batches": tuple(b.model_copy(update=change) if b.machine == machine else b for b in plan.batches)})

    return changed


def _shifted(part: str, by: int, **where: Any) -> Callable[[Plan], Plan]:
    """Shift in time what is called so."""

    def changed(plan: Plan) -> Plan:
        out = []
        for x in getattr(plan, part):
            if all(getattr(x, k) == v for k, v in where.items()):
                moved = {k: getattr(x, k) + by for k in ("start", "load_start", "unload_start") if hasattr(x, k)}
                out.append(x.model_copy(update=moved))
            else:
                out.append(x)
        return plan.model_copy(update={part: tuple(out)})

    return changed


def _together(plan: Plan) -> Plan:
    sterilizer = [b for b in plan.batches if b.machine == "s"]
    units = tuple(u for b in sterilizer for u in b.units)
    one = sterilizer[-1].model_copy(update={"units": units, "cycle": "wrapped"})
    return plan.model_copy(update={"batches": (*(b for b in plan.batches if b.machine != "s"), one)})


def _left(part: str) -> Callable[[Plan], Plan]:
    return lambda plan: plan.model_copy(update={part: ()})


def _duty(**change: Any) -> Callable[[Plan], Plan]:
    return lambda plan: plan.model_copy(update={"duties": (plan.duties[0].model_copy(update=change),)})


def test_the_whole_day_is_planned_and_holds() -> None:
    assert check_plan(DAY, PLAN) == ()
    assert not PLAN.left_out
    assert [d.id for d in PLAN.duties] == ["suction"]
    assert {b.machine for b in PLAN.batches} == {"u", "w", "s"}


@pytest.mark.parametrize(
    ("broken", "says"),
    [
        (_visit_moved, "moved to c1, which it may not"),
        (_batch("s", cycle="open"), "exam may not ride open (short)"),
        (_batch("s", cycle="none such"), "has no cycle"),
        (_batch("u", cycle="usual"), "to choose"),
        (_together, "exam and turbine ride together"),
        (_left("tests"), "before its tests are over"),
        (_shifted("tests", 300, index=1), "before its tests are over"),
        (_shifted("tests", -9, index=0), "before the machine is ready"),
        (_shifted("tests", -3, index=1), "begins before"),
        (_shifted("packs", -1, unit="turbine#1"), "after wash it is ready there at"),
        (_shifted("batches", -1, machine="u"), "after use it is ready there at"),
        (lambda plan: plan.model_copy(update={"batches": tuple(b for b in plan.batches if b.machine != "u")}), "bath must come first"),
        (_duty(person="ben"), "who may not"),
        (_duty(start=99), "is outside 100 to 250"),
        (_duty(start=245), "is outside 100 to 250"),
        (_shifted("visits", 80, id="a0"), "while visit a0 lasts"),
        (lambda plan: plan.model_copy(update={"duties": plan.duties * 2}), "stands twice"),
    ],
)
def test_each_rule_is_broken_in_words(broken: Callable[[Plan], Plan], says: str) -> None:
    assert any(says in str(f) for f in check_plan(DAY, broken(PLAN))), [str(f) for f in check_plan(DAY, broken(PLAN))]


def test_a_plan_made_for_less_breaks_what_was_added() -> None:
    def held(**update: Any) -> list[str]:
        return [f.what for f in check_plan(DAY.model_copy(update=update), PLAN)]

    first = next(v for v in PLAN.visits if v.id == "a0")
    closed = tuple(c.model_copy(update={"closed_by": 260, "out": ((first.start + 5, first.start + 6),)}) for c in DAY.chairs)
    assert any("must be by 260" in what for what in held(chairs=closed))
    assert any("while the chair is out of service" in what for what in held(chairs=closed))
    slower = tuple(t.model_copy(update={"minutes": 9}) for t in DAY.transport)
    assert any("it is ready there" in what for what in held(transport=slower))
    wet = tuple(t.model_copy(update={"dry_minutes": 30, "lubricate_minutes": 60}) for t in DAY.set_types)
    assert any("after wash it is ready there" in what for what in held(set_types=wet))
    busy = tuple(d.model_copy(update={"subject": "w", "earliest": 0, "latest": 400}) for d in DAY.duties)
    wash = next(b for b in PLAN.batches if b.machine == "w")
    early = PLAN.model_copy(update={"duties": (PLAN.duties[0].model_copy(update={"start": wash.start}),)})
    assert any("overlap" in f.what for f in check_plan(DAY.model_copy(update={"duties": busy}), early))


def test_a_set_is_oiled_packed_dried_and_carried_by_the_minute() -> None:
    """The way of the turbine by hand: cleared + 4 on the way, bath 2 + 8 + 2, washer 2 + 20 + 2, 6 dry, 3 + 3 packing,
    sterilizer 2 + 15 + 2, 5 cool, 4 on the way; the list scheduler has nobody to wait for."""
    day = DAY.model_copy(update={"visits": tuple(v for v in DAY.visits if v.chair == "c0"), "duties": ()})
    visits = tuple(v.model_copy(update={"booked": 60}) if v.id == "b0" else v for v in day.visits)
    plan = dispatch(day.model_copy(update={"visits": visits}))
    start = {v.id: v.start for v in plan.visits}
    cleared = 30 + 20 + 4
    assert start["b0"] == cleared + 4 + (2 + 8 + 2) + (2 + 20 + 2) + 6 + (3 + 3) + (2 + 15 + 2) + 5 + 4
