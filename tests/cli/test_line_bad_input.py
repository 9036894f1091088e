"""Everything that can be wrong with a line or a product: named with its field and how to mend it, and never a time too short."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from fettlebook.cli.check import check
from fettlebook.cli.times import times
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
TEXT = practice_text().decode()
ON = ["--on", "2026-11-25"]
FEED = 'second_feeds = [{ id = "bypass", kind = "open branch", into = "feed", flow_ml_min = 30.0 }]\n'


def spoilt(folder: Path, old: str, new: str) -> str:
    assert old in TEXT
    path = folder / "practice.toml"
    path.write_text(TEXT.replace(old, new, 1), "utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("old", "new", "where", "what", "mend"),
    [
        ("flow_ml_min = 110.0", "flow_ml_min = 0.0", "flow_ml_min", "0", "Give the measured flow"),
        ("flow_ml_min = 110.0", "flow_ml_min = -5.0", "flow_ml_min", "-5", "Give the measured flow"),
        (
            'from = "syringe hose", flow',
            'from = "syringe hoes", flow',
            "from",
            'no segment or stirred volume "syringe hoes"',
            'Is it "syringe hose"?',
        ),
        ('id = "feed", bore_mm = 4.0', 'id = "feed", from = "block", bore_mm = 4.0', "from", "the lines run in a loop", "Let one of them"),
        ("bore_mm = 1.6", "bore_mm = 0.063", "bore_mm", "0.063", "Is it 1.6 mm (0.063 inch)?"),
        ("water_temperature_c = 12.0", "water_temperature_c = -4.0", "water_temperature_c", "-4", "Give the temperature"),
        ("contact_s = 600, ", "", "contact_s", "missing", "contact time of the label"),
        ("flow_ml_min = 110.0", "flow_ml_min = nan", "flow_ml_min", "nan", "Give the measured flow"),
        (
            "segments = [",
            FEED.replace("30.0", "3000.0") + "segments = [",
            "flow_ml_min",
            "water would run backwards",
            "Have it shut or mended",
        ),
    ],
)
def test_it_is_refused_with_field_and_mend_and_no_time_is_told(tmp_path, old, new, *, where, what, mend):
    path = spoilt(tmp_path, old, new)
    done = CliRunner().invoke(check, [path, "--json"])
    assert done.exit_code == 1
    found = [f for f in json.loads(done.stdout)["findings"] if f["weight"] == "error"]
    told = [f for f in found if f["where"].endswith(where) and what in f["what"] and mend in f["mend"]]
    assert told, found
    refused = CliRunner().invoke(times, [path, *ON])
    assert isinstance(refused.exception, Mendable)
    assert refused.stdout == ""


def of_chair_1(path: str, *more: str) -> dict[str, dict]:
    data = json.loads(CliRunner().invoke(times, [path, "--chair", "chair 1", *ON, "--json", *more]).stdout)
    return {t["step"]["id"]: t for t in data["times"]}


def test_a_fill_that_can_never_reach_its_share_has_no_time_but_a_field_and_a_mend(tmp_path):
    path = spoilt(tmp_path, "segments = [", FEED + "segments = [")
    done = CliRunner(env={"COLUMNS": "200"}).invoke(times, [path, "--chair", "chair 1", *ON])
    assert done.exit_code == 1
    found = of_chair_1(path)
    fill = found["close.fill"]
    assert fill["seconds"] is None
    for said in ("second_feeds[0] 'bypass', flow_ml_min", "can never carry more than", "Shut it for the fill or have it mended"):
        assert said in fill["missing"]
    (tmp_path / "plain").mkdir()
    plain = of_chair_1(spoilt(tmp_path / "plain", "segments = [", "segments = ["))
    for step in ("first.flush", "between.flush", "close.rinse"):
        assert found[step]["seconds"] >= plain[step]["seconds"]
        assert all(a["line_s"] >= b["line_s"] for a, b in zip(found[step]["outlets"], plain[step]["outlets"], strict=True))


def test_a_turbulent_part_is_named_with_its_bore_and_flow_and_reckoned_as_laminar(tmp_path):
    old = next(line for line in TEXT.splitlines() if 'id = "block", from = "' in line)
    start = old.index("bore_mm = ")
    path = spoilt(tmp_path, old, old[:start] + "bore_mm = 1.0" + old[old.index(",", start) :])
    told = " ".join(of_chair_1(path)["first.flush"]["derivation"])
    assert "block: Reynolds number" in told
    assert "Reckoned as laminar, which never gives a time that is too short." in told
    assert "block 0.3 m x 1.0 mm" in told


def test_a_limit_that_the_strips_can_not_show_is_told_with_what_to_get(tmp_path):
    path = spoilt(tmp_path, "residual_limit_mg_l = 10.0", "residual_limit_mg_l = 10.0, strip_lowest_mg_l = 25.0")
    rinse = of_chair_1(path)["close.rinse"]
    assert "the strips in use show 25 mg/L at the lowest, and the limit is 10 mg/L" in rinse["notes"]
    assert "Get strips that show 10 mg/L" in " ".join(rinse["derivation"])
    assert rinse["seconds"] >= 120
