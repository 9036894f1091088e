"""Every command that the pages show runs on the invented practice, and ends in order or with a finding of the job: status 0 or 1."""

import re
import shlex
import shutil
import tomllib
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from fettlebook.book.backup import back_up
from fettlebook.book.keyfile import make_key
from fettlebook.book.kinds import LoadPacked, VisitEnded, to_ms
from fettlebook.book.signing import sign_book
from fettlebook.book.stores import open_book
from fettlebook.cli import _fettlebook
from fettlebook.demo import book_ics, practice_text
from fettlebook.demo.heat import FAULTS, as_csv, make_log
from fettlebook.demo.lived import live_into
from fettlebook.errors import Mendable

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
KNOWN = tomllib.loads((Path(__file__).parent / "docs_commands.toml").read_text("utf-8"))
AT = datetime(2026, 11, 25, 10, 42, tzinfo=ZoneInfo("Europe/London"))
COUNTS = """chair,sampled_on,colonies,volume_ml,days_since_intensive
chair 1,2026-03-02,12,1,20
chair 2,2026-03-02,30,1,20
chair 1,2026-06-01,25,1,21
chair 2,2026-06-01,61,1,21
"""
# A failed cycle, a failed test and a high count, so that there is something to look back on.
NOTE = 'fettlebook note {} --book "{{book}}" --by ana '
BAD_NEWS = (
    NOTE.format("cycle.recorded") + '"machine={machine}" "cycle=wrapped 134" load={load} said=failed',
    NOTE.format("machine.test") + '"machine=sterilizer 1" "test=daily steam" outcome=failed',
    NOTE.format("sample.taken") + '"chair=chair 2" outlets=turbine sample=W90001 "what=water count"',
    NOTE.format("sample.result")
    + '"chair=chair 2" outlets=turbine sample=W90001 "quantity=water count" value=900 value_unit=CFU/mL colonies=900 plated_nl=1000000',
)
pytestmark = pytest.mark.invented


def commands(text: str) -> list[str]:
    """Return the commands of a page's code blocks as they would be typed: without what the page says beside them."""
    found: list[str] = []
    for block in re.findall(r"^```\w*\n(.*?)^```", text, re.M | re.S):
        for line in re.sub(r" *\\\n\s*", " ", block).splitlines():
            if line.startswith("fettlebook ") and not line.startswith("fettlebook is open"):  # what it says is no command
                found.append(re.split(r"\s{2,}|\s+#\s", line)[0].strip())
    return found


SHOWN = {page.relative_to(ROOT).as_posix(): commands(page.read_text("utf-8")) for page in PAGES}


