"""An address that shows nothing: words and a way on for a person, plain text for a program."""

import pytest
from fastapi.testclient import TestClient

pytestmark = pytest.mark.invented
BROWSER = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}


@pytest.mark.parametrize(("path", "why"), [("/nowhere", "There is no such page"), ("/day/2026-13-45", "A day is written as 2026-11-25")])
def test_a_person_gets_a_page_with_a_way_on(client: TestClient, path: str, why: str) -> None:
    answer = client.get(path, headers=BROWSER)
    assert (answer.status_code, answer.headers["content-type"].split(";")[0]) == (404, "text/html")
    assert why in answer.text
    assert 'href="/work"' in answer.text


def test_a_program_gets_plain_text_and_a_method_that_is_not_there_too(client: TestClient) -> None:
    assert client.get("/nowhere").headers["content-type"].startswith("text/plain")
    assert client.delete("/day/2026-11-25", headers={**BROWSER, "origin": "http://127.0.0.1"}).status_code == 405
