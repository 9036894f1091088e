"""A group's night over two machines on one PostgreSQL: nothing lost, nothing done twice, no file's content in the database."""

import json
import os
import signal
import subprocess
import sys
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text

from fettlebook.cli.night_group import Job, Outcome
from fettlebook.cli.night_queue import plan_over_machines
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
HEARTBEAT_S = 0.5
# A machine that lends itself; the process of each job is a stand-in that answers after a while, or as its name says.
LENDER = f"""
import sys
from fettlebook.cli.night_queue import lend
sys.executable = sys.argv[2]
lend(sys.argv[1], at_once=1, name=sys.argv[3], heartbeat_s={HEARTBEAT_S})
"""
STAND_IN = """#!{python}
import json, os, signal, sys, time
job = json.load(sys.stdin)
if job["name"].startswith("crash"):
    os.kill(os.getpid(), signal.SIGKILL)
open(job["practice"], "a").write(f"{{os.getppid()}}\\n")
time.sleep(20 if job["name"].startswith("slow") else float(job["limit_s"]))
print(json.dumps({{"name": job["name"], "state": "planned", "line": str(os.getppid()), "seconds": 0.0, "in_order": True,
                   "findings": [], "plan": {{"day": "2026-11-25"}}}}))
"""


@pytest.fixture
def url(owner_url: str) -> Iterator[str]:
    """Give a database of its own: the queue is not the book's."""
    server = create_engine(owner_url, isolation_level="AUTOCOMMIT")
    name = f"night_{uuid.uuid4().hex[:12]}"
    with server.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield make_url(owner_url).set(database=name).render_as_string(hide_password=False)
    with server.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    server.dispose()


@pytest.fixture
def start(url: str, tmp_path: Path) -> Iterator[Callable[[], subprocess.Popen[bytes]]]:
    script = tmp_path / "stand-in"
    script.write_text(STAND_IN.format(python=sys.executable))
    script.chmod(0o755)
    began: list[subprocess.Popen[bytes]] = []

    def one() -> subprocess.Popen[bytes]:
        name = f"machine {len(began)}"
        began.append(subprocess.Popen([sys.executable, "-c", LENDER, url, str(script), name]))
        return began[-1]

    yield one
    for process in began:
        process.send_signal(signal.SIGKILL)
        process.wait()


def jobs_of(tmp_path: Path, *names: str, takes_s: float = 0.3, most_s: float = 30) -> list[Job]:
    return [Job(n, str(tmp_path / f"{n}.took"), "b.ics", None, None, None, takes_s, 1, most_s) for n in names]


def test_two_machines_share_the_practices_and_one_that_crashes_touches_no_other(
    url: str, start: Callable[[], subprocess.Popen[bytes]], tmp_path: Path
) -> None:
    machines = [start(), start()]
    names = [f"practice {k}" for k in range(8)]
    told: list[Outcome] = []
    found = plan_over_machines(url, jobs_of(tmp_path, *names, "crash"), wait_s=60, told=told.append, heartbeat_s=HEARTBEAT_S)
    assert [o.name for o in found] == [*names, "crash"]
    assert {o.state for o in found[:-1]} == {"planned"}
    assert found[-1].state == "stopped"
    assert sorted(o.name for o in told) == sorted([*names, "crash"])
    by = Counter(int(o.line) for o in found[:-1])
    assert set(by) == {m.pid for m in machines}  # both took some
    for name in names:
        assert len((tmp_path / f"{name}.took").read_text().splitlines()) == 1  # each was done once
    engine = create_engine(url)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM fettlebook_night")).scalar() == 0
        kept = connection.execute(text("SELECT args FROM procrastinate_jobs")).scalars().all()
    engine.dispose()
    assert {key for args in kept for key in args["job"]} == set(jobs_of(tmp_path, "x")[0].as_data())


def test_what_a_vanished_machine_had_is_given_to_another(url: str, start: Callable[[], subprocess.Popen[bytes]], tmp_path: Path) -> None:
    first = start()
    job = jobs_of(tmp_path, "practice", takes_s=4)
    took = Path(job[0].practice)

    def kill_and_start(_: object = None) -> None:
        for _ in range(200):
            if took.exists():
                break
            time.sleep(0.1)
        os.kill(first.pid, signal.SIGKILL)
        start()

    from threading import Thread

    other = Thread(target=kill_and_start)
    other.start()
    found = plan_over_machines(url, job, wait_s=120, told=lambda _: None, heartbeat_s=HEARTBEAT_S)
    other.join()
    assert found[0].state == "planned"
    assert int(found[0].line) != first.pid
    assert len(took.read_text().splitlines()) == 2


def test_what_nobody_takes_is_taken_back(url: str, tmp_path: Path) -> None:
    found = plan_over_machines(url, jobs_of(tmp_path, "a", "b"), wait_s=0.5, told=lambda _: None, heartbeat_s=HEARTBEAT_S)
    assert [o.state for o in found] == ["not taken", "not taken"]
    engine = create_engine(url)
    with engine.connect() as connection:
        states = connection.execute(text("SELECT DISTINCT status::text FROM procrastinate_jobs")).scalars().all()
    engine.dispose()
    assert states == ["cancelled"]


