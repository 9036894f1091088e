"""The pages of care: treatments, suction, strips, taps, parts, stock show what the book holds, and each table can be saved."""

import csv
import io
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day
from test_water_pages import Files

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import (
    CleaningChecked,
    Data,
    OutletRun,
    OutletTemperature,
    PartChanged,
    ProductOpened,
    SolutionMixed,
    StepDone,
    StockCounted,
    SuctionMeasured,
    to_ms,
)
from fettlebook.book.stores import open_book
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
NOW = made_up_day.at(8, 29)
DAY_MS = 86_400_000
PAGES = ("treatments", "suction", "strips", "taps", "parts", "stock")
OUTLETS = ("turbine", "motor", "scaler", "syringe")


def step(name: str, **more: object) -> StepDone:
    return StepDone(duty="chair.close", step=f"close.{name}", chair="chair 1", outcome="done", **more)  # type: ignore[arg-type]


def said() -> Iterator[tuple[float, Data]]:
    """Yield days before now, and what was entered then."""
    yield 40, ProductOpened(product="line h2o2", lot="A1")
    yield 40, StockCounted(product="suction care", packages=2, package_ul=1_000_000, open_ul=500_000)
    for n in range(7):
        mixed = SolutionMixed(solution=f"s{n}", product="suction care", chair="chair 1", product_ul=40_000, water_ml=1960)
        yield 39 - 5 * n, mixed
        yield 39 - 5 * n, SuctionMeasured(chair="chair 1", hose="high volume", drawn_ml=1000, took_ms=6000 + 100 * (n % 3))
        yield 38 - 5 * n, step("fill", outlets=OUTLETS, lasted_wall_ms=200_000, lasted_mono_ms=200_000)
        yield 38 - 5 * n, step("strip_feed", outlets=OUTLETS, readings={"strip_mg_l": 30_000 - 500 * (n % 2)})
        yield 37.9 - 5 * n, step("contact", lasted_wall_ms=603_000 if n else 300_000, lasted_mono_ms=603_000 if n else 300_000)
        yield 37.8 - 5 * n, step("rinse", outlets=OUTLETS, lasted_wall_ms=300_000, lasted_mono_ms=300_000)
        yield 37.7 - 5 * n, step("strip_rinse", outlets=OUTLETS, readings={"strip_mg_l": 3 + n % 2})
    yield 20, OutletRun(place="eye wash", ran_s=180, rare=True)
    yield 20, OutletTemperature(place="basin", water="hot", water_mc=49_000, ran_s=60)
    yield 2, OutletTemperature(place="basin", water="hot", water_mc=56_000, ran_s=60)
    yield 30, PartChanged(part="separator", chair="chair 1", done="changed", good_days=20, lot="=S7")
    for n, gone in enumerate((True, True, False, True)):
        yield 10 - n / 10, CleaningChecked(place="light handle", round="R1", method="mark", mark_gone=gone)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    desk = Desk(Files(), lambda: NOW)
    with open_book(tmp_path_factory.mktemp("book") / "book.sqlite", "quayside") as store:
        for days, data in sorted(said(), key=lambda pair: -pair[0]):
            store.note(data, moment=Moment(to_ms(NOW) - round(days * DAY_MS), "Europe/London"), by="ana")
        record = Record(store, desk)
        assert record.ready(30)
        yield TestClient(create_app(desk, made_up_day.DAY, record=record), base_url="http://127.0.0.1", follow_redirects=False)
        record.close()
    assert desk.close(wait_s=10)


def saved(client: TestClient, path: str) -> list[dict[str, str]]:
    answer = client.get(path)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "text/csv; charset=utf-8")
    return list(csv.DictReader(io.StringIO(answer.text)))


@pytest.mark.parametrize("page", PAGES)
def test_each_page_hangs_under_the_links_of_water_without_own_style(client: TestClient, page: str) -> None:
    answer = client.get(f"/water/{page}")
    assert answer.status_code == 200
    main = answer.text.partition("<main")[2]
    assert f'<a href="/water/{page}" aria-current="page">' in main
    assert "style=" not in main
    assert all(f'href="/water/{other}"' in main for other in PAGES)
    for address in {part.split('"')[0] for part in main.split('href="')[1:] if ".csv" in part.split('"')[0]}:
        assert client.get(address.replace("&amp;", "&")).status_code == 200


