"""The load bench, cycles, machines and failures on an invented book: pack, run with a log, release; a failed cycle to its quarantine."""

import csv
import io
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import (
    CycleJudged,
    CycleRecorded,
    FailureStep,
    LoadPacked,
    LoadRejected,
    LoadReleased,
    LoadReleasedEarly,
    MachineTest,
    OutOfService,
    Returned,
    VisitStarted,
    to_ms,
)
from fettlebook.book.stores import Store, open_book
from fettlebook.demo.heat import as_csv, make_log
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
NOW = made_up_day.at(10, 42)
OURS = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}
MACHINE = "sterilizer 1"


class Files(made_up_day.Hands):
    """The made-up day, with the rules and times that really follow from the practice file."""

    def read(self) -> Reading:
        practice = made_up_day.practice()
        rulebook = load_rulebook(practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), (), (), 1, NOW)


class Bench:
    """A client, and the book behind it."""

    def __init__(self, client: TestClient, store: Store) -> None:
        self.client, self.store = client, store

    def get(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, f"{address}: {answer.status_code} {answer.text[:3000]}"
        return answer.text

    def post(self, address: str, log: str = "", name: str = "1107.csv", **fields: object) -> str:
        """Send a form; return where it leads."""
        files = {"log": (name, log.encode(), "text/csv")} if log else {"nothing": ("", b"")}
        answer = self.client.post(address, data=fields, files=files, headers=OURS)
        assert answer.status_code == 303, f"{address}: {answer.status_code} {answer.text}"
        return str(answer.headers["location"])

    def refused(self, address: str, **fields: object) -> str:
        """Send a form that is refused; return the words, and hold that nothing was written."""
        before = self.store.head().size
        answer = self.client.post(address, data=fields, files={"nothing": ("", b"")}, headers=OURS)
        assert answer.status_code == 422, f"{answer.status_code} {answer.text[:300]}"
        assert self.store.head().size == before
        return answer.text

    def pack(self, *units: str, cycle: str = "wrapped 134", machine: str = MACHINE, **more: object) -> str:
        told = {"wrapped": "yes", "form": "solid", "indicator": "yes"} | more
        to = self.post("/loads/pack", machine=machine, cycle=cycle, unit=list(units), by="ana", **told)
        return to.rpartition("/")[2]

    def newest(self, kind: str) -> object:
        found = self.store.latest(kind)
        assert found is not None
        return found.entry.data


@pytest.fixture
def bench(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Bench]:
    desk = Desk(getattr(request, "param", Files)(), lambda: NOW)
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        door, moment = Door(store), Moment(to_ms(made_up_day.at(8, 0)), "Europe/London")
        for machine in ("sterilizer 1", "sterilizer 2"):
            spore = MachineTest(machine=machine, test="spore test", outcome="passed", control="as it should")
            door.note(spore, moment=moment, by="ana")
            for test in ("daily steam", "leak"):
                door.note(MachineTest(machine=machine, test=test, outcome="passed"), moment=moment, by="ana")
        record = Record(store, desk)
        assert record.ready(30)
        app = create_app(desk, made_up_day.DAY, record=record)
        yield Bench(TestClient(app, base_url="http://127.0.0.1", follow_redirects=False), store)
        record.close()
    assert desk.close(wait_s=10)


def good(seed: int = 3) -> str:
    return as_csv(make_log("good", seed))


def test_pack_run_with_a_log_and_release(bench: Bench) -> None:
    assert "Nothing waits for release" in bench.get("/loads")
    assert "type B" in bench.get("/loads/pack")
    assert "exam" in bench.get(f"/loads/pack?machine={MACHINE}&cycle=wrapped 134")
    load = bench.pack("exam#1", "exam#2")
    packed = bench.newest(LoadPacked.KIND)
    assert isinstance(packed, LoadPacked)
    assert [(i.unit, i.pack, i.form) for i in packed.items] == [("exam#1", f"{load}-1", "solid"), ("exam#2", f"{load}-2", "solid")]
    assert "Enter the run" in bench.get(f"/loads/{load}")
    bench.post(f"/loads/{load}/run", good(), cycle="wrapped 134", said="passed", by="ben", ended="2026-11-25T10:20")
    page = bench.get(f"/loads/{load}")
    assert "The evidence is complete" in page
    assert "Nobody has released it" in page
    bench.post(f"/loads/{load}/release", dry="yes", turned="yes", by="ana")
    released = bench.newest(LoadReleased.KIND)
    assert isinstance(released, LoadReleased)
    assert (released.load, released.dry, released.units) == (load, True, None)
    assert '<span class="word">fit</span>' in bench.get(f"/loads/{load}")
    rows = list(csv.DictReader(io.StringIO(bench.get("/loads.csv"))))
    assert [(row["load"], row["verdict"]) for row in rows] == [(load, "fit")]


def test_a_load_gives_the_labels_of_its_packs(bench: Bench) -> None:
    load = bench.pack("exam#1", "exam#2")
    assert f'href="/loads/{load}/labels.pdf"' in bench.get(f"/loads/{load}")
    found = bench.client.get(f"/loads/{load}/labels.pdf")
    assert (found.status_code, found.headers["content-type"], found.content[:5]) == (200, "application/pdf", b"%PDF-")
    assert bench.client.get(f"/loads/{load}/labels.pdf?sheet=0x8").status_code == 422
    assert bench.client.get("/loads/nothing/labels.pdf").status_code == 422


def test_the_cycle_has_its_graph_numbers_and_raw_log(bench: Bench) -> None:
    load = bench.pack("exam#1")
    bench.post(f"/loads/{load}/run", good(), cycle="wrapped 134", said="passed", by="ben")
    entry = bench.store.latest(CycleRecorded.KIND).entry.id  # type: ignore[union-attr]
    page = bench.get(f"/cycles/{entry}")
    assert "unbroken hold in the band" in page
    assert "UNCHECKED" in page, "limits from memory say so"
    assert "saturated steam" in bench.get(f"/cycles/{entry}.svg")
    assert bench.client.get(f"/cycles/{entry}.log").content == good().encode()
    rows = list(csv.DictReader(io.StringIO(bench.get(f"/cycles/{entry}.csv"))))
    assert next(row for row in rows if row["unit"] == "s" and "hold" in row["criterion"])["verdict"] == "fit"
    assert "Write this judgement" not in page, "the book says it already"


def test_a_release_needs_the_cycle_dry_packs_turned_indicators_and_a_person(bench: Bench) -> None:
    load = bench.pack("exam#1", "exam#2")
    assert "no cycle of it is in the book" in bench.refused(f"/loads/{load}/release", dry="yes", turned="yes", by="ana")
    bench.post(f"/loads/{load}/run", good(), cycle="wrapped 134", said="passed", by="ben")
    assert "not dry" in bench.refused(f"/loads/{load}/release", dry="no", turned="yes", by="ana")
    assert "indicators not turned" in bench.refused(f"/loads/{load}/release", dry="yes", turned="no", by="ana")
    assert "Who does it" in bench.refused(f"/loads/{load}/release", dry="yes", turned="yes")
    assert "none of the choices" in bench.refused(f"/loads/{load}/release", dry="yes", turned="yes", by="nobody")
    bench.post(f"/loads/{load}/release", dry="yes", turned="yes", by="ana", **{"aside exam#2": "wet"})
    rejected = bench.newest(LoadRejected.KIND)
    assert isinstance(rejected, LoadRejected)
    assert (rejected.found, rejected.units, rejected.packs) == ("wet", ("exam#2",), (f"{load}-2",))
    released = bench.newest(LoadReleased.KIND)
    assert isinstance(released, LoadReleased)
    assert released.units == ("exam#1",)
    assert "released by a person who may" not in _failing(bench, "unit:exam#1")
    assert "released by a person who may" in _failing(bench, "unit:exam#2")


def _failing(bench: Bench, subject: str) -> str:
    page = bench.get(f"/standing/{subject.replace('#', '%23')}")
    return page.partition("Conditions</h2>")[2].partition('v-fit"')[0]


def test_what_may_not_ride_is_refused_at_packing(bench: Bench) -> None:
    told = {"machine": MACHINE, "by": "ana", "form": "solid", "indicator": "yes"}
    assert "N is for unwrapped" in bench.refused("/loads/pack", **told, cycle="unwrapped 134", wrapped="yes", unit="exam#1")
    assert "no set was chosen" in bench.refused("/loads/pack", **told, cycle="wrapped 134", wrapped="yes")
    assert "no set was chosen" in bench.refused("/loads/pack", **told, cycle="wrapped 134", wrapped="yes", unit="exam#99")


def test_a_failed_cycle_to_its_quarantine_and_the_list(bench: Bench) -> None:
    load = bench.pack("exam#1", "exam#2")
    bench.post(f"/loads/{load}/run", as_csv(make_log("short hold", 5)), cycle="wrapped 134", said="passed", by="ben")
    judged = bench.newest(CycleJudged.KIND)
    assert isinstance(judged, CycleJudged)
    assert judged.verdict == "unfit"
    refused = bench.refused(f"/loads/{load}/release", dry="yes", turned="yes", by="ana")
    assert "the evidence is not complete" in refused
    assert "The second person" in bench.refused(f"/loads/{load}/release", dry="yes", turned="yes", by="ana", override="needed")
    page = bench.get(f"/failures/{MACHINE}")
    assert "a cycle failed" in page
    assert "2 x exam" in page
    entry = bench.store.latest(CycleRecorded.KIND).entry.id  # type: ignore[union-attr]
    assert "in a few words" in bench.refused(f"/failures/{MACHINE}/aside", failure=entry, by="ana").lower()
    bench.post(f"/failures/{MACHINE}/aside", failure=entry, by="ana", reason="short hold")
    bench.post(f"/failures/{MACHINE}/review", failure=entry, by="ana", reason="steam valve", outcome="done")
    step = bench.store.latest(FailureStep.KIND)
    assert step is not None
    assert (step.entry.refers_to, step.entry.by) == (entry, "ana")
    rejected = bench.newest(LoadRejected.KIND)
    assert isinstance(rejected, LoadRejected)
    assert (rejected.load, rejected.meaning) == (load, "rejected")
    assert "not open any more" in bench.refused(f"/failures/{MACHINE}/aside", failure="x", by="ana", reason="again")


def test_a_positive_spore_test_recalls_what_lies_there_and_lists_the_visit(bench: Bench) -> None:
    load = bench.pack("exam#1", "exam#2")
    bench.post(f"/loads/{load}/run", good(), cycle="wrapped 134", said="passed", by="ben", ended="2026-11-25T10:00")
    bench.post(f"/loads/{load}/release", dry="yes", turned="yes", by="ana")
    used = VisitStarted(visit="v_7", chair="chair 1", units=("exam#2",))
    Door(bench.store).note(used, moment=Moment(to_ms(NOW), "Europe/London"), by="ben")
    assert "air leaking" not in bench.get(f"/machines/{MACHINE}")
    spore = {"test": "spore test", "outcome": "failed", "control": "as it should", "by": "ana"}
    bench.post(f"/machines/{MACHINE}/test", **spore)
    page = bench.get("/failures")
    assert "positive spore test" in page
    assert "v_7, chair 1" in page
    rows = list(csv.DictReader(io.StringIO(bench.get(f"/failures/{MACHINE}.csv"))))
    assert {(row["unit"], row["visit"], row["at_hand"]) for row in rows} == {("exam#1", "", "yes"), ("exam#2", "v_7", "no")}
    failure = bench.store.latest(MachineTest.KIND).entry.id  # type: ignore[union-attr]
    assert "Other steps come first" in bench.refused(f"/failures/{MACHINE}/return", failure=failure, by="ana", reason="it hums")
    assert "skill lead" in bench.refused(f"/failures/{MACHINE}/quarantine", failure=failure, by="ben", reason="x")
    bench.post(f"/failures/{MACHINE}/out", failure=failure, by="ben", reason="positive spore test")
    assert isinstance(bench.newest(OutOfService.KIND), OutOfService)
    bench.post(f"/failures/{MACHINE}/quarantine", failure=failure, by="ana", reason="positive spore test")
    assert bench.newest(LoadRejected.KIND).meaning == "recalled"  # type: ignore[attr-defined]
    assert bench.store.latest(Returned.KIND) is None, "nothing is returned by itself"


def test_a_machines_history_charts_its_past(bench: Bench) -> None:
    for seed in range(3):
        load = bench.pack(f"exam#{seed + 1}")
        bench.post(f"/loads/{load}/run", good(seed + 10), cycle="wrapped 134", said="passed", by="ben")
    page = bench.get(f"/machines/{MACHINE}")
    assert "air-removal test and automatic control test" in page
    assert "tests of each quarter" in page, "the rulebook asks, the practice file lists none"
    assert page.count("/cycles/") == 3
    assert "hold temperature" in bench.get(f"/machines/{MACHINE}/plateau_mean_c.svg")
    rows = list(csv.DictReader(io.StringIO(bench.get(f"/machines/{MACHINE}.csv"))))
    assert len(rows) == 3
    assert all(float(row["hold_s"]) > 180 for row in rows)
    assert "sterilizer 2" in bench.get("/machines")


def test_a_test_from_its_log_and_what_no_page_has(bench: Bench) -> None:
    bench.post(f"/machines/{MACHINE}/test", good(), test="daily steam", by="ana", criteria="air-removal-134", indicator="uneven")
    tested = bench.newest(MachineTest.KIND)
    assert isinstance(tested, MachineTest)
    assert (tested.outcome, tested.judged_with is not None) == ("failed", True)
    entry = bench.store.latest(MachineTest.KIND).entry.id  # type: ignore[union-attr]
    assert "graph" in bench.get(f"/cycles/{entry}").lower()
    assert "unfit" in bench.get(f"/machines/{MACHINE}")
    for address in ("/cycles/x", "/machines/x", "/failures/x", f"/machines/{MACHINE}/x.svg"):
        assert bench.client.get(address).status_code == 404
    assert bench.client.get("/loads/x").status_code == 422
    assert bench.client.post("/loads/pack", data={"by": "ana"}).status_code == 403, "only our own pages"


def test_a_button_touched_twice_packs_one_load(bench: Bench) -> None:
    first = bench.pack("exam#1", load="2026-11-25-1")
    size = bench.store.head().size
    assert bench.pack("exam#1", load="2026-11-25-1") == first
    assert bench.store.head().size == size
    assert bench.pack("exam#2", load="2026-11-25-1") == "2026-11-25-2", "other sets are another load"


class AmericanFiles(Files):
    """The same day under the rules of the United States."""

    def read(self) -> Reading:
        practice = made_up_day.practice()
        practice = practice.model_copy(update={"practice": practice.practice.model_copy(update={"rulebooks": ("general", "us")})})
        rulebook = load_rulebook(practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), (), (), 1, NOW)


