"""My work as the server gives it: steps as data, states from entries that tablets sent, what the form about a happening knows already."""

import json
import re
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day
import real_day

from fettlebook.book.entries import Moment, Mono, new_entry
from fettlebook.book.kinds import Data, StepDone, StepStarted, to_ms
from fettlebook.book.stores import Store, open_book
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.record import Record
from fettlebook.web.training import TrainingClock

pytestmark = pytest.mark.invented
OURS = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}


HOSTILE = "</script><img src=x onerror=alert(1)>"


class Files(made_up_day.Hands):
    """The real first half of the invented day, with rules and times of its practice file; one product has a hostile name."""

    def __init__(self) -> None:
        super().__init__()
        self.plans[real_day.DAY] = real_day.plan()

    def read(self) -> Reading:
        practice = made_up_day.practice()
        products = tuple(p.model_copy(update={"name": HOSTILE}) if p.id == "wipes" else p for p in practice.products)
        practice = practice.model_copy(update={"products": products})
        rulebook = load_rulebook(practice, on=real_day.DAY)
        return Reading(practice, rulebook, running_times(practice, rulebook), (real_day.DAY,), (), 1, made_up_day.at(8))


class Work:
    """A signed-in client with the book behind it; its tablet's clock can be wrong."""

    def __init__(self, client: TestClient, store: Store, clock: TrainingClock) -> None:
        self.client, self.store, self.clock, self.n = client, store, clock, 0
        self.sign_in("ana")

    def sign_in(self, person: str) -> None:
        self.client.cookies.clear()  # another tablet
        answer = self.client.post("/sign-in", data={"person": person, "next": "/work"}, headers=OURS)
        assert answer.status_code == 303, answer.text
        self.person = person

    def steps(self) -> dict[str, dict[str, Any]]:
        answer = self.client.get("/work.json")
        assert answer.status_code == 200, answer.text
        return {step["id"]: step for step in answer.json()["steps"]}

    def one(self, step: str, place: str = "chair 1") -> dict[str, Any]:
        return next(s for s in self.steps().values() if s["step"] == step and s["place"] == place and not s["passed"])

    def send(self, data: Data, *, off: timedelta = timedelta(0), made: timedelta = timedelta(0), session: str = "s1") -> dict[str, Any]:
        """Send an entry as a tablet does whose clock is `off`; it was made so long ago."""
        who = self.client.get("/api/who").json()
        self.n += 1
        tablet = to_ms(self.clock() + off)
        at = tablet - round(made.total_seconds() * 1000)
        moment = Moment(at, "Europe/London", Mono(session=session, ms=to_ms(self.clock() - made) - 1_700_000_000_000))
        entry = new_entry(data, moment=moment, device=who["device"], n=who["highest_n"] + 1, by=who["person"])
        body = {"device": who["device"], "now": tablet, "highest_n": entry.n, "entries": [{"entry": json.loads(entry.encode())}]}
        headers = OURS | {"X-Fettlebook-Token": self.token()}
        answer = self.client.post("/api/entries", json=body, headers=headers)
        assert answer.status_code == 200, answer.text
        (result,) = answer.json()["results"]
        return dict(result)

    def token(self) -> str:
        found = re.search(r'name="token" value="(\w+)"', self.client.get("/work").text)
        return found[1] if found else ""


@pytest.fixture
def work(tmp_path: Path, settled: Any) -> Iterator[Work]:
    clock = TrainingClock(made_up_day.at(10, 42))
    desk = Desk(Files(), clock)
    desk.day(real_day.DAY)
    settled(lambda: desk.day(real_day.DAY).plan is not None)
    store = open_book(tmp_path / "book.sqlite", "quayside")
    record = Record(store, desk)
    settled(record.ready)
    app = create_app(desk, real_day.DAY, clock, record=record)
    yield Work(TestClient(app, base_url="http://127.0.0.1", follow_redirects=False), store, clock)
    record.close()
    assert desk.close(wait_s=10)
    store.close()


def data_of(step: dict[str, Any], which: str) -> dict[str, Any]:
    return dict(step[which]["data"])


def begin(work: Work, step: dict[str, Any], **how: Any) -> None:
    assert work.send(StepStarted.model_validate(data_of(step, "start")), **how)["outcome"] == "kept"


def end(work: Work, step: dict[str, Any], **how: Any) -> None:
    assert work.send(StepDone.model_validate(data_of(step, "done")), **how)["outcome"] == "kept"


def test_nobody_signed_in_comes_to_the_sign_in_page_and_back(work: Work) -> None:
    work.client.cookies.clear()
    answer = work.client.get("/work")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=/work"
    assert work.client.get("/work.json").status_code in (303, 401)


def test_the_page_carries_the_steps_so_that_the_tablet_can_go_on_without_network(work: Work) -> None:
    page = work.client.get("/work")
    held = re.search(r'<script type="application/json" id="steps">(.*?)</script>', page.text, re.DOTALL)
    assert held
    data = json.loads(held[1])
    assert data["person"] == "ana"
    assert {s["id"] for s in data["steps"]} == set(work.steps())
    step = next(s for s in data["steps"] if s["step"] == "between.flush" and not s["passed"])
    assert step["start"] == {"kind": "step.started", "data": step["start"]["data"]}
    assert StepStarted.model_validate(step["start"]["data"]).outlets
    assert StepDone.model_validate(step["done"]["data"]).outcome == "done"
    assert '<script type="application/json" id="words">' in page.text
    assert len(page.content) < 600_000


