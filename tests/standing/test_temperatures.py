"""Taps: hot and cold against the rulebook's temperature and time."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_book import PRACTICE, Book, ground

from fettlebook.book.stores import open_book
from fettlebook.cli import _fettlebook
from fettlebook.standing.model import Verdict
from fettlebook.standing.temperatures import TapSays, taps

pytestmark = pytest.mark.invented


def read(water: str, mc: int, more: str = "", day: str = "2026-03-09") -> str:
    return f'{day} 07:00 ana outlet.temperature {{place="basin", water="{water}", water_mc={mc}{more}}}\n'


def only(text: str, at: str = "2026-03-10 08:00", practice: str = PRACTICE) -> TapSays:
    (one,) = taps(Book(text, on=ground(practice)).now(at).look)
    return one


@pytest.mark.published(
    source="HSE HSG274 part 2 (2014), para 2.122: cold under 20 degC within 2 min, hot 55 degC in health care within 1 min",
    sure="secondary",
)
@pytest.mark.parametrize(
    ("water", "mc", "ran", "verdict"),
    [
        ("hot", 55_000, 60, Verdict.FIT),
        ("hot", 54_900, 60, Verdict.UNFIT),
        ("hot", 54_900, 59, Verdict.UNPROVEN),  # read too early to condemn
        ("hot", 60_000, 61, Verdict.UNPROVEN),  # read too late to acquit
        ("cold", 19_900, 120, Verdict.FIT),
        ("cold", 20_000, 120, Verdict.UNFIT),
        ("cold", 20_000, 119, Verdict.UNPROVEN),
        ("cold", 15_000, 121, Verdict.UNPROVEN),
    ],
)
def test_temperature_and_time_together(water: str, mc: int, ran: int, verdict: Verdict) -> None:
    assert only(read(water, mc, f", ran_s={ran}")).verdict is verdict


def test_what_is_not_said_is_unproven() -> None:
    assert only(read("hot", 60_000)).verdict is Verdict.UNPROVEN
    assert "mixing valve" in only(read("hot", 41_000, ", ran_s=60, mixed=true")).why
    assert only(read("hot", 41_000, ", ran_s=60, mixed=true")).verdict is Verdict.UNPROVEN


def test_the_newest_reading_counts_for_a_month() -> None:
    text = read("hot", 40_000, ", ran_s=60") + read("hot", 56_000, ", ran_s=60", "2026-03-10")
    assert only(text).verdict is Verdict.FIT
    assert only(text, "2026-04-10 23:00").verdict is Verdict.FIT
    assert only(text, "2026-04-11 01:00").verdict is Verdict.UNPROVEN


def test_without_a_rule_nothing_is_judged() -> None:
    one = only(read("hot", 60_000, ", ran_s=30"), practice=PRACTICE.replace('"general", "uk"', '"general"'))
    assert (one.verdict, one.asked_c) == (Verdict.UNPROVEN, None)


def test_the_command_tells_each_tap(tmp_path: Path) -> None:
    path = tmp_path / "practice.toml"
    path.write_text(PRACTICE, encoding="utf-8")
    with open_book(path.with_name("book.sqlite"), "small") as store:
        for one in Book(read("hot", 50_000, ", ran_s=60") + read("cold", 12_000, ", ran_s=100")).received():
            store.append([one.entry], now=one.received, via=one.via)
    words = ["temperatures", "--practice", str(path), "--at"]
    done = CliRunner().invoke(_fettlebook, [*words, "2026-03-10T08:00"])
    assert done.exit_code == 1
    assert "■ UNFIT  basin, hot, read 2026-03-09 07:00" in done.output
    assert "● FIT  basin, cold" in done.output
    told = json.loads(CliRunner().invoke(_fettlebook, [*words, "2026-03-10T08:00", "--json"]).output)["taps"]
    assert [(t["water"], t["asked_c"], t["within_s"]) for t in told] == [("cold", 20.0, 120.0), ("hot", 55.0, 60.0)]
    assert CliRunner().invoke(_fettlebook, [*words, "2026-03-01T08:00"]).exit_code == 1


def test_the_command_tells_which_rarely_used_tap_is_owed_a_run(tmp_path: Path) -> None:
    path = tmp_path / "practice.toml"
    path.write_text(PRACTICE, encoding="utf-8")
    with open_book(path.with_name("book.sqlite"), "small") as store:
        for one in Book('2026-03-09 07:00 ana outlet.run {place="eye wash", ran_s=180, rare=true}').received():
            store.append([one.entry], now=one.received, via=one.via)
    words = ["temperatures", "--practice", str(path), "--at"]
    assert CliRunner().invoke(_fettlebook, [*words, "2026-03-10T08:00"]).exit_code == 0
    done = CliRunner().invoke(_fettlebook, [*words, "2026-03-20T08:00"])
    assert done.exit_code == 1
    assert "▲ UNPROVEN  eye wash, rarely used" in done.output
    told = json.loads(CliRunner().invoke(_fettlebook, [*words, "2026-03-20T08:00", "--json"]).output)["rarely_used"]
    assert [(t["place"], round(t["days"])) for t in told] == [("eye wash", 11)]
