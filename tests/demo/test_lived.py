"""Years of the invented practice: the same each time, to be gone on with, through the gate, with everything that can happen."""

import random
from collections import Counter
from datetime import date, datetime, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fettlebook.book.gate import gate_of
from fettlebook.book.kinds import HeldFile, digest_of
from fettlebook.book.received import Received, unseal
from fettlebook.book.stores import open_book
from fettlebook.demo import practice_text
from fettlebook.demo.diary import week_diary
from fettlebook.demo.happenings import Years
from fettlebook.demo.life import Habits, Life
from fettlebook.demo.lived import SERVER, closed, earlier, live, live_into, live_on
from fettlebook.demo.water import HIGHEST, LOWEST, Water
from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Machine
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.model import Verdict
from fettlebook.standing.parts import parts_of
from fettlebook.standing.rare_outlets import rare_taps
from fettlebook.standing.standings import fold
from fettlebook.standing.stock import stock_of
from fettlebook.standing.strip_charts import strip_series
from fettlebook.standing.suction import suction_care
from fettlebook.standing.surfaces import cleaning_shares
from fettlebook.standing.temperatures import taps
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented
LONDON = ZoneInfo("Europe/London")
FIRST = date(2026, 9, 14)


def at(day: date, hour: int, minute: int = 0) -> int:
    return round(datetime(day.year, day.month, day.day, hour, minute, tzinfo=LONDON).timestamp() * 1000)


@cache
def weeks(many: int = 6) -> tuple[Received, ...]:
    return tuple(live(practice_text(), FIRST, at(FIRST + timedelta(weeks=many), 12)))


def test_the_same_seed_lives_the_same_life_however_far_it_is_lived() -> None:
    shorter = tuple(live(practice_text(), FIRST, at(FIRST + timedelta(days=9), 15)))
    assert len(shorter) > 1000
    assert [one.leaf for one in weeks()[: len(shorter)]] == [one.leaf for one in shorter]
    other = next(one for one in live(practice_text(), FIRST, at(FIRST, 12), seed=2) if one.entry.device != SERVER)
    assert other.entry.id not in {one.entry.id for one in weeks()}


def test_entries_read_back_from_their_sealed_bytes_and_receipts_rise() -> None:
    some = weeks()[:2000]
    assert [unseal(one.leaf) for one in some] == list(some)
    assert all(one.seq + 1 == two.seq and one.received < two.received for one, two in pairwise(weeks()))


def test_every_entry_passes_the_gate_that_real_entries_pass() -> None:
    gate = gate_of(one for one in weeks() if one.entry.kind == "practice_file.version")
    assert not [one.entry.kind for one in weeks() if gate.refusals(one.entry, now=one.received, offset=one.offset)]


def test_visits_are_those_of_the_invented_week_and_none_falls_on_a_holiday() -> None:
    practice = read_practice(practice_text(), "p").practice
    assert practice is not None
    booked = week_diary(practice)
    days = Counter(datetime.fromtimestamp(one.entry.at / 1000, LONDON).date() for one in weeks() if one.entry.kind == "visit.started")
    whole = date(2026, 9, 22)
    assert days[whole] == sum(len(visits) for visits in booked(whole).values())
    assert closed(date(2026, 12, 26))
    assert closed(date(2027, 8, 10))
    christmas = live(practice_text(), date(2026, 12, 23), at(date(2027, 1, 5), 12), sealed=False)
    worked = {datetime.fromtimestamp(one.entry.at / 1000, LONDON).date() for one in christmas if one.entry.kind == "visit.started"}
    assert worked == {date(2026, 12, 23), date(2027, 1, 4), date(2027, 1, 5)}


def test_the_first_weeks_stand_on_the_practice_file_of_that_time() -> None:
    versions = [one for one in weeks() if one.entry.kind == "practice_file.version"]
    assert [one.entry.data.text.encode() for one in versions] == [earlier(practice_text()), practice_text()]
    assert read_practice(earlier(practice_text()), "p").practice is not None
    assert earlier(practice_text()) != practice_text()


