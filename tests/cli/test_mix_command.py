"""`fettlebook mix` from the practice file to the jug."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.mix import mix
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable

AT = ["--at", "2026-11-25 17:30"]
SUCTION = ["--use", "suction", "--litres", "2", *AT]


def run(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(mix, list(arguments))


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    path = tmp_path / "practice.toml"
    path.write_bytes(practice_text())
    return path


def changed(path: Path, old: str, new: str) -> str:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")
    return str(path)


def words(done: Result) -> str:
    return " ".join(done.output.split())


@pytest.mark.invented
def test_the_demo_s_suction_product_is_made_up_with_all_that_must_be_known(demo):
    done = run(str(demo), *SUCTION)
    assert done.exit_code == 0, done.output
    text = words(done)
    assert "2 L of 2 % w/v" in text
    assert "product 100 mL, as it comes (40 % w/v)" in text
    assert "fill up to the mark of 2 L" in text
    assert "Contact time 15:00" in text
    assert "Use by 17:30 tomorrow, 2026-11-26" in text
    assert "Wear gloves and eye protection." in text
    assert "irritates skin and eyes" in text
    assert "Air the room. Never mix with other products" in text
    assert "(invented)" in text


@pytest.mark.invented
def test_a_product_that_comes_at_the_label_s_strength_gets_no_water_and_its_neutraliser_is_named_with_its_source(demo):
    done = run(str(demo), "--use", "line intensive", "--litres", "1.5", *AT)
    assert "1.5 L of the product as it comes; no water." in words(done)
    assert "catalase" in words(done)
    assert "PMC9119914" in words(done)
    assert "(PMC9119914, table 1; read)" in words(done)


@pytest.mark.invented
def test_without_a_row_for_the_active_the_laboratory_is_asked(demo):
    path = changed(demo, 'active = "hydrogen peroxide"', 'active = "hydrogen peroxide and silver"')
    assert "Ask the laboratory before sampling" in words(run(path, "--use", "line intensive", "--litres", "1", *AT))


@pytest.mark.invented
def test_water_outside_the_label_s_range_is_said_and_ends_with_1(demo):
    path = changed(demo, "water_temperature_c = 12.0", "water_temperature_c = 8.0")
    done = run(path, *SUCTION)
    assert done.exit_code == 1
    assert "DOES NOT HOLD HERE: the water is 8 degC" in words(done)


@pytest.mark.invented
def test_a_coarse_measure_is_cautioned_against_with_the_one_to_take(demo):
    done = run(str(demo), *SUCTION, "--measure-ml", "20")
    assert "CAUTION: it may be 22 % too weak" in words(done)
    assert "lines of 2.5 mL or finer" in words(done)


@pytest.mark.invented
def test_without_a_life_of_the_mix_it_is_to_be_made_fresh(demo):
    path = changed(demo, "shelf_open_days = 180\nshelf_mixed_hours = 24.0\n", "")
    assert "Mix it fresh" in words(run(path, *SUCTION))


@pytest.mark.parametrize(
    ("more", "where", "said"),
    [
        (["--use", "suction", "--litres", "2", "--strength", "1 % w/v"], "strength", "off label"),
        (["--use", "suction", "--litres", "2", "--strength", "2 %"], "--strength", "is no strength"),
        (["--use", "suction", "--litres", "2", "--product", "wipes"], "--product", "off label"),
        (["--use", "surfaces", "--litres", "1"], "strength", "ready to use"),
        (["--use", "suction", "--litres", "2", "--opened", "2026-01-01"], "opened", "it keeps 180 days"),
        (["--use", "suction", "--litres", "2", "--expires", "2026-11-24"], "expires", "expired on 2026-11-24"),
        (["--use", "suction", "--litres", "0"], "litres", "no batch"),
        (["--use", "suction", "--litres", "nan"], "litres", "no batch"),
        (["--use", "suktion", "--litres", "1"], "--use", "is no use"),
        (["--use", "suction", "--litres", "1", "--product", "bleach"], "--product", 'no product "bleach"'),
        (["--use", "line continuous", "--litres", "1"], "in_use.line_continuous", "no product is chosen"),
        (["--use", "suction", "--litres", "0.05"], "jug", "can't measure"),
    ],
)
def test_what_may_not_or_can_not_be_mixed_is_refused_with_the_reason(demo, more, where, said):
    done = run(str(demo), *AT, *more)
    assert isinstance(done.exception, Mendable), done.output
    assert done.exception.where == where
    assert said in done.exception.what
    assert done.stdout == ""


def test_per_cent_by_weight_needs_the_density_of_the_concentrate(demo):
    path = changed(demo, 'strength = 40.0, strength_unit = "% w/v"', 'strength = 40.0, strength_unit = "% w/w"')
    done = run(path, *SUCTION)
    assert isinstance(done.exception, Mendable)
    assert "density" in done.exception.what


@pytest.mark.invented
def test_a_label_s_ml_in_a_litre_decides(demo):
    recipe = 'use = "suction", product_ml_per_l = 20.0,'
    path = changed(demo, 'concentrate = { strength = 40.0, strength_unit = "% w/v" }\n', "")
    done = run(changed(demo, 'use = "suction",', recipe), *SUCTION)
    assert "product 40.0 mL, as it comes" in words(done)
    assert path == str(demo)


def test_json_is_all_that_is_printed_and_no_line_is_too_wide(demo):
    data = json.loads(run(str(demo), *SUCTION, "--json").stdout)
    assert data["product_ml"] == pytest.approx(100.0)
    assert data["use_by"] == "2026-11-26T17:30+00:00"
    assert max(len(line) for line in run(str(demo), *SUCTION, "--measure-ml", "20").output.splitlines()) <= 80
