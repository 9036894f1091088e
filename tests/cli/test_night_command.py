"""`fettlebook night` on one machine: each practice in a process of its own, and what goes wrong in one stays there."""

import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from fettlebook.cli import night_job
from fettlebook.cli.night import night
from fettlebook.cli.night_group import Job, read_group
from fettlebook.cli.night_job import run_apart
from fettlebook.demo import book_ics, practice_text
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented

# Stands in for the process of a job: it answers at once, except where the practice's name says otherwise.
STAND_IN = """#!{python}
import json, os, signal, sys, time
job = json.load(sys.stdin)
name = job["name"]
if name.startswith("crash"):
    os.kill(os.getpid(), signal.SIGKILL)
if name.startswith("raise"):
    raise RuntimeError("an unforeseen thing")
if name.startswith("slow"):
    time.sleep(5)
    open(os.path.join(os.path.dirname(sys.argv[0]), name + ".after"), "w").close()
    time.sleep(55)
if name.startswith("mumble"):
    print("not JSON")
else:
    time.sleep(float(os.environ.get("STAND_IN_S", "0")))
    print(json.dumps({{"name": name, "state": "planned", "line": f"by {{os.getppid()}}", "seconds": 0.0, "in_order": True,
                       "findings": [], "plan": None}}))
"""


@pytest.fixture
def stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    script = tmp_path / "stand-in"
    script.write_text(STAND_IN.format(python=sys.executable))
    script.chmod(0o755)
    monkeypatch.setattr(night_job.sys, "executable", str(script))
    monkeypatch.setattr(night_job, "_STARTING_S", 0.0)
    return script


def a_job(name: str, most_s: float = 20) -> Job:
    return Job(name, "p.toml", "b.ics", None, None, None, 0.0, 1, most_s)


def group_of(folder: Path, *names: str) -> Path:
    entries = (f'[[practices]]\nname = "{n}"\npractice = "{n}/practice.toml"\nappointments = "{n}/book.ics"\n' for n in names)
    path = folder / "group.toml"
    path.write_text("\n".join(entries))
    return path


def test_a_real_group_is_planned_and_the_practice_with_a_bad_file_is_named(tmp_path: Path) -> None:
    for name, practice in (("oak", practice_text()), ("elm", b"schema =")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "practice.toml").write_bytes(practice)
        (tmp_path / name / "book.ics").write_bytes(book_ics())
    results = tmp_path / "results"
    options = [str(group_of(tmp_path, "oak", "elm", "ash")), "-o", str(results), "--date", "2026-11-25", "--limit", "0", "--json"]
    ended = CliRunner().invoke(night, options)
    assert ended.exit_code == 1
    said = json.loads(ended.stdout)
    assert (said["practices"], said["planned"]) == (3, 1)
    states = {o["name"]: o["state"] for o in said["outcomes"]}
    assert states == {"oak": "planned", "elm": "refused", "ash": "refused"}
    oak = json.loads((results / "oak.json").read_text())
    assert oak["plan"]["day"] == "2026-11-25"
    assert len(oak["plan"]["visits"]) > 20
    elm = json.loads((results / "elm.json").read_text())
    assert elm["findings"][0]["where"].startswith("practice.toml line 1")
    assert elm["plan"] is None


def test_a_crash_an_unforeseen_error_and_a_long_search_touch_no_other_practice(stand_in: Path, tmp_path: Path) -> None:
    group = group_of(tmp_path, "oak", "crash", "raise", "mumble", "slow", "elm")
    results = tmp_path / "results"
    ended = CliRunner().invoke(night, [str(group), "-o", str(results), "--most", "3", "--at-once", "3"])
    assert ended.exit_code == 1
    got = {p.stem: json.loads(p.read_text()) for p in results.iterdir()}
    assert {n: o["state"] for n, o in got.items()} == {
        "oak": "planned",
        "crash": "stopped",
        "raise": "stopped",
        "mumble": "stopped",
        "slow": "too slow",
        "elm": "planned",
    }
    assert "signal 9" in got["crash"]["line"]
    assert "unforeseen" in got["raise"]["line"]
    assert "2 of 6 practices planned" in ended.output


def test_in_order_is_exit_status_0(stand_in: Path, tmp_path: Path) -> None:
    ended = CliRunner().invoke(night, [str(group_of(tmp_path, "oak")), "-o", str(tmp_path / "r")])
    assert ended.exit_code == 0
    assert "1 of 1 practices planned, 1 in order" in ended.output


def test_an_interrupted_night_stops_what_runs_and_keeps_what_came(stand_in: Path, tmp_path: Path) -> None:
    from fettlebook.cli.night_here import plan_here

    came = []

    def told(outcome: object) -> None:
        came.append(outcome)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        plan_here([a_job("oak"), a_job("slow 1", most_s=50), a_job("slow 2", most_s=50)], at_once=2, told=told)
    assert len(came) == 1
    assert not list(tmp_path.glob("*.after"))  # what ran was ended: it would have written this


def test_a_process_that_goes_beyond_its_time_is_ended_with_all_of_it(stand_in: Path) -> None:
    assert run_apart(a_job("slow", most_s=1)).state == "too slow"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("practices = 3", "not as [[practices]]"),
        ("", "names no practice"),
        ("[[practices", "is no TOML"),
    ],
)
def test_a_group_file_that_can_t_be_used_plans_nothing(text: str, says: str, tmp_path: Path) -> None:
    path = tmp_path / "group.toml"
    path.write_text(text)
    with pytest.raises(Mendable) as refused:
        read_group(path, day=None, limit_s=0, seed=1, most_s=1)
    assert says in str(refused.value)


def test_each_bad_entry_is_refused_by_itself(tmp_path: Path) -> None:
    path = tmp_path / "group.toml"
    good = '[[practices]]\nname = "{}"\npractice = "p.toml"\nappointments = "b.ics"\n'
    text = good.format("oak") + good.format("oak") + good.format("../elm") + good.format("ash").replace("practice =", "practise =")
    path.write_text(text + '[[practices]]\nname = "fir"\npractice = 3\nappointments = "b.ics"\n')
    jobs, refused = read_group(path, day=None, limit_s=0, seed=1, most_s=1)
    assert [j.name for j in jobs] == ["oak"]
    assert jobs[0].practice == str(tmp_path / "p.toml")
    said = [o.line for o in refused]
    assert "stands twice" in said[0]
    assert "can't name a file" in said[1]
    assert "unknown key 'practise'" in said[2]
    assert "practice is no text" in said[3]
    assert len({o.name for o in refused} | {"oak"}) == 5  # no result overwrites another