def test_most_mornings_chairs_are_fit_and_not_all() -> None:
    """A life in which nothing goes wrong, or nothing right, would show nothing."""
    practice = read_practice(practice_text(), "p").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    standings = fold(weeks(), practice, rulebook, running_times(practice, rulebook))
    seen: Counter[Verdict] = Counter()
    for number in range(14, 6 * 7):
        day = FIRST + timedelta(days=number)
        if day.weekday() < 5:
            view = standings.as_of(at(day, 8, 30))
            seen.update(view.standing(f"chair:{chair.id}").verdict for chair in practice.chairs)
    assert seen[Verdict.FIT] > seen.total() / 3
    assert seen[Verdict.FIT] < seen.total()


def test_it_goes_into_a_book_and_on_from_there_without_a_gap(tmp_path: Path) -> None:
    middle, end = at(FIRST + timedelta(days=4), 10, 42), at(FIRST + timedelta(days=5), 11)
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        first = live_into(store, practice_text(), FIRST, middle)
        assert first.entries == store.head().size
        with pytest.raises(Mendable, match="entries already"):
            live_into(store, practice_text(), FIRST, middle)
        more = live_on(store, practice_text(), end)
        assert more.entries > 100
        assert live_on(store, practice_text(), end).entries == 0
        expected = [one.entry.id for one in live(practice_text(), FIRST, end, sealed=False)]
        assert [one.entry.id for one in store.read()] == expected
        late = [one.received - one.entry.at - one.offset for one in store.read(first.entries)]
        assert sorted(late)[len(late) // 2] < 120_000  # each came at its time, not when it was written
        result = store.verify()
        assert result.whole
        devices: dict[str, set[int]] = {}
        for one in store.read():
            devices.setdefault(one.entry.device, set()).add(one.entry.n)
        assert sum(max(numbers) - len(numbers) for numbers in devices.values()) < 60  # what is still on its way
        with pytest.raises(Mendable, match="can't be gone on with"):
            live_on(store, practice_text(), end, seed=2)


def test_what_can_happen_happens() -> None:
    practice = read_practice(practice_text(), "p").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    often = Years(breakdown=0.3, leak=0.3, notice=0.2, offline=0.3, wrong_clock=0.3, doubled=0.5, left_out=0.3, worn=0.3)
    habits = Habits(forgets=0.02, cuts_short=0.02, fails=0.1, overruns=0.5, grows=True, mends=0.01, comes_late=0.02)
    life = Life(
        practice, rulebook, running_times(practice, rulebook), habits=habits, diary=week_diary(practice), happening=often, sealed=False
    )
    entries = list(life.days(FIRST, 40))
    kinds = Counter(one.entry.kind for one in entries)
    assert set(kinds) >= {
        "visit.started", "visit.ended", "step.started", "step.done", "duty.skipped", "sample.taken", "sample.result", "notice.begun",
        "notice.ended", "load.packed", "cycle.recorded", "load.released", "load.rejected", "machine.test", "set.retired", "fault.reported",
        "repair.done", "subject.returned", "product.opened", "entry.corrected", "entry.withdrawn",
    }  # fmt: skip
    assert {one.entry.data.said for one in entries if one.entry.kind == "cycle.recorded"} == {"passed", "failed", "aborted"}
    assert {one.entry.data.meaning for one in entries if one.entry.kind == "load.rejected"} == {"rejected", "recalled"}
    assert any(abs(one.entry.at + one.offset - one.received) > 3_600_000 for one in entries)
    assert any(abs(one.offset) > 3_000_000 for one in entries)


def test_a_log_of_each_cycle_goes_beside_it_with_its_judgement() -> None:
    class Logs:
        def log(self, machine: Machine, cycle: str, began: int, *, good: bool) -> tuple[HeldFile, str, tuple[str, ...]]:
            held = HeldFile(digest=digest_of(f"{machine.id} {cycle} {began}".encode()), length_bytes=10, media="text/csv")
            return held, "fit" if good else "unfit", ("made up",)

    practice = read_practice(practice_text(), "p").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    life = Life(practice, rulebook, running_times(practice, rulebook), habits=Habits(fails=0.2, visits_a_day=1), logs=Logs(), sealed=False)  # type: ignore[arg-type]
    entries = {one.entry.id: one.entry for one in life.days(FIRST, 3)}
    judged = [one for one in entries.values() if one.kind == "cycle.judged"]
    assert judged
    for one in judged:
        cycle = entries[one.refers_to or ""]
        assert cycle.data.log is not None
        assert (one.data.verdict == "fit") == (cycle.data.said == "passed")


def test_water_grows_while_it_stands_and_falls_when_it_is_treated() -> None:
    water = Water(random.Random(1), 2.0)
    before = water.level
    water.stand(3)
    assert before < water.level < before + 3
    water.treated()
    once = water.level
    water.treated(long=True)
    assert LOWEST <= water.level < once
    for _ in range(400):
        water.stand(1)
    assert water.level == pytest.approx(HIGHEST)
    assert water.counted().mark == "above"


def test_counts_scatter_about_what_is_there_as_colonies_do() -> None:
    counts = [Water(random.Random(seed), 2.0).counted() for seed in range(400)]
    mean = sum(count.value for count in counts) / len(counts)
    assert 90 < mean < 120
    assert len({count.value for count in counts}) > 30
    assert Water(random.Random(1), LOWEST - 3).counted() == Water(random.Random(2), LOWEST - 3).counted()


def test_pages_of_care_have_something_to_show_and_sessions_end_with_suction_care() -> None:
    practice = read_practice(practice_text(), "p").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    look = fold(weeks(), practice, rulebook, running_times(practice, rulebook)).as_of(at(FIRST + timedelta(weeks=6), 11)).look
    chair = look.basis.chairs["chair 1"]
    cared = suction_care(look, chair)
    assert len(cared) > 10
    assert sum(one.verdict is Verdict.FIT for one in cared) > 0.9 * len(cared)
    assert all(one.amount_ml == 1000 for one in cared if one.amount_ml is not None)
    stock = {p.id: stock_of(look, p, 7, 182) for p in practice.products}
    assert stock["suction care"].used_l_a_week == pytest.approx(2.0, rel=0.2)  # 4 chairs, 5 days, 0.1 L
    assert len(taps(look)) == 6
    assert {one.place for one in rare_taps(look)} == {"eye wash", "staff shower"}
    assert {one.moment: one.says for one in strip_series(look, chair)}.keys() == {"feed", "after the rinse"}
    assert parts_of(look, "chair:chair 4")
    assert cleaning_shares(look)


def test_six_weeks_hold_a_failed_cycle_with_its_log_a_high_count_and_what_was_done_about_each(tmp_path: Path) -> None:
    until = at(FIRST + timedelta(days=42), 12)
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        live_into(store, practice_text(), FIRST, until)
        entries = [one.entry for one in store.read()]
        failed = next(e for e in entries if e.kind == "cycle.recorded" and e.data.log is not None)
        assert failed.data.said == "failed"
        assert store.file(failed.data.log.digest)
    judged = next(e for e in entries if e.kind == "cycle.judged" and e.refers_to == failed.id)
    assert judged.data.verdict == "unfit"
    assert any(e.kind == "failure.step" and e.refers_to == failed.id for e in entries)
    packed = [e.data for e in entries if e.kind == "load.packed"]
    sets = {item.unit for load in packed if load.load == failed.data.load for item in load.items}
    assert sets <= {item.unit for load in packed if load.load > failed.data.load for item in load.items}, "run again"
    high = next(e for e in entries if e.kind == "sample.result" and e.data.value > 200)
    assert any(e.kind == "sample.result" and e.data.chair == high.data.chair and e.at > high.at for e in entries), "sampled again"
    assert {"duty.skipped", "training.held"} <= {e.kind for e in entries}
    assert any(e.kind == "machine.test" and e.data.outcome == "failed" for e in entries)
