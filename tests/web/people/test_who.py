"""Choosing one's name, what roles do, and the token of forms."""

import pytest
from fastapi.testclient import TestClient

from fettlebook.web.people.visit import next_of
from fettlebook.web.people.who import Role, What, may

SAME = {"origin": "http://127.0.0.1", "sec-fetch-site": "same-origin"}


def test_a_role_does_what_it_is_there_for():
    assert [role for role in Role if may(role, What.NOTE)] == [Role.ASSISTANT, Role.LEAD]
    assert [role for role in Role if may(role, What.SET_UP)] == [Role.LEAD]
    assert [role for role in Role if may(role, What.KEEP)] == [Role.LEAD, Role.MAINTAINER]
    assert all(may(role, What.LOOK) for role in Role)


def test_one_signs_in_by_a_touch_on_the_name_and_comes_back_to_the_same_page(client: TestClient):
    answer = client.post("/sign-in", data={"person": "ana", "next": "/rules?a=b"}, headers=SAME)
    assert (answer.status_code, answer.headers["location"]) == (303, "/rules?a=b")
    assert client.post("/sign-in", data={"person": "nobody", "next": "/"}, headers=SAME).status_code in (403, 422)


def test_once_signed_in_a_form_needs_the_device_s_token(client: TestClient):
    client.post("/sign-in", data={"person": "ana", "next": "/"}, headers=SAME)
    address = "/sign-out"
    assert client.post(address, headers=SAME).status_code == 403
    assert client.post(address, data={"token": "x" * 64}, headers=SAME).status_code == 403
    page = client.get("/sign-in").text
    token = page.split('name="token" value="')[1].split('"')[0]
    assert client.post(address, data={"token": token}, headers=SAME).status_code == 303


@pytest.mark.parametrize("text", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere", "\\/x", "", "/a\\b", "x"])
def test_one_is_never_sent_to_another_server(text: str):
    assert next_of(text) == "/"


def test_a_page_of_this_server_is_gone_back_to():
    assert next_of("/day/2026-11-25?by=person") == "/day/2026-11-25?by=person"
