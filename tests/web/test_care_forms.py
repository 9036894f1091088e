"""The forms under Water: each makes its one entry, its page shows the new state, and what is wrong stands at its field."""

import sys
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day

from fettlebook.book.kinds import Data, PartChanged, to_ms
from fettlebook.book.stores import open_book
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times
from fettlebook.web.app import create_app
from fettlebook.web.care.entering.routes import FORMS
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
NOW = made_up_day.at(8, 29)
HERE = {"origin": "http://127.0.0.1"}
GTIN = "04012345678901"  # its check digit fits; no article of anybody
DOSED = """
[[products]]
id = "daily"
name = "Daily dosing (invented)"
active = "hydrogen peroxide"
concentrate = { strength = 1.4, strength_unit = "% w/v" }
uses = [{ use = "line continuous", strength = 140.0, strength_unit = "mg/L", contact_s = 3600, temperature_c = [5.0, 30.0] }]

"""


def dosed_practice() -> Practice:
    """Return the demo's practice with a number on a package, and one chair into whose water a product is dosed."""
    text = (files("fettlebook.demo") / "practice.toml").read_text("utf-8")
    text = text.replace('id = "line h2o2"\n', f'id = "line h2o2"\ngtin = "{GTIN}"\n', 1)
    text = text.replace('supply = { kind = "bottle", bottle_ml = 1500.0 }', 'supply = { kind = "continuous dosing", product = "daily", strength_mg_l = 150.0 }', 1)  # fmt: skip  # noqa: E501
    loaded = read_practice(text.replace("[in_use]", f"{DOSED}[in_use]", 1).encode(), "practice.toml")
    assert loaded.practice is not None, loaded.findings
    return loaded.practice


class Files(made_up_day.Hands):
    def read(self) -> Reading:
        practice = dosed_practice()
        rulebook = load_rulebook(practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), (), (), 1, NOW)


Book = tuple[TestClient, Record]


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    desk = Desk(Files(), lambda: NOW)
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        record = Record(store, desk)
        assert record.ready(30)
        yield TestClient(create_app(desk, made_up_day.DAY, record=record), base_url="http://127.0.0.1", follow_redirects=False), record
        record.close()
    assert desk.close(wait_s=10)


def enter(book: Book, what: str, **typed: str) -> Data:
    """Post a form that is right, follow it to its page, and return what the book holds now."""
    answer = book[0].post(f"/water/enter/{what}", data={"by": "ana", **typed}, headers=HERE)
    assert answer.status_code == 303, answer.text
    page = book[0].get(answer.headers["location"])
    assert "Entered in the book." in page.text
    (last,) = list(book[1].store.read())[-1:]
    assert last.entry.by == "ana"
    assert last.entry.id in answer.headers["location"]
    assert isinstance(last.entry.data, Data)
    return last.entry.data


def said_of(data: Data) -> dict[str, object]:
    return data.model_dump(exclude_none=True)


def test_each_form_hangs_under_its_page_and_can_be_opened(book: Book) -> None:
    for name, one in FORMS.items():
        assert f'href="/water/enter/{name}"' in book[0].get(one.back).text
        page = book[0].get(f"/water/enter/{name}")
        assert page.status_code == 200
        main = page.text.partition("<main")[2]
        assert "style=" not in main
        assert f'<a href="{one.back}" aria-current="page">' in main
    assert book[0].get("/water/enter/nothing").status_code == 404


def test_a_temperature_with_a_decimal_comma_stands_on_the_page_of_taps(book: Book) -> None:
    told = enter(book, "temperature", place="basin room 1", water="hot", degc="56,4", ran="60")
    assert said_of(told) == {"place": "basin room 1", "water": "hot", "water_mc": 56_400, "ran_s": 60}
    page = book[0].get("/water/taps").text
    assert "basin room 1" in page
    assert "56.4" in page
    assert '<option value="basin room 1">' in book[0].get("/water/enter/temperature").text


def test_a_tap_called_rarely_used_is_owed_from_its_run_on(book: Book) -> None:
    assert said_of(enter(book, "run", place="eye wash", ran="180", rare="rare")) == {"place": "eye wash", "ran_s": 180, "rare": True}
    assert "eye wash" in book[0].get("/water/taps").text
    assert said_of(enter(book, "run", place="eye wash", ran="", rare="daily")) == {"place": "eye wash", "rare": False}
    assert "No tap is called rarely used" in book[0].get("/water/taps").text


def test_a_strip_of_the_dose_is_held_to_the_label(book: Book) -> None:
    where = "chair 1/chair.weekly/weekly.dose"
    assert f'value="{where}"' in book[0].get("/water/enter/strip").text
    told = said_of(enter(book, "strip", where=where, mg_l="100"))
    assert told["readings"] == {"strip_mg_l": 100}
    assert "the label asks for 140 mg/L" in book[0].get("/water/strips").text
    assert said_of(enter(book, "strip", where=where, mg_l="100", end="yes"))["readings"] == {"strip_at_least_mg_l": 100}


