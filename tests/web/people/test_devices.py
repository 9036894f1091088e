"""Devices are let in once per code, renamed, withdrawn."""

from collections.abc import Callable
from pathlib import Path

import pytest
from knocking import ASSISTANT, LEAD, OTHER_PIN, PIN, SAME, Clock, Knocking

from fettlebook.book.kinds import Data
from fettlebook.book.kinds.people import DeviceEnrolled, DeviceRenamed, DeviceWithdrawn
from fettlebook.errors import Mendable
from fettlebook.web.people.devices import CODE_S, Devices, device_name
from fettlebook.web.people.people import Let, People
from fettlebook.web.people.people_file import PeopleFile

HOSTILE = ("<script>alert(1)</script>", '"><img src=x>', "=1+1", "tablet\u202eelbat", "x" * 10_000, "\x00\x1f", "", " \u200b ")


def test_a_code_lets_one_device_in_once(lead: Knocking, knock: Callable[[], Knocking], noted: list[tuple[Data, str]]) -> None:
    code = lead.code_for("tablet of room 2")
    first, second = knock(), knock()
    assert first.send("/enrol", code=code.lower()).status_code == 303
    replayed = second.send("/enrol", code=code)
    assert replayed.status_code == 422
    assert "this code was used already" in replayed.text
    assert second.get("/rules").headers["location"] == "/enrol"
    assert [data.name for data, by in noted if isinstance(data, DeviceEnrolled) and by == LEAD][-1] == "tablet of room 2"


def test_a_code_is_good_for_ten_minutes(lead: Knocking, knock: Callable[[], Knocking], clock: Clock) -> None:
    code = lead.code_for("tablet")
    clock.now += CODE_S + 1
    assert "too old" in knock().send("/enrol", code=code).text


def test_guessing_codes_makes_one_wait(knock: Callable[[], Knocking], lead: Knocking) -> None:
    code, guesser = lead.code_for("tablet"), knock()
    for n in range(3):
        assert "no such code" in guesser.send("/enrol", code=f"AAAA AAA{n}").text
    assert "too many wrong codes" in guesser.send("/enrol", code=code).text


def test_only_a_lead_with_the_own_pin_lets_devices_in(tablet: Knocking, lead: Knocking, devices: Devices) -> None:
    devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    tablet.sign_in(ASSISTANT, OTHER_PIN)
    assert tablet.get("/devices").status_code == 403
    assert tablet.send("/devices/code", name="mine", own_pin=OTHER_PIN).status_code == 403
    assert tablet.send(f"/people/{LEAD}/pin", pin=OTHER_PIN, again=OTHER_PIN, own_pin=OTHER_PIN).status_code == 403
    assert lead.send("/devices/code", name="mine", own_pin="999999").status_code == 422
    assert lead.send("/devices/code", name="mine").status_code == 422


def test_a_withdrawn_device_shows_nothing_any_more(
    tablet: Knocking, lead: Knocking, devices: Devices, noted: list[tuple[Data, str]]
) -> None:
    tablet.sign_in()
    which = next(one.id for one in devices.all() if one.name == "tablet of room 1")
    assert lead.send(f"/devices/{which}/rename", name="tablet of room 3", own_pin=PIN).status_code == 303
    assert tablet.get("/rules").status_code == 200
    assert lead.send(f"/devices/{which}/withdraw", own_pin=PIN).status_code == 303
    assert tablet.get("/rules").headers["location"] == "/enrol"
    assert tablet.send("/sign-in", person=LEAD, pin=PIN).headers["location"] == "/enrol"
    assert tablet.get("/api/who").status_code == 401
    last = [data for data, _ in noted if isinstance(data, DeviceRenamed | DeviceWithdrawn)]
    assert [(type(data), data.name) for data in last] == [(DeviceRenamed, "tablet of room 3"), (DeviceWithdrawn, "tablet of room 3")]
    assert "Withdrawn" in lead.text("/devices")


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_refused_or_shown_as_letters(name: str, lead: Knocking) -> None:
    answer = lead.send("/devices/code", name=name[:200], own_pin=PIN)
    assert answer.status_code in (200, 422)
    assert "<script>alert" not in answer.text
    assert "<img src=x" not in answer.text
    assert "\u202e" not in answer.text


def test_a_name_keeps_no_sign_that_turns_the_writing() -> None:
    assert device_name("tablet\u202e of  room 2\u200b") == "tablet of room 2"
    with pytest.raises(Mendable):
        device_name("x" * 41)


def test_a_foreign_or_missing_token_is_refused_and_writes_nothing(lead: Knocking, tablet: Knocking, devices: Devices) -> None:
    before = devices.all()
    for fields in ({}, {"token": ""}, {"token": "0" * 64}, {"token": tablet.token()}, {"name": "x", "token": lead.token() + "0"}):
        answer = lead.client.post("/devices/code", data={"own_pin": PIN, "name": "mine", **fields}, headers=SAME)
        assert answer.status_code == 403, fields
    assert devices.all() == before


def test_the_right_token_is_found_in_every_form_a_browser_sends(lead: Knocking) -> None:
    token = lead.token()
    for first in ({"token": token, "next": "/"}, {"next": "a&token=x", "token": token}):
        assert lead.client.post("/me/here", data=first, headers=SAME).status_code == 204
    assert lead.client.post("/me/here", data={"token": token}, files={"log": ("a.csv", b"1;2")}, headers=SAME).status_code == 204
    assert lead.client.post("/me/here", files={"log": ("a.csv", b"token=" + token.encode())}, headers=SAME).status_code == 403
    assert lead.client.post("/me/here", headers={**SAME, "X-Fettlebook-Token": token}).status_code == 204


def test_sessions_and_tokens_survive_a_restart_of_the_server(people: People, devices: Devices, tmp_path: Path) -> None:
    devices.give_pin(LEAD, PIN, PIN, LEAD)
    device, cookie = devices.let_in("tablet", LEAD)
    path = next(tmp_path.glob("*.people"))
    again = People(people.practice, PeopleFile(path), b"p" * 32)
    assert again.device_of(cookie, free=False) == device
    assert isinstance(again.by_pin(device, LEAD, PIN), Let)
    assert again._token(device) == people._token(device)


def test_a_file_of_something_else_is_not_taken_for_the_people_file(tmp_path: Path) -> None:
    other = tmp_path / "book.sqlite.people"
    other.write_bytes(b"not a database, but long enough to be looked at as one" * 20)
    with pytest.raises(Mendable, match="no people file"):
        PeopleFile(other)
