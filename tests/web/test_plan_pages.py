"""The pages of a day beside its timetable: chains, sets, what happened, what if, does it stand up. What they say and refuse."""

import csv
import io
import re
from dataclasses import replace

import made_up_day as made_up
import pytest
import real_day
from fastapi.testclient import TestClient

from fettlebook.errors import Mendable
from fettlebook.plan.events import ChairOut, Emergency, MachineOut, Overrun
from fettlebook.web.app import create_app
from fettlebook.web.bench import Bench
from fettlebook.web.desk import Desk

pytestmark = pytest.mark.invented
DAY = f"/day/{real_day.DAY}"


@pytest.fixture
def bench():
    bench = Bench()
    yield bench
    assert bench.close(wait_s=10)


@pytest.fixture
def real_hands(hands):
    hands.plans[real_day.DAY] = real_day.plan(6)
    return hands


@pytest.fixture
def real_desk(real_hands, settled):
    desk = Desk(real_hands, lambda: made_up.at(10, 42))
    desk.day(real_day.DAY)
    settled(lambda: desk.day(real_day.DAY).plan is not None)
    yield desk
    assert desk.close(wait_s=10)


@pytest.fixture
def client(real_desk, bench):
    return TestClient(create_app(real_desk, real_day.DAY, bench=bench), base_url="http://127.0.0.1", follow_redirects=False)


def say(client, what, **fields):
    return client.post(f"{DAY}/otherwise/{what}", data={"at": "10:43"} | fields)


def keep(client):
    """Keep what is shown; where a better plan has arrived since, that one."""
    for _ in range(3):
        mark = re.search(r'name="mark" value="(\w+)"', client.get(f"{DAY}/otherwise").text)[1]
        answer = client.post(f"{DAY}/new-plan/keep", data={"mark": mark})
        if "newer" not in answer.headers.get("location", ""):
            return answer
    pytest.fail("it never was the newest")


# --- chains and sets -----------------------------------------------------------------------------------------------


def test_a_late_visit_shows_its_chain_lit_numbered_and_in_words(client):
    page = client.get(DAY).text
    refs = re.findall(r"waits=(v_\w+)#chain-h", page)
    assert refs
    for by in ("chair", "person", "machine"):
        shown = client.get(f"{DAY}?by={by}&waits={refs[-1]}").text
        links = len(re.findall(r'<li><span class="badge"', shown))
        lit = re.findall(r"link (\d+) of the waiting chain", shown)
        assert links >= 2
        assert lit
        assert {int(n) for n in lit} <= set(range(1, links + 1))
        assert len({*lit}) <= links - shown.count("not in this view")
    assert '<details class="card" open>' in client.get(f"{DAY}?waits={refs[0]}").text
    hidden = client.get(f"{DAY}?waits=none").text
    assert "of the waiting chain" not in hidden


def test_the_sets_page_its_csv_and_its_json_say_the_same(client):
    data = client.get(f"{DAY}/sets.json").json()
    rows = list(csv.DictReader(io.StringIO(client.get(f"{DAY}/sets.csv").text)))
    page = client.get(f"{DAY}/sets").text
    assert sum(len(one["levels"]) for one in data["sets"]) == len(rows)
    for one in data["sets"]:
        assert f"{one['name']} <small>{one['owned']} owned" in page
        for row in (r for r in rows if r["set"] == one["name"]):
            stages = [k for k in row if k not in ("set", "from", "owned", "short")]
            assert sum(int(row[k]) for k in stages) == one["owned"] == int(row["owned"])
    short = next(one for one in data["sets"] if one["short"])
    assert short["id"] == "exam"
    assert page.count('class="short-sign"') == sum(one["short"] is not None for one in data["sets"])
    assert ">short " in page
    assert [r["set"] for r in rows if r["short"]] == [one["name"] for one in data["sets"] if one["short"]]


def test_a_day_whose_making_is_not_known_says_so(hands, desk, settled):
    desk.day(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).plan is not None)
    client = TestClient(create_app(desk, made_up.DAY), base_url="http://127.0.0.1")
    for page in ("sets", "otherwise", "what-if", "stands-up"):
        answer = client.get(f"{DAY}/{page}")
        assert answer.status_code == 422
        assert "not known what this timetable was made from" in answer.text