FEED, CLEAR = "chair 2/chair.long_still/long.strip_feed", "chair 2/chair.long_still/long.strip_rinse"


def test_strips_of_a_treatment_make_the_entries_of_its_steps_and_are_judged_by_the_label(book: Book) -> None:
    form = book[0].get("/water/enter/treatment-strip").text
    assert f'value="{FEED}"' in form
    assert "Feed: at least" in form
    assert "After the rinse: at most 10 mg/L." in form
    assert "Above the residual: rinse on. No patient before every outlet is clear." in form  # the step's caution
    assert "wear gloves, eye protection" in form  # the label's
    told = enter(book, "treatment-strip", where=FEED, mg_l="30000")
    assert said_of(told) == {
        "duty": "chair.long_still", "step": "long.strip_feed", "chair": "chair 2", "outcome": "done", "readings": {"strip_mg_l": 30000},
    }  # fmt: skip
    assert said_of(enter(book, "treatment-strip", where=FEED, mg_l="100", end="yes"))["readings"] == {"strip_at_least_mg_l": 100}
    assert said_of(enter(book, "treatment-strip", where=CLEAR, mg_l="5"))["readings"] == {"strip_mg_l": 5}
    page = book[0].get("/water/strips").text
    assert "the label allows 10 mg/L" in page
    assert "the strip&#39;s scale ends at 100 mg/L" in page


@pytest.mark.parametrize(
    ("where", "mg_l", "words"), [(FEED, "100", "less than the label asks for"), (CLEAR, "30", "more than the label allows")]
)
def test_a_strip_beyond_the_label_is_asked_about_once_and_then_kept_as_it_was_seen(book: Book, where: str, mg_l: str, words: str) -> None:
    before = book[1].store.head().size
    answer = book[0].post("/water/enter/treatment-strip", data={"by": "ana", "where": where, "mg_l": mg_l}, headers=HERE)
    assert answer.status_code == 422
    assert words in answer.text
    assert f'value="{mg_l}"' in answer.text  # what was typed stays
    assert book[1].store.head().size == before
    assert said_of(enter(book, "treatment-strip", where=where, mg_l=mg_l, sure="yes"))["readings"] == {"strip_mg_l": int(mg_l)}
    assert "unfit" in book[0].get("/water/strips").text


def test_a_hose_is_measured_by_the_clock_or_by_the_gauge_never_both(book: Book) -> None:
    told = enter(book, "hose", hose="chair 1/high volume", ml="1000", took="6,4", kpa="")
    assert said_of(told) == {"chair": "chair 1", "hose": "high volume", "drawn_ml": 1000, "took_ms": 6400}
    assert "6.4 s/L" in book[0].get("/water/suction").text
    told = enter(book, "hose", hose="chair 1/high volume", ml="1000", took="", kpa="12.5")
    assert said_of(told) == {"chair": "chair 1", "hose": "high volume", "gauge_pa": 12_500}
    both = book[0].post("/water/enter/hose", data={"by": "ana", "hose": "chair 1/ejector", "took": "6", "kpa": "12"}, headers=HERE)
    assert both.status_code == 422
    assert "seconds and gauge both" in both.text


def test_checked_spots_are_shares_of_places_and_the_next_one_keeps_the_round(book: Book) -> None:
    typed = {"place": "light handle", "chair": "chair 2", "seen": "gone", "round": "R7", "by": "ana", "again": "yes", "limit": ""}
    answer = book[0].post("/water/enter/spot", data=typed, headers=HERE)
    assert answer.status_code == 303
    form = book[0].get(answer.headers["location"]).text
    assert 'value="R7"' in form
    assert '<option value="chair 2" selected>' in form
    told = enter(book, "spot", place="light handle", chair="of no chair", seen="ATP", rlu="120", limit="100", round="R7")
    assert said_of(told) == {"place": "light handle", "round": "R7", "method": "ATP", "atp_rlu": 120, "limit_rlu": 100}
    assert "light handle" in book[0].get("/water/suction").text


def test_a_changed_filter_is_good_for_the_days_of_its_label(book: Book) -> None:
    told = enter(book, "part", of="chair:chair 2", part="water filter", done="changed", days="90", lot="F 12/3", name="")
    assert said_of(told) == {"part": "water filter", "chair": "chair 2", "done": "changed", "good_days": 90, "lot": "F 12/3"}
    page = book[0].get("/water/parts").text
    assert "water filter" in page
    assert "may stay until" in page
    building = enter(book, "part", of="building", part="other", name="softener salt", done="changed", days="", lot="")
    assert isinstance(building, PartChanged)
    assert building.chair is None