def longest(command: str, table: str) -> str | None:
    fits = [begin for begin in KNOWN[table] if command == begin or command.startswith(f"{begin} ")]
    return max(fits, key=len, default=None)


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented practice with a book of six weeks, and what its pages speak of."""
    folder = tmp_path_factory.mktemp("practice")
    (folder / "practice.toml").write_bytes(practice_text())
    (folder / "book.ics").write_bytes(book_ics())
    (folder / "logs").mkdir()
    for name in FAULTS:
        (folder / "logs" / f"{name.replace(',', '').replace(' ', '-')}.csv").write_text(as_csv(make_log(name, 1)))
    with open_book(folder / "book.sqlite", "quayside") as store:
        live_into(store, practice_text(), AT.date() - timedelta(days=21), to_ms(AT))
        key = make_key(folder / "book.sqlite.key", "quayside")
        (folder / "printed.txt").write_text(sign_book(store, folder / "book.sqlite.key"))
        (folder / "printed-key.txt").write_text(f"{key.verifier}\n")
        load = store.latest(LoadPacked.KIND)
    assert load is not None
    assert isinstance(load.entry.data, LoadPacked)
    for place in ("sterilizer 1", "laboratory"):
        (folder / "arrivals" / place).mkdir(parents=True)
    (folder / "counts.csv").write_text(COUNTS)
    for bad in BAD_NEWS:
        ran = run(bad.format(book=folder / "book.sqlite", load=load.entry.data.load, machine=load.entry.data.machine))
        assert ran.status == 0, ran
    return folder


@dataclass(frozen=True)
class Ran:
    """What came of one command."""

    command: str
    status: int
    said: str


def run(command: str) -> Ran:
    """Run a command as the program would, in this process: its imports are made once."""
    more = longest(command, "shortened")
    typed = shlex.split(command)[1:] + (KNOWN["shortened"][more] if more is not None else [])
    done = CliRunner().invoke(_fettlebook, typed)
    said = done.output
    if isinstance(done.exception, Mendable):
        return Ran(command, 2, said + "; ".join(str(one) for one in done.exception.findings))
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        return Ran(command, -1, f"{said}{done.exception!r}")
    return Ran(command, done.exit_code, said)


@pytest.fixture(scope="module")
def looked_up(practice: Path) -> dict[str, str]:
    """What the invented book calls a load, a visit, and where its backup lies."""
    with open_book(practice / "book.sqlite", "quayside", write=False) as store:
        load, visit = store.latest(LoadPacked.KIND), store.latest(VisitEnded.KIND)
    assert load is not None
    assert visit is not None
    assert isinstance(load.entry.data, LoadPacked)
    assert isinstance(visit.entry.data, VisitEnded)
    backup = back_up(practice / "book.sqlite", practice / "earlier", now=to_ms(AT)).folder
    return {"{load}": load.entry.data.load, "{visit}": f"visit:{visit.entry.data.visit}", "{backup}": f"earlier/{backup.name}"}


def prepared(command: str, looked_up: dict[str, str]) -> str:
    """Return a command with what stands for the names that its page uses; of one that is shown shortened (...), its help."""
    if "..." in command:
        return " ".join(re.match(r"fettlebook( [a-z][a-z-]*)*(?= |$)", command)[0].split()) + " --help"  # type: ignore[index]
    if several := re.match(r"(fettlebook [a-z -]+),[a-z ,-]*$", command):  # a line that names several commands in one
        return f"{several[1]} --help"
    command = KNOWN["instead"].get(command, command)
    for name, stands in sorted(KNOWN["stands_for"].items(), key=lambda pair: -len(pair[0])):
        command = re.sub(rf"(?<![\w/]){re.escape(name)}(?![\w/])", looked_up.get(stands, stands), command)
    return command


@pytest.mark.parametrize("page", [page for page, shown in SHOWN.items() if shown])
def test_every_command_that_a_page_shows_runs(
    page: str, practice: Path, looked_up: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "practice"
    shutil.copytree(practice, folder)
    monkeypatch.chdir(folder)
    failed: list[str] = []
    for shown in SHOWN[page]:
        if longest(shown, "not_run") is not None:
            continue
        for before in KNOWN["first"].get(longest(shown, "first") or "", []):
            ready = run(prepared(before, looked_up))
            assert ready.status in {0, 1}, ready
        typed = prepared(shown, looked_up)
        ran = run(typed)
        allowed = KNOWN["status"].get(shown, [0, 1])
        if ran.status not in allowed:
            failed.append(f"{shown}\n    ran: {typed}\n    status {ran.status}: {ran.said[-600:]}")
    assert not failed, "\n" + "\n".join(failed)


@pytest.mark.parametrize("table", ["not_run", "shortened", "status", "first", "instead"])
def test_what_is_known_of_commands_is_of_commands_that_a_page_shows(table: str) -> None:
    shown = [one for page in SHOWN.values() for one in page]
    for begin in KNOWN[table]:
        assert any(one == begin or one.startswith(f"{begin} ") for one in shown), f"{begin}: no page shows it any more"


def test_each_command_that_is_not_run_has_its_reason() -> None:
    assert all(len(reason) > 20 for reason in KNOWN["not_run"].values())
    ran = [one for page in SHOWN.values() for one in page if longest(one, "not_run") is None]
    assert len(ran) > 100, "the pages' commands are not found any more"