# --- it goes otherwise ----------------------------------------------------------------------------------------------


def test_a_happening_gives_a_proposal_at_once_and_nothing_changes_until_it_is_kept(client, real_desk, real_hands):
    before = real_desk.day(real_day.DAY).plan
    answer = say(client, "machine", machine="sterilizer 1", until="")
    assert (answer.status_code, answer.headers["location"]) == (303, f"{DAY}/otherwise#result")
    page = client.get(f"{DAY}/otherwise").text
    assert "Sterilizer 1 is out for the rest of the day" in page
    assert "Keep this plan" in page
    assert "Loads that move" in page
    assert real_desk.day(real_day.DAY).plan is before
    assert real_hands.noted == []
    assert keep(client).headers["location"] == DAY
    assert real_hands.noted == [MachineOut("sterilizer 1")]
    day = client.get(DAY).text
    assert "It goes otherwise than planned" in day
    assert real_desk.day(real_day.DAY).plan is not before
    later = [
        t
        for t in real_desk.day(real_day.DAY).plan.tasks
        if t.place == "sterilizer 1" and t.kind == "load" and t.start >= made_up.at(10, 43)
    ]
    assert later == []


def test_a_dropped_plan_leaves_everything_as_it_was(client, real_desk, real_hands):
    before = real_desk.day(real_day.DAY)
    say(client, "chair", chair="chair 1", until="", onto=["chair 2"])
    assert client.post(f"{DAY}/new-plan/drop").status_code == 303
    assert real_desk.day(real_day.DAY) == before
    assert real_hands.noted == []
    assert "Keep this plan" not in client.get(f"{DAY}/otherwise").text


def test_more_may_happen_and_all_of_it_is_kept_together(client, real_desk, real_hands):
    say(client, "machine", machine="sterilizer 1", until="")
    say(client, "urgent", kind="exam", minutes="30", chair="any")
    say(client, "chair", chair="chair 4", until="763")
    client.post(f"{DAY}/new-plan/stop")
    page = client.get(f"{DAY}/otherwise").text
    for words in ("Sterilizer 1 is out", "can&#39;t wait, where it costs least", "Chair 4 is out until 12:43"):
        assert words in page
    keep(client)
    assert {type(e) for e in real_hands.noted} == {MachineOut, Emergency, ChairOut}
    assert real_desk.day(real_day.DAY).kept.course.told[0].what == "sterilizer 1 is out for the rest of the day"
    back = client.post(f"{DAY}/new-plan/files")
    assert back.headers["location"] == DAY
    assert real_desk.day(real_day.DAY).kept is None
    assert real_desk.day(real_day.DAY).plan is real_desk.day(real_day.DAY).first


def test_only_what_was_shown_is_kept(client, real_hands):
    say(client, "machine", machine="washer 1", until="703")
    answer = client.post(f"{DAY}/new-plan/keep", data={"mark": "another"})
    assert answer.headers["location"] == f"{DAY}/otherwise?newer=yes#result"
    assert "A better plan arrived" in client.get(f"{DAY}/otherwise?newer=yes").text
    assert real_hands.noted == []
    assert real_hands.kept_days == {}


def test_a_book_that_refuses_keeps_nothing_and_says_why(client, real_desk, real_hands):
    before = real_desk.day(real_day.DAY).plan
    say(client, "machine", machine="washer 1", until="703")
    client.post(f"{DAY}/new-plan/stop")
    real_hands.refuses = Mendable("the disk is full", where="book.sqlite", mend="Make room.")
    answer = keep(client)
    assert answer.status_code == 422
    assert "the disk is full" in answer.text
    assert real_desk.day(real_day.DAY).plan is before
    assert "Keep this plan" in client.get(f"{DAY}/otherwise").text  # it can be tried again


def test_every_question_offers_what_the_day_has_at_that_minute(client):
    over = client.get(f"{DAY}/otherwise/over?at=09:10").text
    assert over.index("runs until") < over.index("begins ")  # those that run are offered first
    assert "sets, loaded" in client.get(f"{DAY}/otherwise/failed?at=11:30").text
    assert "There is none at this minute" in client.get(f"{DAY}/otherwise/failed?at=07:45").text
    assert 'value="Ana"' in client.get(f"{DAY}/otherwise/missing").text
    for kind in ("machine", "urgent", "chair"):
        assert 'type="radio"' in client.get(f"{DAY}/otherwise/{kind}").text