def test_counted_delivered_opened_and_mixed_move_the_stock(book: Book) -> None:
    enter(book, "counted", product="suction care", packages="2", content="1000", open="0,5")
    enter(book, "delivered", code="", product="suction care", lot="B7", use_by="2028-01-31", packages="3", content="1000")
    told = enter(book, "mixed", product="suction care", lot="B7", into="chair:chair 1", product_ml="40", water_ml="1960", strip="")
    assert said_of(told) == {
        "solution": "mix 2026-11-25 08.29.00", "product": "suction care", "lot": "B7", "chair": "chair 1", "product_ul": 40_000,
        "water_ml": 1960,
    }  # fmt: skip
    assert "5 closed" in book[0].get("/water/stock").text


def test_a_scanned_package_fills_product_lot_and_last_day(book: Book) -> None:
    blank = {"product": "by the code", "lot": "", "use_by": ""}
    told = enter(book, "opened", code=f"]d201{GTIN}1727013110AB12", **blank)
    assert said_of(told) == {"product": "line h2o2", "lot": "AB12", "use_by": "2027-01-31"}
    with_end = enter(book, "opened", code=f"01{GTIN}10AB13\x1d17270131", **blank)
    assert said_of(with_end) == {"product": "line h2o2", "lot": "AB13", "use_by": "2027-01-31"}


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"code": f"01{GTIN}10AB1217270131"}, "dropped the sign"),  # the separator lost: lot and last day run together
        ({"code": "0104012345678918" + "10AB12"}, "no product of the practice file has the number"),
        ({"code": "hello"}, "no GS1 code"),
        ({"code": f"01{GTIN}10AB12", "product": "wipes"}, "the code is of Line disinfectant"),
        ({"code": f"01{GTIN}10AB12", "lot": "AB13"}, "the code says AB12"),
        ({"code": "", "lot": "AB12"}, "no code was scanned"),
        ({"product": "wipes", "lot": ""}, "Type the lot from the package"),
        ({"product": "wipes", "lot": "W1", "use_by": "2026-11-24"}, "is past: not to be used"),
    ],
)
def test_a_package_that_can_not_be_read_for_sure_is_not_entered(book: Book, typed: dict[str, str], words: str) -> None:
    before = book[1].store.head().size
    answer = book[0].post("/water/enter/opened", data={"product": "by the code", "by": "ana", **typed}, headers=HERE)
    assert answer.status_code == 422
    assert words in answer.text
    assert book[1].store.head().size == before


@pytest.mark.parametrize(
    ("what", "typed", "words"),
    [
        ("temperature", {"place": "basin", "water": "hot", "degc": "564"}, "outside 0 to 100"),
        ("temperature", {"place": "basin", "water": "hot", "degc": "warm"}, "this is no number"),
        ("temperature", {"place": "", "water": "hot", "degc": "50"}, "nothing was entered"),
        ("temperature", {"place": "basin", "water": "tepid", "degc": "50"}, "nothing was chosen"),
        ("temperature", {"place": "<b>", "water": "hot", "degc": "50"}, "this can&#39;t be a name"),
        ("temperature", {"place": "basin", "water": "hot", "degc": "50", "at": "08:30"}, "still to come"),
        ("temperature", {"place": "basin", "water": "hot", "degc": "50", "by": "nobody"}, "nobody was chosen"),
        ("counted", {"product": "wipes", "packages": "2.5"}, "no whole number"),
        ("counted", {"product": "wipes", "packages": "-1"}, "outside 0"),
        ("strip", {"where": "chair 2/chair.weekly/weekly.dose", "mg_l": "5"}, "nothing was chosen"),  # nothing is dosed there
        ("treatment-strip", {"where": FEED, "mg_l": ""}, "nothing was entered"),
        ("treatment-strip", {"where": FEED, "mg_l": "-3"}, "outside 0"),
        ("treatment-strip", {"where": FEED, "mg_l": "2,5"}, "no whole number"),
        ("treatment-strip", {"where": "chair 2/chair.long_still/long.fill", "mg_l": "5"}, "nothing was chosen"),
        ("hose", {"hose": "chair 1/none", "took": "6", "ml": "1000"}, "nothing was chosen"),
        ("part", {"of": "building", "part": "other", "done": "changed", "name": ""}, "nothing was entered"),
        ("spot", {"place": "tray", "chair": "of no chair", "seen": "gone", "rlu": "5"}, "a reading, and a mark too"),
    ],
)
def test_what_is_wrong_stands_at_its_field_and_nothing_is_entered(book: Book, what: str, typed: dict[str, str], words: str) -> None:
    before = book[1].store.head().size
    answer = book[0].post(f"/water/enter/{what}", data={"by": "ana", **typed}, headers=HERE)
    assert answer.status_code == 422, answer.text
    assert words in answer.text
    assert book[1].store.head().size == before


def test_an_earlier_time_of_today_is_kept_as_the_moment(book: Book) -> None:
    enter(book, "temperature", place="basin", water="cold", degc="14", ran="120", at="07:50")
    (last,) = list(book[1].store.read())[-1:]
    assert last.entry.at == to_ms(made_up_day.at(7, 50))
    assert book[0].post("/water/enter/run", data={"place": "x"}).status_code == 403
