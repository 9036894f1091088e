"""From practice, running times and book to a day instance: minutes, people, machines, and what is refused in words."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.book.kinds import to_ms
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable
from fettlebook.plan.blocks import STAND_IN_S, StepPart, blocks_of
from fettlebook.plan.check import check_plan
from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.hands import crew_of
from fettlebook.plan.instance import instance_findings
from fettlebook.plan.owed import Owing
from fettlebook.plan.slack import not_placed
from fettlebook.plan.solve import solve
from fettlebook.plan.tasks import day_instance
from fettlebook.plan.whole_day import plan_day
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.practice.visit import Visit
from fettlebook.rules.load import load_rulebook
from fettlebook.rules.model import When
from fettlebook.standing.due import due_duties
from fettlebook.standing.standings import fold
from fettlebook.times.model import RunningTime
from fettlebook.times.running import running_times

LONDON = ZoneInfo("Europe/London")
WEDNESDAY = date(2026, 11, 25)
ANA = 'shifts = [{ days = ["mon", "tue", "wed", "thu", "fri"], from = 07:30:00, to = 16:30:00, breaks = [[12:30:00, 13:00:00]] }]'


def practice_with(*changes: tuple[str, str]) -> Practice:
    text = practice_text().decode()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    practice = read_practice(text.encode(), "practice.toml").practice
    assert practice is not None
    return practice


def a_time(when: When, step: str, seconds: int | None, *, attended: bool = True, chair: str = "chair 1") -> RunningTime:
    missing = "" if seconds is not None else "no label strength"
    return RunningTime(chair, f"duty {when}", when, step, step, attended, seconds, "rule" if seconds else None, (), missing=missing)


def times_of(chair: str = "chair 1") -> tuple[RunningTime, ...]:
    return (
        a_time(When.BEFORE_FIRST_VISIT, "open", 120, chair=chair),
        a_time(When.BETWEEN_VISITS, "clear", 120, chair=chair),
        a_time(When.BETWEEN_VISITS, "wet", 120, attended=False, chair=chair),
        a_time(When.BETWEEN_VISITS, "lay out", 60, chair=chair),
        a_time(When.END_OF_DAY, "close", 300, chair=chair),
    )


def visit(ref: str, at: str, minutes: int, *, chair: str = "chair 1", kind: str = "exam", day: date = WEDNESDAY) -> Visit:
    start = datetime.combine(day, time.fromisoformat(at), LONDON)
    return Visit(ref, chair, kind, start, (start.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(LONDON))


# --- seconds to minutes ------------------------------------------------------------------------------------------


@pytest.mark.invented
def test_three_short_steps_cost_one_minute_and_not_three() -> None:
    parts = [StepPart(f"s{i}", "", 20, attended=True) for i in range(3)]
    assert [(s.minutes, s.attended) for s, _ in blocks_of(parts)] == [(1, True)]


@pytest.mark.invented
def test_what_runs_alone_uses_the_rest_of_the_last_minute_of_the_hands_before_it() -> None:
    parts = [StepPart("clear", "", 138, attended=True), StepPart("flush", "", 30, attended=False), StepPart("wipe", "", 210, attended=True)]
    parts.append(StepPart("wet", "", 120, attended=False))
    blocks = list(blocks_of(parts))
    # 138 + 30 s end within the third minute; 210 s are 4 minutes, and 210 + 120 s end with the sixth
    assert [(s.minutes, s.attended) for s, _ in blocks] == [(3, True), (4, True), (2, False)]
    assert blocks[2][1].begins == -30


@pytest.mark.invented
@given(st.lists(st.tuples(st.integers(1, 900), st.booleans()), min_size=1, max_size=12))
def test_no_block_is_shorter_than_its_steps_in_the_order_they_run(drawn: list[tuple[int, bool]]) -> None:
    parts = [StepPart(str(i), "", seconds, attended=attended) for i, (seconds, attended) in enumerate(drawn)]
    at, ends, seen = 0, 0, []
    for step, block in blocks_of(parts):
        begin = at * 60 + block.begins
        assert begin >= ends  # never before the steps before it are done
        hands = sum(p.seconds for p in block.parts if p.attended)
        assert step.attended == bool(hands)
        assert hands <= step.minutes * 60
        ends = begin + sum(p.seconds for p in block.parts)
        at += step.minutes
        assert ends <= at * 60
        seen += block.parts
    assert seen == parts
    assert at * 60 - ends < 60 * len(drawn)


# --- the clock ---------------------------------------------------------------------------------------------------


@pytest.mark.published(source="London in 2026: clocks go on at 01:00 UTC on 29 March and back at 01:00 UTC on 25 October", sure="memory")
@pytest.mark.parametrize(
    ("day", "nine", "midnight"), [(date(2026, 3, 29), 480, 1380), (date(2026, 10, 25), 600, 1500), (WEDNESDAY, 540, 1440)]
)
def test_nine_in_the_morning_is_an_hour_nearer_or_farther_on_the_days_of_the_clock_change(day: date, nine: int, midnight: int) -> None:
    clock = DayClock(day, LONDON)
    assert clock.wall(time(9)) == nine
    assert clock.wall(time(0), days_on=1) == midnight
    assert clock.shown(nine) == "09:00"
    assert clock.minute_up(clock.moment(nine)) == nine


@pytest.mark.invented
@given(st.integers(0, 2879), st.sampled_from([date(2026, 3, 29), date(2026, 10, 25), WEDNESDAY]))
def test_every_minute_comes_back_from_the_wall_clock(minute: int, day: date) -> None:
    clock = DayClock(day, LONDON)
    assert clock.minute_up(clock.moment(minute)) == minute


@pytest.mark.invented
def test_a_start_with_seconds_is_never_planned_early() -> None:
    clock = DayClock(WEDNESDAY, LONDON)
    assert clock.minute_up(datetime(2026, 11, 25, 9, 0, 1, tzinfo=LONDON)) == 541


# --- people and machines -----------------------------------------------------------------------------------------


@pytest.mark.invented
def test_people_of_the_weekday_come_with_shift_breaks_and_skills() -> None:
    crew = {p.id: p for p in crew_of(practice_with(), DayClock(WEDNESDAY, LONDON)).people}
    assert set(crew) == {"ana", "ben", "chloe", "dev"}
    assert (crew["dev"].from_, crew["dev"].to, crew["dev"].does) == (600, 900, ("instruments",))
    assert (crew["ben"].from_, crew["ben"].to) == (480, 1095)
    assert (810, 840) not in crew["ben"].breaks
    assert (780, 810) in crew["ben"].breaks
    friday = {p.id for p in crew_of(practice_with(), DayClock(date(2026, 11, 27), LONDON)).people}
    assert friday == {"ana", "ben", "dev"}


@pytest.mark.invented
def test_a_shift_over_midnight_reaches_into_the_next_day_and_from_the_day_before() -> None:
    night = 'shifts = [{ days = ["tue", "wed"], from = 20:00:00, to = 02:00:00, over_midnight = true, breaks = [[00:30:00, 01:00:00]] }]'
    chairs_only = ('skills = ["chairs", "instruments", "release", "lead"]', 'skills = ["chairs"]')  # so that Ben looks after the machines
    practice = practice_with((ANA, night), chairs_only)
    ana = next(p for p in crew_of(practice, DayClock(WEDNESDAY, LONDON)).people if p.id == "ana")
    assert ana.windows() == ((0, 30), (60, 120), (1200, 1470), (1500, 1560))
    tuesday = next(p for p in crew_of(practice, DayClock(date(2026, 11, 24), LONDON)).people if p.id == "ana")
    assert tuesday.windows() == ((1200, 1470), (1500, 1560))


@pytest.mark.invented
def test_a_machine_is_warm_once_somebody_is_in_and_owes_its_daily_tests_before_its_first_load() -> None:
    crew = crew_of(practice_with(), DayClock(WEDNESDAY, LONDON))
    machines = {m.id: m for m in (*crew.washers, *crew.sterilizers)}
    # Ana comes at 07:30; the sterilizers warm up for 12 min
    assert {m.id: m.not_before for m in machines.values()} == {"washer 1": 450, "sterilizer 1": 462, "sterilizer 2": 462}
    assert [(t.attended_minutes, t.alone_minutes) for t in machines["washer 1"].tests] == [(4, 0)]  # the weekly one is no test of each day
    assert [(t.attended_minutes, t.alone_minutes) for t in machines["sterilizer 1"].tests] == [(3, 22)]
    day, _ = day_instance(practice_with(), times_of(), (visit("v1", "09:00", 45),), WEDNESDAY)
    assert day.schema_ == 2
    plan = solve(day, limit_s=0).plan
    assert {(t.machine, t.index) for t in plan.tests} == {("washer 1", 0), ("sterilizer 1", 0), ("sterilizer 2", 0)}


@pytest.mark.invented
def test_a_machine_out_of_service_and_the_ultrasonic_bath_run_no_load() -> None:
    practice = practice_with(('id = "sterilizer 2"\n', 'id = "sterilizer 2"\nout_of_service = true\n'))
    crew = crew_of(practice, DayClock(WEDNESDAY, LONDON))
    assert [m.id for m in (*crew.washers, *crew.sterilizers)] == ["washer 1", "sterilizer 1"]


@pytest.mark.invented
def test_on_a_holiday_nobody_is_in_and_it_is_said() -> None:
    christmas = date(2026, 12, 25)
    day, maps = day_instance(practice_with(), times_of(), (visit("v", "09:00", 20, day=christmas),), christmas)
    assert day.people == ()
    assert any("closed (Christmas Day)" in f.what for f in maps.findings)


# --- visits ------------------------------------------------------------------------------------------------------


@pytest.mark.invented
def test_a_visit_takes_the_sets_and_the_weight_of_its_kind() -> None:
    day, maps = day_instance(practice_with(), times_of(), (visit("v1", "09:00", 45, kind="root canal"),), WEDNESDAY)
    (v,) = day.visits
    assert (v.booked, v.minutes, v.needs(), v.weight) == (540, 45, {"exam": 1, "root canal": 1}, 2)
    assert maps.refused == {}
    assert {t.id: (t.owned, t.places) for t in day.set_types}["surgical"] == (2, 2)


@pytest.mark.invented
@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25)])
def test_a_visit_across_the_clock_change_keeps_its_true_length(day: date) -> None:
    instance, _ = day_instance(practice_with(), times_of(), (visit("v1", "00:30", 90, day=day),), day)
    assert instance.visits[0].minutes == 90


@pytest.mark.invented
def test_what_can_t_be_planned_is_refused_with_its_reason_and_the_rest_stays() -> None:
    practice = practice_with(('id = "chair 2"\nroom', 'id = "chair 2"\nout_of_service = true\nroom'))
    good = visit("good", "09:00", 20)
    bad = (
        visit("out", "09:00", 20, chair="chair 2"),
        visit("where", "10:00", 20, chair="chair 9"),
        visit("what", "10:00", 20, kind="whitening"),
        visit("none", "11:00", 0),
        good,
    )
    day, maps = day_instance(practice, times_of(), (good, *bad), WEDNESDAY)
    assert [v.id for v in day.visits] == ["good"]
    assert "out of service" in maps.refused["out"]
    assert "no chair 'chair 9'" in maps.refused["where"]
    assert "no visit kind 'whitening'" in maps.refused["what"]
    assert "ends before it begins" in maps.refused["none"]
    assert "twice" in maps.refused["good"]
    assert len([f for f in maps.findings if f.weight == "error"]) == 5


@pytest.mark.invented
def test_two_visits_at_once_on_a_chair_are_said_and_both_planned() -> None:
    day, maps = day_instance(practice_with(), times_of(), (visit("a", "09:00", 40), visit("b", "09:20", 20)), WEDNESDAY)
    assert len(day.visits) == 2
    assert any("booked over the visit at 09:00" in f.what for f in maps.findings)


@pytest.mark.invented
def test_a_step_of_unknown_length_holds_time_and_is_never_nothing() -> None:
    unknown = (*times_of(), a_time(When.END_OF_DAY, "contact", None, attended=False))
    day, maps = day_instance(practice_with(), unknown, (visit("v", "09:00", 20),), WEDNESDAY)
    assert day.chairs[0].closing[-1].minutes == STAND_IN_S // 60
    assert maps.unknown_steps == 1
    (finding,) = [f for f in maps.findings if f.weight == "error"]
    assert "no label strength" in finding.what
    assert finding.where == "chair 1, contact"


@pytest.mark.invented
def test_a_step_unknown_on_one_chair_holds_as_long_as_on_another() -> None:
    other = (*times_of("chair 2"), a_time(When.END_OF_DAY, "contact", 1500, attended=False, chair="chair 2"))
    own = (*times_of(), a_time(When.END_OF_DAY, "contact", None, attended=False))
    day, _ = day_instance(practice_with(), own + other, (visit("v", "09:00", 20),), WEDNESDAY)
    assert day.chairs[0].closing[-1].minutes == 25


@pytest.mark.invented
def test_without_a_rule_between_visits_no_day_is_planned() -> None:
    some = tuple(t for t in times_of() if t.when is not When.BETWEEN_VISITS)
    with pytest.raises(Mendable, match="ask nothing of chair 1 between visits"):
        day_instance(practice_with(), some, (visit("v", "09:00", 20),), WEDNESDAY)


@pytest.mark.invented
def test_what_is_owed_beside_the_plan_is_said() -> None:
    more = (*times_of(), a_time(When.WEEKLY, "filters", 600))
    _, maps = day_instance(practice_with(), more, (visit("v", "09:00", 20),), WEDNESDAY)
    said = next(f.what for f in maps.findings if f.where == "day plan")
    assert "about 10 min a chair" in said
    assert "bath 1" in said


# --- what practice file, rulebook and standing say beyond schema 1 ---------------------------------------------------


@pytest.mark.invented
def test_sets_take_the_way_that_the_practice_file_says() -> None:
    practice = practice_with(
        (
            'id = "filling"\nname = "Filling set"\n',
            'id = "filling"\nname = "Filling set"\nbath = true\ndry_minutes = 8\nlubricate_minutes = 2\n',
        ),
        ('id = "exam"\nname = "Examination set"\n', 'id = "exam"\nname = "Examination set"\ncycle_types = ["N"]\n'),
        (
            "cool_minutes = 12",
            'cool_minutes = 12\napart = [["exam", "surgical"]]\nstore = "clean"\nways = [{ from = "room 1", to = "clean", minutes = 2 }]',
        ),
    )
    day, maps = day_instance(practice, times_of(), (visit("v1", "09:00", 45),), WEDNESDAY)
    types = {t.id: t for t in day.set_types}
    assert (types["filling"].bath, types["filling"].dry_minutes, types["filling"].lubricate_minutes) == (True, 8, 2)
    assert [m.id for m in day.baths] == ["bath 1"]
    assert day.apart == (("exam", "surgical"),)
    assert (day.store, day.ways()["clean", "room 1"], day.chairs[0].room) == ("clean", 2, "room 1")
    first, second = day.sterilizers
    # Only what names its types may leave the day's cycle; all others ride that of the day, whatever its type
    assert first.cycle_for([types["exam"].rides]) == ("unwrapped 134", 22)
    assert first.cycle_for([types["filling"].rides]) == ("wrapped 134", 42)
    assert first.cycle_for([types["exam"].rides, types["filling"].rides]) is None
    assert second.cycle_for([types["exam"].rides]) is None
    assert not any("bath 1" in f.what for f in maps.findings)
    assert not [f for f in instance_findings(day) if f.weight == "error"]


@pytest.mark.invented
def test_a_chair_out_for_hours_closed_by_a_time_and_a_visit_that_may_move() -> None:
    practice = practice_with(
        (
            'room = "room 1"\n',
            'room = "room 1"\nkind = "treatment"\nclosed_by = 18:00:00\nout = [{ on = 2026-11-25, from = 09:00:00, to = 11:00:00 }]\n',
        ),
        ('room = "room 2"\n', 'room = "room 2"\nkind = "treatment"\n'),
        ('id = "exam"\nname = "Examination"\n', 'id = "exam"\nname = "Examination"\nmay_move = true\n'),
    )
    times = (*times_of(), *times_of("chair 2"))
    day, _ = day_instance(practice, times, (visit("v1", "09:00", 45),), WEDNESDAY)
    chair = next(c for c in day.chairs if c.id == "chair 1")
    assert (chair.out, chair.closed_by) == (((540, 660),), 1080)
    assert day.visits[0].may_move == ("chair 2",)
    plan = solve(day, limit_s=0).plan
    assert [(v.chair, v.start) for v in plan.visits] == [("chair 2", 540)]
    other, _ = day_instance(practice, times, (visit("v1", "09:00", 45, day=date(2026, 11, 26)),), date(2026, 11, 26))
    assert next(c for c in other.chairs if c.id == "chair 1").out == ()


@pytest.mark.invented
def test_suction_is_owed_after_the_last_visit_of_each_session() -> None:
    more = (*times_of(), a_time(When.END_OF_SESSION, "suck up", 180), a_time(When.END_OF_SESSION, "acts", 900, attended=False))
    halves = (
        'days = ["mon", "tue", "wed", "thu", "fri"]\nfrom = 08:30:00\nto = 17:30:00',
        'days = ["mon", "tue", "wed", "thu", "fri"]\nfrom = 08:30:00\nto = 12:00:00\n\n'
        '[[opening]]\ndays = ["mon", "tue", "wed", "thu", "fri"]\nfrom = 14:00:00\nto = 18:00:00',
    )
    visits = (visit("a", "09:00", 45), visit("b", "11:00", 45), visit("c", "14:30", 30))
    day, _ = day_instance(practice_with(halves), more, visits, WEDNESDAY)
    assert [(d.after, d.earliest, d.latest) for d in day.duties] == [("b", 705, 840), ("c", 900, day.day_end)]
    assert [(s.minutes, s.attended) for s in day.duties[0].steps] == [(3, True), (15, False)]
    plan = solve(day, limit_s=0).plan
    assert len(plan.duties) == 2
    assert check_plan(day, plan) == ()


def owing(day: date = WEDNESDAY) -> Owing:
    practice = practice_with()
    rulebook = load_rulebook(practice, on=day)
    standings = fold([], practice, rulebook, running_times(practice, rulebook))
    at = to_ms(datetime.combine(day, time(0), LONDON))
    return Owing(due_duties(standings.as_of(at, at)), rulebook)


@pytest.mark.invented
def test_what_the_standing_says_is_due_has_a_place_in_the_slack_or_is_named() -> None:
    practice = practice_with()
    times = running_times(practice, load_rulebook(practice, on=WEDNESDAY))
    due = owing()
    day, maps = day_instance(practice, times, (visit("v1", "09:00", 45),), WEDNESDAY, due)
    ids = {d.id for d in day.duties}
    # Nothing is in the book: the weekly checks of each sterilizer, the leak test, the samples are all due
    assert {"machine:sterilizer 1 leak", "machine:sterilizer 1 sterilizer.weekly", "chair:chair 2 sample"} <= ids
    assert "chair:chair 1 sample" not in ids  # taken in the opening, with what the chair owes for having stood still
    # What the plan holds anyhow is not asked for twice: tests before the first load, the chair's own day
    assert not any("daily" in i or "er.first" in i or "chair.close" in i or " process" in i for i in ids)
    # A chair that stood still begins with what it owes for it, and not with the flush that this covers
    opening = [p.step_id for (c, name, _), b in maps.blocks.items() if (c, name) == ("chair 1", "opening") for p in b.parts]
    still = due.before_opening("chair 1")
    assert still is not None
    assert [s for s in opening if s in still.steps] == opening[: len(still.steps)]
    assert not set(opening) & set(still.covers)
    assert all(d.who for d in day.duties)
    leak = next(d for d in day.duties if d.id == "machine:sterilizer 1 leak")
    assert [(s.minutes, s.attended) for s in leak.steps] == [(2, True), (15, False)]
    solved = solve(day, limit_s=0)
    assert check_plan(day, solved.plan) == ()
    assert "machine:sterilizer 1 leak" in {d.id for d in solved.plan.duties}
    plan = plan_day(practice, times, (visit("v1", "09:00", 45),), WEDNESDAY, limit_s=0, seed=1, owing=due)
    shown = {t.what for t in plan.tasks if t.kind == "duty"}
    assert {"leak test", "leak test: runs alone"} <= shown
    assert any("air leakage test" in what for what in shown)  # by what is done, not "each week"
    left = not_placed(day, solved.plan)
    assert bool(left) == any("no room for" in f.what for f in plan.findings)


@pytest.mark.invented
def test_where_the_rules_ask_for_a_weekly_spore_test_it_stands_in_the_day() -> None:
    practice = practice_with(('rulebooks = ["general", "uk"]', 'rulebooks = ["general", "us"]'))
    rulebook = load_rulebook(practice, on=WEDNESDAY)
    times = running_times(practice, rulebook)
    at = to_ms(datetime.combine(WEDNESDAY, time(0), LONDON))
    due = Owing(due_duties(fold([], practice, rulebook, times).as_of(at, at)), rulebook)
    day, _ = day_instance(practice, times, (visit("v1", "09:00", 45),), WEDNESDAY, due)
    spore = {d.subject for d in day.duties if "pore test" in d.name or any("pore test" in s.name for s in d.steps)}
    assert {"sterilizer 1", "sterilizer 2"} <= spore