def test_a_running_visit_that_takes_longer_is_taken_as_said(client, real_hands):
    page = client.get(f"{DAY}/otherwise/over?at=09:10").text
    visit = re.search(r'name="visit" value="([^"]+)"', page)[1]
    say(client, "over", at="09:10", visit=visit, minutes="20")
    keep(client)
    assert real_hands.noted == [Overrun(visit, 20)]


@pytest.mark.parametrize(
    ("what", "fields", "said"),
    [
        ("machine", {"machine": "toaster", "until": ""}, "is none of the choices"),
        ("machine", {"until": ""}, "not answered"),
        ("machine", {"machine": "washer 1", "until": "99999"}, "is none of the choices"),
        ("over", {"visit": "<script>", "minutes": "15"}, "is none of the choices"),
        ("urgent", {"kind": "exam", "minutes": "-5", "chair": "any"}, "is none of the choices"),
        ("chair", {"chair": "chair 1", "until": "", "onto": ["chair 9"]}, "is none of the choices"),
        ("missing", {"person": "Ana", "until": "", "at": "half ten"}, "is no time"),
        ("missing", {"person": "Ana", "until": "", "at": ""}, "is no time"),
    ],
)
def test_bad_answers_are_refused_in_words(client, real_hands, what, fields, said):
    answer = say(client, what, **fields)
    assert answer.status_code == 422
    assert said in answer.text
    assert "<script>" not in answer.text.replace('<script type="module"', "")
    assert "Keep this plan" not in client.get(f"{DAY}/otherwise").text


def test_addresses_that_are_none_are_404(client):
    assert client.get(f"{DAY}/otherwise/earthquake").status_code == 404
    assert client.post(f"{DAY}/new-plan/burn").status_code == 404
    assert client.get("/day/2026-13-01/otherwise").status_code == 404
    assert client.get(f"{DAY}/stands-up?cv=7").status_code == 404
    assert client.post(f"{DAY}/stands-up/late/dance").status_code == 404


def test_keeping_where_nothing_was_proposed_says_so(client):
    answer = client.post(f"{DAY}/new-plan/keep", data={"mark": "1a"})
    assert answer.status_code == 422
    assert "there is no new plan to keep" in answer.text


def test_people_may_be_asked_to_stay_only_by_the_choices(client):
    say(client, "machine", machine="sterilizer 1", until="")
    assert client.post(f"{DAY}/new-plan/stay", data={"minutes": "600"}).status_code == 422
    assert client.post(f"{DAY}/new-plan/stay", data={"minutes": "30"}).status_code == 303


def test_files_that_changed_after_a_plan_was_kept_are_told(client, real_desk, real_hands, settled):
    say(client, "machine", machine="sterilizer 1", until="")
    keep(client)
    real_hands.kept_days[real_day.DAY] = replace(real_hands.kept_days[real_day.DAY], newer=True)
    version = real_desk.day(real_day.DAY).version
    real_desk.again(real_day.DAY)
    settled(lambda: real_desk.day(real_day.DAY).version > version)
    assert "The files say something else of this day" in client.get(DAY).text


# --- what if ---------------------------------------------------------------------------------------------------------


def test_a_trial_is_planned_beside_the_day_and_changes_nothing(client, real_desk, bench, settled):
    before = real_desk.day(real_day.DAY)
    page = client.get(f"{DAY}/what-if?set.exam=6").text
    assert "6 more Examination set" in page
    assert "Before and after" in page
    data = client.get(f"{DAY}/what-if.json?set.exam=6").json()
    late = {row["what"]: (int(row["before"]), int(row["after"])) for row in data["figures"] if row["what"].endswith("late in all")}
    assert late["minutes late in all"][1] < late["minutes late in all"][0]
    rows = list(csv.DictReader(io.StringIO(client.get(f"{DAY}/what-if.csv?set.exam=6").text)))
    assert {r["what"]: r["what if"] for r in rows} == {r["what"]: r["after"] for r in data["figures"]}
    assert real_desk.day(real_day.DAY) == before
    assert client.post(f"{DAY}/what-if/stop?set.exam=6").status_code == 303
    settled(lambda: client.get(f"{DAY}/what-if/progress?set.exam=6").json()["stage"] == "")


