"""Stock from a book's entries: left, use, end with interval, last day to order; and the command."""

import json
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_book import PRACTICE, Book, moment

from fettlebook.book.stores import open_book
from fettlebook.cli import _fettlebook
from fettlebook.standing.stock import StockSays, stock_of

pytestmark = pytest.mark.invented

COUNT = '2026-03-09 07:00 ana stock.counted {product="h2o2", packages=4, package_ul=1000000, open_ul=500000} = count\n'


def mixes(amounts: list[int], last: str = "2026-03-08") -> str:
    """Return one mix a week, back from a day."""
    days = [date.fromordinal(date.fromisoformat(last).toordinal() - 7 * back) for back in range(len(amounts))]
    made = [
        f'{day} 07:00 ana solution.mixed {{solution="m{n}", product="h2o2", chair="1", product_ul={ul}, water_ml=1000}}'
        for n, (day, ul) in enumerate(zip(days, amounts, strict=True))
    ]
    return "\n".join(reversed(made)) + "\n"


def opened(*days: str) -> str:
    return "".join(f'{day} 06:00 ana product.opened {{product="h2o2", lot="A{n}"}}\n' for n, day in enumerate(days))


def says(text: str, at: str = "2026-03-09 08:00", lead: int = 7, known: int = 1 << 60) -> StockSays:
    look = Book(text).on.fold(Book(text).received()).as_of(moment(at), known).look
    return stock_of(look, look.basis.practice.products[0], lead, 182)


def test_the_same_litre_each_week_lasts_as_many_weeks_as_litres() -> None:
    one = says(mixes([1_000_000] * 6) + COUNT)
    assert (one.by, one.packages_left, one.left_l) == ("amount", 4, 4.5)
    assert one.used_l_a_week == pytest.approx(1.0)
    assert one.runs_out == (date(2026, 4, 9), date(2026, 4, 9), date(2026, 4, 9))  # 31.5 days
    assert one.order_by == date(2026, 4, 2)
    assert one.vessels[0].fills == 6
    assert (one.vessels[0].product_l, one.vessels[0].water_l) == (6.0, 6.0)


def test_uneven_use_orders_by_the_early_end() -> None:
    one = says(mixes([500_000, 1_500_000] * 4) + COUNT)
    assert one.runs_out is not None
    early, middle, late = one.runs_out
    assert early < middle < (late or date.max)
    assert one.order_by is not None
    assert (early - one.order_by).days == 7
    assert not one.to_order(date(2026, 3, 9))
    assert says(mixes([500_000, 1_500_000] * 4) + COUNT, lead=60).to_order(date(2026, 3, 9))


def test_deliveries_and_mixes_after_the_count_are_reckoned_in() -> None:
    later = (
        '2026-03-10 07:00 ana stock.received {product="h2o2", packages=2}\n'
        '2026-03-10 08:00 ana solution.mixed {solution="x", product="h2o2", machine="washer", product_ul=250000}\n' + opened("2026-03-11")
    )
    one = says(mixes([1_000_000] * 6) + COUNT + later, at="2026-03-12 08:00")
    assert (one.packages_left, one.left_l) == (5, 6.25)
    assert [vessel.subject for vessel in one.vessels] == ["chair:1", "machine:washer"]


def test_without_amounts_it_goes_by_packages() -> None:
    one = says(opened("2026-01-05", "2026-01-26", "2026-02-16", "2026-03-02") + COUNT.replace(", package_ul=1000000, open_ul=500000", ""))
    assert one.by == "packages"
    assert one.left_l is None
    assert one.lasts is not None
    assert one.lasts.middle_days == pytest.approx(63 / 3 * 5, rel=0.15)


def test_a_mix_without_amount_leaves_litres_unsaid() -> None:
    bare = '2026-03-09 07:30 ana solution.mixed {solution="b", product="h2o2", chair="1"}\n'
    one = says(mixes([1_000_000] * 6) + COUNT + bare)
    assert (one.left_l, one.lasts) == (None, None)
    assert one.vessels[0].untold == 1


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (mixes([1_000_000] * 6), "never counted"),
        (COUNT, "too seldom"),
        (COUNT + '2026-03-09 07:30 ana solution.mixed {solution="b", product="h2o2", product_ul=4600000}\n', "count again"),
    ],
)
def test_no_date_is_guessed(text: str, why: str) -> None:
    one = says(text)
    assert (one.lasts, one.order_by) == (None, None)
    assert why in one.why


def test_a_count_that_was_corrected_counts_as_corrected() -> None:
    mend = '2026-03-09 07:30 ana entry.corrected <count> {field="packages", was=4, now=1, why="miscounted"}\n'
    assert says(mixes([1_000_000] * 6) + COUNT + mend).left_l == 1.5


def test_the_command_prints_dates_and_json(tmp_path: Path) -> None:
    path = tmp_path / "practice.toml"
    path.write_text(PRACTICE, encoding="utf-8")
    with open_book(path.with_name("book.sqlite"), "small") as store:
        for one in Book(mixes([1_000_000] * 6) + COUNT).received():
            store.append([one.entry], now=one.received, via=one.via)
    words = ["stock", "--practice", str(path), "--at", "2026-03-09T08:00"]
    done = CliRunner().invoke(_fettlebook, words)
    assert done.exit_code == 1, done.output  # the wipes were never counted
    assert "h2o2: order by 2026-04-02" in done.output
    assert "never counted" in done.output
    assert all(len(line) <= 80 for line in done.output.splitlines())
    told = json.loads(CliRunner().invoke(_fettlebook, [*words, "--lead-days", "40", "--json"]).output)["products"][0]
    assert (told["order_now"], told["left_l"], told["runs_out"]["middle"]) == (True, 4.5, "2026-04-09")
    assert told["evidence"]
