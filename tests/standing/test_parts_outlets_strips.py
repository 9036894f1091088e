"""Parts with a life, rarely used taps, strips as a chart: what the book says, what is owed, and what nobody entered stays unjudged."""

from itertools import pairwise

import pytest
from small_book import PRACTICE as FILE
from small_book import READY, Book, ground

from fettlebook.standing.due import due_duties
from fettlebook.standing.evidence import AFTER_RINSE, AT_FEED
from fettlebook.standing.model import Verdict
from fettlebook.standing.parts import bottle_fills, parts_of
from fettlebook.standing.rare_outlets import chair_outlets, rare_taps
from fettlebook.standing.strip_charts import DOSE, MIXED, strip_series

FILTER = '2026-03-09 05:00 ana part.changed {part="water filter", chair="1", done="changed", good_days=30}\n'
TAP = '2026-03-09 07:00 ana outlet.run {place="eye wash", ran_s=180, rare=true}\n'


def condition(book: Book, at: str, subject: str, what: str):
    return next(c for c in book.now(at).standing(subject).conditions if c.what == what)


def test_a_part_is_fit_through_the_last_day_of_its_life_and_owed_from_the_next_on() -> None:
    book = Book(READY + FILTER)
    what = "water filter within its life"
    last = condition(book, "2026-04-08 23:59", "chair:1", what)
    assert last.verdict is Verdict.FIT
    over = condition(book, "2026-04-09 00:00", "chair:1", what)
    assert (over.verdict, last.expires_ms) == (Verdict.UNPROVEN, book.now("2026-04-09 00:00").look.at)
    assert any(owed.name.startswith("Change the water filter") and owed.overdue for owed in due_duties(book.now("2026-04-09 08:00")))
    anew = book.write(FILTER.replace("2026-03-09 05:00", "2026-04-09 07:00"))
    assert condition(anew, "2026-04-09 08:00", "chair:1", what).verdict is Verdict.FIT


def test_cleaning_does_not_begin_a_new_life_and_a_life_nobody_entered_is_not_judged() -> None:
    cleaned = FILTER.replace("2026-03-09", "2026-04-01").replace('"changed"', '"cleaned"')
    (part,) = parts_of(Book(READY + FILTER + cleaned).now("2026-04-10 08:00").look, "chair:1")
    assert (part.verdict, part.changes) == (Verdict.UNPROVEN, 2)
    untold = Book(READY + FILTER.replace(", good_days=30", ""))
    (part,) = parts_of(untold.now("2026-04-10 08:00").look, "chair:1")
    assert (part.due_ms, part.verdict) == (None, Verdict.UNPROVEN)
    assert "not entered" in part.why
    assert not [c for c in untold.now("2026-04-10 08:00").standing("chair:1").conditions if "filter" in c.what]


def test_parts_of_the_building_are_owed_by_the_practice() -> None:
    book = Book(READY + FILTER.replace(', chair="1"', ""))
    assert condition(book, "2026-04-09 08:00", "practice:all", "water filter within its life").verdict is Verdict.UNPROVEN


def listed(parts: str) -> object:
    return ground(FILE.replace('supply = { kind = "bottle"', f'parts = [{parts}]\nsupply = {{ kind = "bottle"', 1))


def test_a_part_of_the_practice_file_that_was_never_entered_is_unproven_and_owed() -> None:
    book = Book(READY, listed('{ what = "water filter", life_days = 30 }'))
    found = condition(book, "2026-03-09 08:00", "chair:1", "water filter within its life")
    assert (found.verdict, found.origin.layer) == (Verdict.UNPROVEN, "practice file")
    assert "never entered" in found.why
    assert any(owed.name.startswith("Change the water filter") for owed in due_duties(book.now("2026-03-09 08:00")))
    other = book.write(FILTER.replace(", good_days=30", ""))
    assert condition(other, "2026-04-08 23:59", "chair:1", found.what).verdict is Verdict.FIT
    assert condition(other, "2026-04-09 00:00", "chair:1", found.what).verdict is Verdict.UNPROVEN


@pytest.mark.parametrize(("in_file", "origin", "last"), [(20, "practice file", "2026-03-29"), (40, "book", "2026-04-08")])
def test_where_file_and_entry_both_name_a_life_the_shorter_counts(in_file: int, origin: str, last: str) -> None:
    book = Book(READY + FILTER, listed(f'{{ what = "water filter", life_days = {in_file} }}'))
    found = condition(book, f"{last} 23:59", "chair:1", "water filter within its life")
    assert (found.verdict, found.origin.layer) == (Verdict.FIT, origin)
    assert found.expires_ms is not None
    assert found.expires_ms - book.now(f"{last} 23:59").look.at == 60_000


