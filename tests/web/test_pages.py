"""The pages as a browser gets them: what they say, what they refuse, and what never leaves them."""

import hashlib
import json
import re
import tomllib
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import made_up_day as made_up
import pytest

import fettlebook.web
from fettlebook.errors import Mendable
from fettlebook.exchange.paper.typeset import FONTS
from fettlebook.web import board, wording

pytestmark = pytest.mark.invented
DAY = f"/day/{made_up.DAY}"
PAGES = [DAY, f"{DAY}?by=person", f"{DAY}?by=machine", "/times/chair%202", "/rules", "/day/2026-11-24"]


class Tags(HTMLParser):
    """Every start tag with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


def page(client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_the_first_address_leads_to_the_day_that_was_asked_for(client):
    answer = client.get("/")
    assert (answer.status_code, answer.headers["location"]) == (303, DAY)


def test_the_verdict_stands_on_top_with_shape_and_word(client):
    text = page(client, DAY)
    assert text.index("Verdict of the day") < text.index("The day by chair")
    assert "1 visit starts late" in text
    assert '<p class="word">Late</p>' in text
    assert '<svg class="shape"' in text


def test_every_block_has_a_link_and_each_link_leads_to_its_details(client):
    for by in ("chair", "person", "machine"):
        tags = Tags(page(client, f"{DAY}?by={by}")).found
        ids = [attrs["id"] for _, attrs in tags if "id" in attrs]
        assert len(ids) == len(set(ids))
        targets = {attrs["href"][1:] for tag, attrs in tags if tag == "a" and (attrs.get("href") or "").startswith("#")}
        details = {attrs["id"] for tag, attrs in tags if tag == "article"}
        assert details
        assert details <= targets <= set(ids)


def test_the_present_moment_stands_as_text_and_as_a_line_of_the_right_band(client):
    text = page(client, DAY)
    assert 'now <time id="clock">10:42</time>' in text
    lines = [attrs for tag, attrs in Tags(text).found if tag == "div" and (attrs.get("class") or "").startswith("now ")]
    assert [("hidden" in attrs, attrs["class"]) for attrs in lines if "hidden" not in attrs] == [(False, "now s12")]


def test_another_day_has_no_line_of_the_present(client, settled, desk):
    client.get("/day/2026-11-24")
    settled(lambda: any(key.isoformat() == "2026-11-24" and desk.day(key).plan for key in desk.reading.booked))
    assert 'class="now' not in page(client, "/day/2026-11-24")


def test_neighbours_are_the_booked_days(client):
    text = page(client, DAY)
    assert 'rel="prev" href="/day/2026-11-24?by=chair"' in text
    assert 'rel="next" href="/day/2026-11-26?by=chair"' in text


def test_what_does_not_go_as_booked_is_listed_with_what_mends_it(client):
    text = page(client, DAY)
    assert "4 min late" in text
    assert "Own 3 sets, or book the third root canal after 15:20." in text
    assert "book.ics line 214" in text
    assert "Add a calendar rule for it." in text


def test_an_invented_practice_says_so_on_every_page_with_the_caution(client):
    for address in PAGES:
        text = client.get(address).text
        assert "invented data" in text
        assert "Decision support for trained staff." in text
        assert "releases nothing by itself" in text


def test_a_running_time_shows_what_set_it_by_how_much_and_what_is_unchecked_or_unmeasured(client):
    text = page(client, "/times/chair%202")
    assert "1 min 16 s" in text
    assert "the line" in text
    assert "16 s more than the label asks" in text
    assert "flow not measured: motor" in text
    assert "unchecked" in text
    assert "A safe bound holds for each segment." in text
    assert "Gloves and eye protection." in text
    assert "No product is chosen. Set in_use.line_intensive." in text


def test_the_rules_show_source_layer_and_what_they_replace(client):
    text = page(client, "/rules")
    assert "A source &lt;b&gt;that was read&lt;/b&gt;" in text
    assert "instead of 20 s" in text
    assert "CFU/mL" in text


def test_text_from_the_files_is_never_run(client, desk, hands, settled):
    evil = "<script>alert(1)</script>"
    bad = made_up.practice().model_dump(by_alias=True)
    bad["practice"]["name"] = evil
    bad["people"] = tuple({**p, "name": f'"><img src=x onerror=alert(1)>{n}'} for n, p in enumerate(bad["people"]))
    bad["visit_kinds"] = tuple({**k, "name": evil} for k in bad["visit_kinds"])
    hostile = type(made_up.practice()).model_validate(bad)
    hands.reading = replace(made_up.reading("evil"), practice=hostile)
    desk.again(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).version == 2)
    for address in PAGES[:5]:
        tags = Tags(page(client, address)).found
        assert not [t for t in tags if t[0] == "img"]
        assert [attrs.get("src") for tag, attrs in tags if tag == "script"] in ([], ["/static/page.js"])
    assert client.get(f"{DAY}/sheet.pdf").content.startswith(b"%PDF")


@pytest.mark.parametrize("address", PAGES)
def test_no_page_carries_style_or_script_of_its_own(client, address):
    answer = client.get(address)
    assert answer.headers["content-security-policy"].startswith("default-src 'self'")
    assert "unsafe" not in answer.headers["content-security-policy"]
    for tag, attrs in Tags(answer.text).found:
        assert tag != "style"
        assert "style" not in attrs
        assert not [name for name in attrs if name.startswith("on")]
        assert tag != "script" or attrs.get("src")


@pytest.mark.parametrize(
    "address",
    [
        "/day/2026-13-45",
        "/day/yesterday",
        "/day/1026-01-01",
        "/day/20261125",
        "/times/chair%209",
        "/nothing",
        f"{DAY}?by=moon",
        "/static/../app.py",
    ],
)
def test_what_is_not_there_is_a_plain_404(client, address):
    answer = client.get(address)
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/plain")


def test_a_day_that_can_not_be_planned_is_a_422_with_what_where_and_mend(client, desk, hands, settled):
    hands.plans[date(2026, 11, 26)] = Mendable("no shift <i>covers</i> the day", where="people", mend="Add a shift.")
    client.get("/day/2026-11-26")
    settled(lambda: bool(desk.day(date(2026, 11, 26)).trouble))
    for address in ("/day/2026-11-26", "/day/2026-11-26/plan.csv", "/day/2026-11-26/sheet.pdf"):
        answer = client.get(address)
        assert answer.status_code == 422
        assert "no shift &lt;i&gt;covers&lt;/i&gt; the day" in answer.text
        assert "Add a shift." in answer.text
        assert "people" in answer.text


def test_a_day_not_yet_planned_says_what_is_going_on_and_its_files_ask_to_wait(client, hands, desk):
    hands.may_plan.clear()
    assert "The day is being planned" in client.get("/day/2026-11-30").text
    answer = client.get("/day/2026-11-30/plan.json")
    assert answer.status_code == 503
    assert answer.headers["retry-after"]
    assert client.get("/day/2026-11-30/progress").json()["stage"]


def test_a_fault_is_a_500_with_a_number_and_no_traceback(client, monkeypatch, caplog):
    def breaks(*_):
        raise RuntimeError("secret text of the fault")

    monkeypatch.setattr(board, "lay_out", breaks)
    answer = client.get(DAY)
    assert answer.status_code == 500
    number = re.search(r"number ([0-9a-f]{8})", answer.text)
    assert number
    assert number[1] in caplog.text
    for hidden in ("Traceback", "RuntimeError", "secret text", "lay_out"):
        assert hidden not in answer.text
    assert "secret text" not in caplog.text


def test_a_fault_while_drawing_the_fault_page_is_still_a_plain_500(client, monkeypatch):
    monkeypatch.setattr(wording, "clock", lambda *_: 1 / 0)
    answer = client.get(DAY)
    assert answer.status_code == 500
    assert "number" in answer.text
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "192.0.2.7", ""])
def test_a_foreign_name_is_refused(client, host):
    assert client.get(DAY, headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1:8321", "localhost:8321", "[::1]:8321", "127.0.0.1"])
def test_this_machines_names_are_served(client, host):
    assert client.get("/health", headers={"host": host}).status_code == 200


def test_an_address_hidden_in_another_page_does_not_make_the_planner_work(client):
    elsewhere = {"sec-fetch-site": "cross-site"}
    assert client.get(DAY, headers={**elsewhere, "sec-fetch-mode": "no-cors"}).status_code == 403
    assert client.get(DAY, headers={**elsewhere, "sec-fetch-mode": "navigate"}).status_code == 200


def test_only_our_own_button_plans_again(client):
    again = f"{DAY}/again"
    assert client.post(again, headers={"origin": "http://evil.example"}).status_code == 403
    assert client.post(again, headers={"origin": "http://127.0.0.1:9"}).status_code == 403
    assert client.post(again, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    answer = client.post(again, headers={"origin": "http://127.0.0.1", "sec-fetch-site": "same-origin"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{DAY}?by=chair")
    assert client.get(again).status_code == 405


def test_the_health_page_names_the_versions(client):
    assert set(client.get("/health").json()) == {"status", "version", "sqlite"}


def test_the_csv_has_a_line_for_each_task_and_no_cell_that_a_spreadsheet_runs(client, desk, hands, settled):
    plan = made_up.plan()
    hands.plans[made_up.DAY] = replace(plan, tasks=(replace(plan.tasks[0], what="=HYPERLINK(1)"), *plan.tasks[1:]))
    desk.again(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).version == 2)
    answer = client.get(f"{DAY}/plan.csv")
    lines = answer.text.splitlines()
    assert len(lines) == 1 + len(plan.tasks)
    assert lines[0].startswith("from,to,minutes,where,what")
    assert ",'=HYPERLINK(1)," in answer.text
    assert answer.headers["content-disposition"] == 'attachment; filename="day-2026-11-25.csv"'


def test_the_json_holds_the_whole_plan_with_moments_in_iso_8601(client):
    data = client.get(f"{DAY}/plan.json").json()
    plan = made_up.plan()
    assert data["verdict"] == "late"
    assert len(data["tasks"]) == len(plan.tasks)
    assert data["tasks"][0]["start"] == "2026-11-25T07:40:00+00:00"
    assert json.dumps(data)


def test_nothing_that_others_made_lies_among_the_pages_own_files(client):
    own = Path(str(files(fettlebook.web))) / "static"
    assert [p.name for p in own.iterdir() if p.suffix in (".ttf", ".woff2") or p.name.endswith(".min.js")] == []
    assert client.get("/fonts/AtkinsonHyperlegibleNext-Regular.ttf").status_code == 200


@pytest.mark.parametrize(
    "folder", [FONTS, Path(__file__).parents[1] / "journeys" / "vendor", Path(str(files(fettlebook.web))) / "static" / "vendor"]
)
def test_what_others_made_is_listed_with_licence_and_is_as_it_came(folder):
    listed = tomllib.loads((folder / "vendored.toml").read_text())["file"]
    for item in listed:
        assert hashlib.sha256((folder / item["name"]).read_bytes()).hexdigest() == item["sha256"], item["name"]
        assert (folder / item["licence_file"]).stat().st_size > 500
        assert item["version"]
        assert item["licence"]
        assert item["of"]
    named = {item["name"] for item in listed}
    assert {path.name for path in folder.iterdir() if path.suffix in (".ttf", ".woff2", ".js")} == named