@pytest.mark.parametrize("page", ["treatments", "suction", "strips"])
def test_a_chair_that_is_none_and_a_span_beyond_all_is_not_found(client: TestClient, page: str) -> None:
    assert client.get(f"/water/{page}/of/chair%2099").status_code == 404
    assert client.get(f"/water/{page}?days=0").status_code == 404
    assert client.get(f"/water/{page}?days=99999").status_code == 404


def test_treatments_stand_as_planned_and_as_they_ran(client: TestClient) -> None:
    rows = saved(client, "/water/treatments.csv")
    assert [row["contact_held"] for row in rows] == ["short", *["as planned"] * 6]
    assert (rows[0]["verdict"], rows[0]["contact_ran_s"], rows[0]["contact_planned_s"]) == ("unfit", "300", "600")
    text = client.get("/water/treatments/of/chair%201").text
    assert "<svg" in text
    assert "5:00 / 10:00" in text
    assert "ran 5:00, must run 10:00" in client.get("/water/treatments").text
    assert saved(client, "/water/treatments.csv?days=20") == rows[-3:]


def test_hoses_are_drawn_with_their_limits_and_shares_with_their_interval(client: TestClient) -> None:
    assert "limits" in client.get("/water/suction/of/chair%201").text
    hoses = saved(client, "/water/suction/hoses.csv")
    assert (len(hoses), hoses[0]["value"], hoses[0]["chart_now"]) == (7, "6.0", "steady")
    (one, every) = saved(client, "/water/suction/clean.csv")
    assert (one["clean"], one["of"], every["round"]) == ("3", "4", "all")
    assert (float(one["low_95"]), float(one["high_95"])) == pytest.approx((0.3006, 0.9544), abs=1e-4)  # Wilson, 3 of 4
    assert client.get("/water/suction/people.csv").status_code == 404


def test_strips_stand_beside_the_label_and_draw_a_chart(client: TestClient) -> None:
    rows = saved(client, "/water/strips.csv")
    assert {row["dipped_for"] for row in rows} == {"feed", "after the rinse"}
    text = client.get("/water/strips/of/chair%201").text
    assert "at least 28500" in text
    assert "at most 10" in text
    assert "Left after the rinse: steady" in text


def test_a_tap_that_stood_and_a_part_past_its_life_are_owed_now(client: TestClient) -> None:
    (tap,) = saved(client, "/water/taps/rarely-used.csv")
    assert (tap["place"], tap["verdict"], float(tap["days"])) == ("eye wash", "unproven", pytest.approx(20, abs=0.1))
    (hot,) = saved(client, "/water/taps/temperatures.csv")
    assert (hot["degc"], hot["verdict"]) == ("56.0", "fit")
    assert {row["chair"] for row in saved(client, "/water/taps/outlets.csv")} == {f"chair {n}" for n in range(1, 5)}
    (part,) = saved(client, "/water/parts/changes.csv")
    assert (part["part"], part["verdict"], part["lot"]) == ("separator", "unproven", "'=S7")  # text stays text in a spreadsheet
    assert "<strong>now</strong>" in client.get("/water/parts").text
    assert "Change the separator" in client.get("/due").text
    assert "Run eye wash" in client.get("/due").text


def test_stock_is_drawn_to_its_last_day_to_order(client: TestClient) -> None:
    rows = {row["product"]: row for row in saved(client, "/water/stock/products.csv")}
    care = rows["suction care"]
    assert float(care["litres_left"]) == pytest.approx(2.5 - 7 * 0.04)
    assert care["order_by"] < care["runs_out_early"] <= care["runs_out"]
    assert rows["wipes"]["order_by"] == ""
    text = client.get("/water/stock").text
    assert "<svg" in text
    assert "never counted" in text
    (filled,) = saved(client, "/water/stock/filled.csv")
    assert (filled["into"], filled["fills"]) == ("chair 1", "7")