def test_litres_are_added_up_from_the_fills_and_one_without_an_amount_counts_as_a_full_bottle() -> None:
    filled = '2026-03-10 07:0{n} ana step.done {{duty="chair.first", step="first.fill_bottle", chair="1", outcome="done"{more}}}\n'
    told = filled.format(n=0, more=", readings={water_ml=1200}")
    part = '{ what = "water filter", litres = 4.0 }'
    fresh = FILTER.replace(", good_days=30", "").replace("03-09 05:00", "03-10 06:00")
    one = Book(READY + fresh + told + filled.format(n=1, more=""), listed(part))
    (says,) = parts_of(one.now("2026-03-10 08:00").look, "chair:1")
    assert (says.verdict, says.litres, says.due_ms) == (Verdict.FIT, pytest.approx(2.7), None)
    assert condition(one, "2026-03-10 08:00", "chair:1", "water filter within its life").verdict is Verdict.FIT
    two = one.write(filled.format(n=2, more=""))
    (says,) = parts_of(two.now("2026-03-10 08:00").look, "chair:1")
    assert (says.verdict, says.litres) == (Verdict.UNPROVEN, pytest.approx(4.2))


@pytest.mark.practice_fact
def test_a_rarely_used_tap_is_owed_a_run_after_a_week_by_common_practice() -> None:
    book = Book(TAP, ground(FILE.replace('rulebooks = ["general", "uk"]', 'rulebooks = ["general"]')))
    (tap,) = rare_taps(book.now("2026-03-16 23:00").look)
    assert (tap.verdict, tap.origin.sure) == (Verdict.FIT, "practice")
    (tap,) = rare_taps(book.now("2026-03-17 00:00").look)
    assert tap.verdict is Verdict.UNPROVEN
    owed = [o for o in due_duties(book.now("2026-03-17 08:00")) if o.duty_id == "run eye wash"]
    assert (len(owed), owed[0].overdue) == (1, True)


@pytest.mark.published(source="HSE HSG274 part 2 (weekly); HTM 04-01 part B (twice a week in health care)", sure="secondary")
def test_a_british_practice_runs_it_twice_a_week() -> None:
    book = Book(READY + TAP)
    assert rare_taps(book.now("2026-03-13 23:00").look)[0].verdict is Verdict.FIT
    (tap,) = rare_taps(book.now("2026-03-14 00:00").look)
    assert (tap.verdict, tap.origin.layer) == (Verdict.UNPROVEN, "uk")


def test_a_reading_and_the_weekly_round_run_it_too_and_daily_use_ends_it() -> None:
    read = '2026-03-17 07:00 ana outlet.temperature {place="eye wash", water="cold", water_mc=15000, ran_s=120}\n'
    assert rare_taps(Book(READY + TAP + read).now("2026-03-20 08:00").look)[0].verdict is Verdict.FIT
    weekly = '2026-03-17 07:00 ana duty {duty="practice.weekly"}\n'
    assert rare_taps(Book(READY + TAP + weekly).now("2026-03-20 08:00").look)[0].verdict is Verdict.FIT
    daily = '2026-03-12 07:00 ana outlet.run {place="eye wash", rare=false}\n'
    assert rare_taps(Book(READY + TAP + daily).now("2026-03-20 08:00").look) == ()


def test_a_tap_that_is_only_read_is_not_called_rarely_used() -> None:
    read = '2026-03-09 07:00 ana outlet.temperature {place="basin", water="cold", water_mc=15000, ran_s=120}\n'
    assert rare_taps(Book(READY + read).now("2026-04-20 08:00").look) == ()


def test_a_chairs_outlets_stand_by_the_days_since_their_water_moved() -> None:
    look = Book(READY).now("2026-03-11 06:00").look
    found = chair_outlets(look, look.basis.chairs["1"])
    assert {one.outlet for one in found} == {o.id for o in look.basis.chairs["1"].outlets}
    assert all(one.days is not None and 1.9 < one.days < 2.1 for one in found)


def treated(day: int, feed: int, rest: int) -> str:
    where = 'duty="chair.long_still", chair="1", outcome="done"'
    return (
        f'2026-03-{day:02} 18:00 ana step.done {{{where}, step="long.strip_feed", readings={{strip_mg_l={feed}}}}}\n'
        f'2026-03-{day:02} 18:30 ana step.done {{{where}, step="long.strip_rinse", readings={{strip_mg_l={rest}}}}}\n'
    )