def test_a_queue_that_can_t_be_reached_is_said_in_words(tmp_path: Path) -> None:
    for address, says in (("postgresql://nobody@127.0.0.1:1/none", "can't be used"), ("mysql://x", "no address of a database")):
        with pytest.raises(Mendable) as refused:
            plan_over_machines(address, jobs_of(tmp_path, "a"), wait_s=1, told=lambda _: None)
        assert says in str(refused.value)


def test_the_command_hands_over_and_keeps_the_results(url: str, start: Callable[[], subprocess.Popen[bytes]], tmp_path: Path) -> None:
    from click.testing import CliRunner

    from fettlebook.cli.night import night

    start()
    group = tmp_path / "group.toml"
    group.write_text('[[practices]]\nname = "oak"\npractice = "oak.toml"\nappointments = "b.ics"\n')
    ended = CliRunner().invoke(night, [str(group), "-o", str(tmp_path / "results"), "--queue", url, "--limit", "0", "--wait", "2"])
    assert ended.exit_code == 0, ended.output
    assert json.loads((tmp_path / "results" / "oak.json").read_text())["plan"] == {"day": "2026-11-25"}


def test_standings_go_by_the_same_queue_and_a_book_that_can_t_be_read_keeps_no_practice_from_its_plan(
    url: str, tmp_path: Path, owner_url: str, new_role: Callable[[], str]
) -> None:
    from click.testing import CliRunner

    from fettlebook.book.entries import Moment
    from fettlebook.book.kinds import PracticeFileVersion
    from fettlebook.book.stores import admit, open_group_book
    from fettlebook.cli.night import night
    from fettlebook.demo import book_ics, practice_text

    role = new_role()
    admit(owner_url, role=make_url(role).username or "", practice="quayside")
    with open_group_book(role, "quayside", durable=False) as store:
        store.note(PracticeFileVersion.of(practice_text().decode()), moment=Moment(1_795_600_000_000, "Europe/London"))
    (tmp_path / "practice.toml").write_bytes(practice_text())
    (tmp_path / "book.ics").write_bytes(book_ics())
    entry = '[[practices]]\nname = "{}"\npractice = "practice.toml"\nappointments = "book.ics"\nbook = "{}"\n'
    group = tmp_path / "group.toml"
    group.write_text(entry.format("oak", role) + entry.format("lost", "postgresql://nobody@127.0.0.1:1/none"))
    lender = f"import sys; from fettlebook.cli.night_queue import lend; lend(sys.argv[1], at_once=2, name='one', heartbeat_s={HEARTBEAT_S})"
    machine = subprocess.Popen([sys.executable, "-c", lender, url], env=os.environ | {"FETTLEBOOK_THROW_AWAY_DATABASE": "1"})
    try:
        run = [str(group), "-o", str(tmp_path / "r"), "--queue", url, "--limit", "1", "--date", "2026-11-25", "--standings", "--wait", "3"]
        CliRunner().invoke(night, run)
    finally:
        machine.kill()
        machine.wait()
    told = {name: json.loads((tmp_path / f"r/standings/{name}.json").read_text()) for name in ("oak", "lost")}
    assert told["oak"]["state"] == "looked", told["oak"]
    assert told["oak"]["standing"]["entries"] == 1
    assert told["lost"]["state"] == "refused"
    assert "does not answer" in told["lost"]["line"]
    assert json.loads((tmp_path / "r/oak.json").read_text())["state"] == "planned"
    assert "does not answer" in json.loads((tmp_path / "r/lost.json").read_text())["line"]


def test_one_command_admits_each_practice_s_role_to_its_own_book_alone(owner_url: str, new_role: Callable[[], str], tmp_path: Path) -> None:
    from click.testing import CliRunner

    from fettlebook.book.stores import open_group_book
    from fettlebook.cli.group import group
    from fettlebook.demo import practice_text

    roles = {name: new_role() for name in ("ashdown", "birchley")}
    text = ""
    for name, role in roles.items():
        (tmp_path / f"{name}.toml").write_bytes(practice_text().replace(b'id = "quayside"', f'id = "{name}"'.encode(), 1))
        text += f'[[practices]]\nname = "{name}"\npractice = "{name}.toml"\nappointments = "b.ics"\nbook = "{role}"\n'
    (tmp_path / "group.toml").write_text(text)
    ended = CliRunner().invoke(group, [str(tmp_path / "group.toml"), "--admit", owner_url])
    assert ended.exit_code == 0, ended.output
    for name, role in roles.items():
        open_group_book(role, name, durable=False).close()
        other = next(one for one in roles if one != name)
        with pytest.raises(Mendable, match="not admitted"):
            open_group_book(role, other, durable=False)
