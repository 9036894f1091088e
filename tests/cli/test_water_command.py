"""`fettlebook water` on the invented practice of seven chairs and on tables that can't be right."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.water import water
from fettlebook.errors import Mendable

SEVEN = Path(__file__).parents[1] / "science" / "counts_practice_7.csv"
KNOWN = json.loads(SEVEN.with_suffix(".json").read_text(encoding="utf-8"))
TODAY = ["--today", KNOWN["today"]]


def run(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(water, list(arguments))


def treated() -> list[str]:
    """Return the treatments that give each chair the days of the reference."""
    from datetime import date, timedelta

    today = date.fromisoformat(KNOWN["today"])
    days = {c["chair"]: c["days_since_intensive_today"] for c in KNOWN["chairs"]}
    return [text for chair, n in days.items() for text in ("--treated", f"{chair}={today - timedelta(days=n)}")]


@pytest.mark.published(source="NUTS (numpyro 0.22, 4 chains): counts-practice-7.json", sure="computed")
def test_each_chair_as_full_sampling_has_it() -> None:
    result = run(str(SEVEN), *TODAY, "--chair", "C6", *treated(), "--json")
    assert result.exit_code == 1
    found = {c["chair"]: c for c in json.loads(result.output)["chairs"]}
    for row in KNOWN["reference"]["chairs"]:
        chair = found[row["chair"]]
        assert chair["p_above_limit"] == pytest.approx(row["p_mean_over"], abs=0.015)
        for share, value in row["quantiles"].items():
            assert chair["quantiles_log10_cfu_per_ml"][share] == pytest.approx(value, abs=0.15 * row["sd"])
    assert found["C6"]["verdict"] == "unproven"
    assert {c for c in found if found[c]["verdict"] == "unfit"} == {"C2", "C3", "C7"}


def test_the_table_fits_eighty_columns_and_says_what_to_do() -> None:
    result = run(str(SEVEN), *TODAY, "--chair", "C6")
    assert all(len(line) <= 80 for line in result.output.splitlines())
    for text in ("C2", "act", "unproven", "Sample next", "CDC 2003"):
        assert text in result.output


def test_all_good_is_exit_0_and_a_last_result_over_the_limit_is_not(tmp_path: Path) -> None:
    table = tmp_path / "good.csv"
    head = "chair,sampled_on,days_since_intensive,colonies,volume_ml\n"
    good = "".join(f"A,2026-{m:02}-10,7,{m},1\n" for m in range(1, 11))
    table.write_text(head + good)
    assert run(str(table), "--today", "2026-10-12").exit_code == 0
    table.write_text(head + good + "A,2026-10-11,7,600,1\n")
    result = run(str(table), "--today", "2026-10-12", "--json")
    assert result.exit_code == 1
    assert json.loads(result.output)["chairs"][0]["verdict"] == "unfit"


def test_without_a_known_treatment_nothing_is_said_of_days_to_come(tmp_path: Path) -> None:
    table = tmp_path / "plain.csv"
    table.write_text("chair,sampled_on,colonies,volume_ml\nA,2026-10-01,4,1\nA,2026-10-08,6,1\n")
    result = run(str(table), "--today", "2026-10-12", "--json")
    data = json.loads(result.output)
    assert data["chairs"][0]["days_since_intensive"] is None
    assert data["chairs"][0]["passes_risk_on"] is None
    assert any("no intensive treatment is known" in f["what"] for f in data["findings"])


@pytest.mark.parametrize(
    ("rows", "what"),
    [
        ("A,2026-10-01,n.d.,1\n", "no result that can be used"),
        ("A,2026-10-32,4,1\n", "no result that can be used"),
    ],
)
def test_nothing_to_judge_says_which_lines_and_why(tmp_path: Path, rows: str, what: str) -> None:
    table = tmp_path / "bad.csv"
    table.write_text("chair,sampled_on,colonies,volume_ml\n" + rows)
    result = run(str(table), "--today", "2026-10-12")
    assert isinstance(result.exception, Mendable)
    assert what in result.exception.what
    assert any("line 2" in finding.where for finding in result.exception.findings)


@pytest.mark.parametrize(
    "arguments", [["--treated", "A"], ["--treated", "A=soon"], ["--treated", "A=2027-01-01"], ["--column", "colour=x"]]
)
def test_options_that_can_t_be_are_named(arguments: list[str]) -> None:
    result = run(str(SEVEN), *TODAY, *arguments)
    assert isinstance(result.exception, Mendable)
    assert result.exception.mend


@pytest.mark.parametrize(
    "rows", ["A,2026-10-01,5,0.1\n", "A,2026-10-01,5,0.1\n" * 1 + "B,2026-10-01,5,0.1\n", "A,2026-10-01,<10,0.1\nB,2026-10-02,>300,0.1\n"]
)
def test_one_sample_no_spread_and_nothing_but_bounds_are_answered_with_a_wide_range(tmp_path: Path, rows: str) -> None:
    table = tmp_path / "few.csv"
    table.write_text("chair,sampled_on,colonies,volume_ml\n" + rows)
    chairs = json.loads(run(str(table), "--today", "2026-10-12", "--json").output)["chairs"]
    for chair in chairs:
        q = chair["quantiles_log10_cfu_per_ml"]
        assert q["0.95"] - q["0.05"] > 0.7