@pytest.mark.published(source="CDC, MMWR 2003;52(RR-17), VI.F: a spore test in every load with an implant", sure="secondary")
@pytest.mark.parametrize("bench", [AmericanFiles], indirect=True)
def test_an_early_release_before_a_spore_result_until_the_result_is_there(bench: Bench) -> None:
    load = bench.pack("exam#1", implant="exam#1")
    bench.post(f"/loads/{load}/run", good(), cycle="wrapped 134", said="passed", by="ben")
    assert "Early release, before the spore result" in bench.get(f"/loads/{load}")
    assert "the evidence is not complete" in bench.refused(f"/loads/{load}/release", dry="yes", turned="yes", by="ana")
    assert "Why it can" in bench.refused(f"/loads/{load}/early", dry="yes", turned="yes", by="ana")
    bench.post(f"/loads/{load}/early", dry="yes", turned="yes", by="ana", reason="broken jaw, no other set")
    early = bench.newest(LoadReleasedEarly.KIND)
    assert isinstance(early, LoadReleasedEarly)
    page = bench.get(f"/loads/{load}")
    assert "Early release" in page
    assert '<span class="word">unproven</span>' in page
    assert "Early release:" in bench.get("/loads")
    bench.post(f"/loads/{load}/spores", test="passed", control="as it should", by="ana")
    assert '<span class="word">fit</span>' in bench.get(f"/loads/{load}"), "the release stands, and now its evidence does"


def test_an_early_release_is_offered_only_where_the_spore_result_alone_is_missing(bench: Bench) -> None:
    load = bench.pack("exam#1", implant="exam#1")
    bench.post(f"/loads/{load}/run", good(), cycle="wrapped 134", said="passed", by="ben")
    assert "early release is only for" in bench.refused(f"/loads/{load}/early", dry="yes", turned="yes", by="ana", reason="x")
