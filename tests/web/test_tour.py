"""The tour: on an invented practice only, each step leads to a page that is there."""

import re
from collections.abc import Callable

import made_up_day
from fastapi.testclient import TestClient

from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk


def test_the_tour_of_an_invented_practice_leads_to_pages_that_are_there(client: TestClient) -> None:
    page = client.get("/tour")
    assert page.status_code == 200
    links = re.findall(r'class="stop-do"><a class="button" href="([^"]+)"', page.text)
    assert len(links) == 4, "without a book, the steps that need none"
    for link in links:
        assert client.get(link).status_code in {200, 422}, link  # 422: the made-up day does not know what it was made from
    assert 'href="/tour"' in client.get("/rules").text


def test_a_real_practice_has_no_tour(desk: Desk, settled: Callable[[Callable[[], bool]], None]) -> None:
    desk.day(made_up_day.DAY)
    settled(lambda: desk.day(made_up_day.DAY).plan is not None)
    reading = desk.reading
    practice = reading.practice.model_copy(update={"practice": reading.practice.practice.model_copy(update={"invented": False})})
    object.__setattr__(reading, "practice", practice)
    client = TestClient(create_app(desk, made_up_day.DAY), base_url="http://127.0.0.1")
    assert client.get("/tour").status_code == 404
    assert "/tour" not in client.get("/rules").text