def test_a_hostile_name_stays_a_text(work: Work) -> None:
    page = work.client.get("/work").text
    assert HOSTILE not in page
    assert "<img" not in page
    assert any((s.get("product") or {}).get("name") == HOSTILE for s in work.steps().values())


def test_a_started_step_runs_on_the_servers_record_for_every_tablet(work: Work) -> None:
    step = work.one("between.flush")
    begin(work, step, off=timedelta(days=-3))  # whose own clock is three days behind
    seen = work.steps()[step["id"]]
    assert seen["state"] == "running"
    assert abs(seen["started_ms"] - to_ms(work.clock())) < 5_000
    assert seen["not_before_ms"] == seen["started_ms"] + 1000 * seen["length_s"]
    work.sign_in("ben")  # another person at another tablet
    other = work.steps()[step["id"]]
    assert (other["state"], other["started_ms"], other["by"]) == ("running", seen["started_ms"], "Ana")


def test_done_too_early_is_kept_and_shown_as_not_in_order(work: Work) -> None:
    step = work.one("between.flush")
    begin(work, step)
    end(work, step)
    seen = work.steps()[step["id"]]
    assert seen["state"] == "problem"
    assert re.search(r"ran 0:0\d, must run 0:30", seen["why"])
    begin(work, step)
    assert work.steps()[step["id"]]["state"] == "running"
    work.clock.forward(1)
    end(work, step)
    assert work.steps()[step["id"]]["state"] == "done"


def test_a_reload_in_between_proves_the_length_by_the_servers_receipts(work: Work) -> None:
    step = work.one("between.flush")
    begin(work, step, session="before the reload")
    work.clock.forward(1)
    end(work, step, session="after it")
    seen = work.steps()[step["id"]]
    assert (seen["state"], seen["why"]) == ("done", "")


def test_entries_that_waited_without_network_are_judged_by_what_they_claim(work: Work) -> None:
    step = work.one("between.flush")
    begin(work, step, made=timedelta(minutes=9))
    end(work, step, made=timedelta(minutes=8))
    assert work.steps()[step["id"]]["state"] == "done"


def test_whether_anything_changed_is_told_in_few_bytes(work: Work) -> None:
    before = work.client.get("/work-mark").json()
    begin(work, work.one("between.clear"))
    after = work.client.get("/work-mark").json()
    assert before["mark"] != after["mark"]
    assert abs(after["now_ms"] - to_ms(work.clock())) < 5_000


def test_the_form_of_an_overrun_has_the_visit_of_this_chair_and_one_touch_plans_again(work: Work) -> None:
    day = f"/day/{real_day.DAY}"
    running = next(v for v in real_day.plan().visits if v.chair == "chair 3" and v.start is not None)
    assert running.start is not None
    at = running.start + timedelta(minutes=5)
    page = work.client.get(f"{day}/otherwise/over?chair=chair%203&at={at:%H:%M}").text
    chosen = re.findall(r'name="visit" value="([^"]+)"[^>]* checked', page)
    assert len(chosen) == 1
    assert chosen[0].startswith("chair 3")
    failed = work.client.get(f"{day}/otherwise/failed?at=11:30").text
    assert len(re.findall(r'name="machine" value="[^"]+"[^>]* checked', failed)) == 1
    assert f'href="{day}/otherwise/over"' in work.client.get(day).text


def test_after_keeping_a_new_plan_the_steps_follow_it(work: Work) -> None:
    day = f"/day/{real_day.DAY}"
    before = {key: step["begins_ms"] for key, step in work.steps().items() if step["subject"].startswith("chair:")}
    token = {"token": work.token()}
    page = work.client.get(f"{day}/otherwise/over?chair=chair%201").text
    (visit,) = re.findall(r'name="visit" value="([^"]+)"[^>]* checked', page)
    sent = {"visit": visit, "minutes": "30", "at": "10:43"} | token
    assert work.client.post(f"{day}/otherwise/over", data=sent, headers=OURS).status_code == 303
    for _ in range(3):
        mark = re.search(r'name="mark" value="(\w+)"', work.client.get(f"{day}/otherwise").text)
        assert mark
        answer = work.client.post(f"{day}/new-plan/keep", data={"mark": mark[1]} | token, headers=OURS)
        if "newer" not in answer.headers["location"]:
            break
    after = {key: step["begins_ms"] for key, step in work.steps().items() if step["subject"].startswith("chair:")}
    moved = [key for key in before.keys() & after.keys() if after[key] > before[key]]
    assert any(key.startswith(f"{visit.split(',')[0]}/") for key in moved)
    assert len(before.keys() & after.keys()) > len(before) * 0.8  # steps keep their ids: whoever is at one stays at it


def test_the_training_clock_goes_forward_only_where_it_was_set_by_hand(work: Work) -> None:
    was = work.clock()
    answer = work.client.post("/training-clock", data={"minutes": "10", "token": work.token()}, headers=OURS)
    assert answer.status_code == 303
    assert work.clock() - was >= timedelta(minutes=10)
    assert work.client.post("/training-clock", data={"minutes": "-5", "token": work.token()}, headers=OURS).status_code == 404