def test_strips_stand_by_what_they_were_dipped_for_and_signal_by_the_stated_rules() -> None:
    rows = "".join(treated(9 + n, 30_000 + 200 * (n % 3), 3 + n % 2) for n in range(12))
    look = (
        Book(
            READY.replace('chair.long_still", chair="1"', 'chair.long_still", chair="1", leave_out=["long.strip_feed", "long.strip_rinse"]')
            + rows
        )
        .now("2026-03-30 08:00")
        .look
    )
    series = {one.moment: one for one in strip_series(look, look.basis.chairs["1"])}
    assert set(series) == {AT_FEED, AFTER_RINSE}
    assert DOSE not in series  # nothing is dosed into this chair's water
    assert [series[AT_FEED].says, series[AFTER_RINSE].says] == ["steady", "steady"]
    assert (series[AT_FEED].asked_mg_l, series[AT_FEED].at_most, series[AFTER_RINSE].at_most) == (28_500, False, True)
    off = Book(READY + rows + treated(28, 30_000, 40)).now("2026-03-30 08:00").look
    left = next(one for one in strip_series(off, off.basis.chairs["1"]) if one.moment == AFTER_RINSE)
    assert (left.says, left.strips[-1].verdict) == ("beyond its limits", Verdict.UNFIT)


def test_strips_that_never_leave_one_field_make_no_chart() -> None:
    rows = "".join(treated(9 + n, 30_000, 3) for n in range(12))
    look = Book(READY + rows).now("2026-03-30 08:00").look
    feed = strip_series(look, look.basis.chairs["1"])[0]
    assert (feed.chart, feed.says) == (None, "all readings are 30000")


def test_a_bottle_tells_its_fills_and_those_without_an_amount() -> None:
    look = Book(READY).now("2026-03-11 06:00").look
    fills = bottle_fills(look, look.basis.chairs["1"])
    chair = look.basis.chairs["1"]
    assert (fills is None) is (chair.supply.bottle_ml is None)


SUPPLY = 'supply = { kind = "continuous dosing", product = "daily", strength_mg_l = 150.0 }'
DOSED = FILE.replace('supply = { kind = "bottle", bottle_ml = 1500.0 }', SUPPLY).replace(
    "[in_use]",
    """[[products]]
id = "daily"
name = "Daily dosing (invented)"
active = "hydrogen peroxide"
uses = [{ use = "line continuous", strength = 140.0, strength_unit = "mg/L", contact_s = 3600, temperature_c = [5.0, 30.0] }]

[in_use]""",
    1,
)  # fmt: skip


def doses(values: list[int], mixed: bool) -> str:
    """Return one strip a week, at the outlet or of the solution as it was mixed."""
    rows = []
    for n, value in enumerate(values):
        day = f"2026-{3 + (8 + 2 * n) // 28:02}-{1 + (8 + 2 * n) % 28:02}"
        if mixed:
            rows.append(
                f'{day} 07:00 ana solution.mixed {{solution="m{n}", product="daily", chair="1", readings={{strip_mg_l={value}}}}}\n'
            )
        else:
            rows.append(
                f'{day} 07:00 ana step.done {{duty="chair.weekly", step="weekly.dose", chair="1", '
                f'outcome="done", readings={{strip_mg_l={value}}}}}\n'
            )
    return "".join(rows)


STEADY = [150, 155, 145, 150, 160, 150, 145, 155, 150, 150, 155, 145]


@pytest.mark.parametrize("mixed", [False, True])
@pytest.mark.parametrize(
    ("values", "says", "verdict"),
    [
        (STEADY, "steady", Verdict.FIT),
        ([*STEADY, 60], "beyond its limits", Verdict.UNFIT),  # below the label and far out of what it was
        ([*STEADY, *[162] * 6], "drifting", Verdict.FIT),  # each one good by the label, all of them higher than before
    ],
)
def test_a_chair_with_dosed_water_has_a_chart_of_its_dose(mixed: bool, values: list[int], says: str, verdict: Verdict) -> None:
    look = Book(doses(values, mixed), ground(DOSED)).now("2026-05-30 08:00").look
    (series,) = strip_series(look, look.basis.chairs["1"])
    assert (series.moment, series.product) == ((MIXED, "daily") if mixed else (DOSE, None))
    assert (series.asked_mg_l, len(series.strips)) == (140, len(values))
    assert series.chart is not None
    assert (series.says, series.strips[-1].verdict) == (says, verdict)
    # Individuals chart: limits at centre +/- 2.66 mean moving ranges of the first ten readings (Shewhart; textbook).
    first = values[:10]
    ranges = [abs(a - b) for a, b in pairwise(first)]
    assert series.chart.high - sum(first) / 10 == pytest.approx(2.66 * sum(ranges) / 9, rel=1e-3)


def test_a_dose_at_the_end_of_the_strips_scale_is_not_called_too_low() -> None:
    row = doses([100], mixed=False).replace("strip_mg_l", "strip_at_least_mg_l")
    look = Book(row, ground(DOSED)).now("2026-05-30 08:00").look
    (series,) = strip_series(look, look.basis.chairs["1"])
    assert (series.strips[0].verdict, series.strips[0].at_least) == (Verdict.UNPROVEN, True)