def test_nothing_tried_plans_nothing(client, bench):
    assert "Nothing is tried yet" in client.get(f"{DAY}/what-if").text
    assert client.get(f"{DAY}/what-if/progress").json()["stage"] == ""


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("set.exam=99", "outside -6 to 6"),
        ("washers=one", "is no whole number"),
        ("hands=30&hands_from=25:99", "is no time"),
        ("turnover=-99", "outside -10 to 10"),
        ("visit=nobody&moved=5", "no visit &#39;nobody&#39;"),
        ("visit=chair 1, 09:05&chair=chair 9", "no chair &#39;chair 9&#39;"),
        ("sterilizers=-3", "2 there"),
    ],
)
def test_a_trial_that_can_not_be_says_why(client, query, said):
    answer = client.get(f"{DAY}/what-if?{query}")
    assert answer.status_code in (200, 422)
    assert said in answer.text
    assert "Traceback" not in answer.text


# --- does it stand up -------------------------------------------------------------------------------------------------


def test_a_day_is_lived_through_on_demand_stopped_and_exported(client, settled):
    assert client.get(f"{DAY}/late.json").status_code == 422  # nothing is started by looking
    assert client.get(f"{DAY}/stands-up/progress").json() == {"stage": "", "version": "none", "trouble": False}
    assert client.post(f"{DAY}/stands-up/late/start").status_code == 303
    settled(lambda: "days lived through" in client.get(f"{DAY}/stands-up/progress").json()["stage"], 60)
    client.post(f"{DAY}/stands-up/late/stop")
    settled(lambda: client.get(f"{DAY}/stands-up/progress").json()["version"] == "late", 60)
    page = client.get(f"{DAY}/stands-up").text
    assert "stopped early" in page
    data = client.get(f"{DAY}/late.json").json()
    assert 1 <= data["samples"] < 200
    rows = list(csv.DictReader(io.StringIO(client.get(f"{DAY}/late.csv").text)))
    assert [r["visit"] for r in rows] == [v["visit"] for v in data["visits"]]
    assert all(0 <= v["more_than"]["15_min"] <= v["more_than"]["10_min"] <= v["more_than"]["5_min"] <= 1 for v in data["visits"])
    assert page.count('<rect class="bar bar-0" x=') == sum(v["more_than"]["5_min"] > 0 for v in data["visits"])


def test_what_to_buy_is_tried_and_can_be_stopped(client, settled):
    client.post(f"{DAY}/stands-up/buy/start")
    settled(lambda: client.get(f"{DAY}/stands-up/progress").json()["stage"] != "", 60)
    client.post(f"{DAY}/stands-up/buy/stop")
    settled(lambda: client.get(f"{DAY}/stands-up/progress").json()["version"] == "buy", 90)
    assert "stopped" in client.get(f"{DAY}/stands-up").text
    assert client.post(f"{DAY}/stands-up/buy/start").status_code == 303  # again after a stop


def test_a_page_opened_while_the_day_is_planned_waits_for_it(hands, desk, settled):
    hands.plans[real_day.DAY] = real_day.plan(6)
    hands.may_plan.clear()
    client = TestClient(create_app(desk, real_day.DAY), base_url="http://127.0.0.1")
    for page in ("sets", "otherwise", "what-if", "stands-up"):
        answer = client.get(f"{DAY}/{page}")
        assert answer.status_code == 503
        assert "The day is being planned" in answer.text
        assert f'data-address="{DAY}/progress"' in answer.text
    hands.may_plan.set()
    settled(lambda: desk.day(real_day.DAY).plan is not None)
    assert client.get(f"{DAY}/sets").status_code == 200


def test_a_plan_in_the_making_is_taken_as_it_is(hands, desk, settled):
    hands.plans[real_day.DAY] = real_day.plan(6)
    hands.until_enough = True
    client = TestClient(create_app(desk, real_day.DAY), base_url="http://127.0.0.1", follow_redirects=False)
    assert "Take the best so far" in client.get(DAY).text
    settled(lambda: desk.day(real_day.DAY).stage == "working out the day")
    assert client.post(f"{DAY}/enough").headers["location"] == DAY
    settled(lambda: desk.day(real_day.DAY).plan is not None)
    hands.until_enough = False
