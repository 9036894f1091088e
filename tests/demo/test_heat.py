"""Invented cycle logs obey physics, repeat by seed, and no faulty one is judged fit."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fettlebook.demo.heat import FAULTS, as_csv, make_log
from fettlebook.exchange.logs import read_log
from fettlebook.rules.cycle_criteria import criteria_of, find_criteria
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.science.steam import saturation_temperature_c

CRITERIA = {"134": "steam-134-b", "121": "steam-121-b"}


@pytest.mark.published(source="IAPWS-IF97 region 4: saturated steam has the temperature of its pressure", sure="secondary")
@pytest.mark.parametrize("program", ["134", "121"])
def test_in_a_good_plateau_temperature_and_pressure_belong_together(program: str) -> None:
    log = make_log("good", 11, program)
    rows = log.within("plateau")[20:]
    off = log.columns["chamber_c"][rows] - saturation_temperature_c(log.columns["pressure_kpa"][rows])
    assert abs(off.mean()) < 0.1
    assert np.abs(off).max() < 0.6


@pytest.mark.published(
    source="steam.md section 1: 10 % air lowers the temperature at 134 degC by 3.57 K (Dalton, computed)", sure="computed"
)
def test_air_left_makes_the_steam_colder_than_its_pressure() -> None:
    log = make_log("air left", 3)
    rows = log.within("plateau")[20:]
    off = float((log.columns["chamber_c"][rows] - saturation_temperature_c(log.columns["pressure_kpa"][rows])).mean())
    assert -9.0 < off < -2.0


def test_a_seed_says_everything() -> None:
    assert as_csv(make_log("dip", 5)) == as_csv(make_log("dip", 5))
    assert as_csv(make_log("dip", 5)) != as_csv(make_log("dip", 6))


def test_the_file_says_that_it_is_invented() -> None:
    assert as_csv(make_log("good", 1)).startswith("# invented")


def test_there_are_at_least_fifteen_kinds_that_must_be_noticed() -> None:
    assert sum(not fault.may_pass for fault in FAULTS.values()) >= 15


@pytest.mark.invented
@pytest.mark.parametrize("fault", list(FAULTS))
def test_no_faulty_cycle_is_judged_fit(fault: str) -> None:
    for seed, program in ((2026, "134"), (2027, "121" if fault in {"short hold", "dip", "wrong program"} else "134")):
        log = make_log(fault, seed, program)
        verdict = judge_cycle(read_log(as_csv(log).encode(), "log.csv").log, criteria_of(find_criteria(CRITERIA[program]))).verdict
        assert verdict != "fit" or FAULTS[fault].may_pass
    if fault == "good":
        assert verdict == "fit"


def test_the_command_writes_a_log_of_each_kind_and_judge_reads_them(tmp_path: Path) -> None:
    from fettlebook.cli.demo import demo
    from fettlebook.cli.judge import judge

    result = CliRunner().invoke(demo, [str(tmp_path), "--logs", "--seed", "3"])
    assert result.exit_code == 0, result.output
    assert len(list((tmp_path / "logs").glob("*-3.csv"))) == len(FAULTS)
    for name, status in (("good-3.csv", 0), ("short-hold-3.csv", 1)):
        judged = CliRunner().invoke(judge, [str(tmp_path / "logs" / name), "--criteria", "steam-134-b"])
        assert judged.exit_code == status, judged.output
