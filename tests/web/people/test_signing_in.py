"""PINs, badges, waits and locks at a tablet that was let in."""

from collections.abc import Callable
from pathlib import Path

import pytest
from knocking import ASSISTANT, LEAD, OTHER_PIN, PIN, Clock, Knocking

from fettlebook.book.kinds import Data, SignIn, SignOut, digest_of
from fettlebook.book.kinds.people import PinChanged, SignRefused
from fettlebook.errors import Mendable
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.people import IDLE_S, LONGEST_S, People
from fettlebook.web.people.pins import FREE_TRIES, LONGEST_WAIT_S, hash_pin, pin_is_right, wait_s, weak

Noted = list[tuple[Data, str]]


def test_once_somebody_has_a_pin_a_name_alone_opens_nothing(lead: Knocking, knock: Callable[[], Knocking]) -> None:
    stranger = knock()
    for address in ("/", "/rules", "/entries", "/people", "/devices", "/me"):
        assert stranger.get(address).headers["location"] == "/enrol"
    assert stranger.send("/sign-in", person=LEAD).headers["location"] == "/enrol"
    assert stranger.get("/rules").status_code == 303
    assert lead.get("/rules").status_code == 200


def test_a_pin_opens_the_page_that_was_asked_for(tablet: Knocking) -> None:
    assert tablet.get("/rules?x=1").headers["location"] == "/sign-in?next=/rules%3Fx%3D1"
    assert "touch your name" in tablet.text("/sign-in")
    assert tablet.send("/sign-in", person=LEAD, pin=PIN, next="/rules?x=1").headers["location"] == "/rules?x=1"
    assert "Signed in as lead" in tablet.text("/me")


def test_somebody_without_a_pin_is_told_whom_to_ask(tablet: Knocking) -> None:
    assert "no PIN yet: ask the lead" in tablet.text("/sign-in")
    assert tablet.sign_in(ASSISTANT, PIN).status_code == 422


def test_wrong_pins_make_one_wait_longer_each_time_and_only_here(
    tablet: Knocking, lead: Knocking, devices: Devices, clock: Clock, noted: Noted
) -> None:
    devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    for _ in range(FREE_TRIES):
        assert tablet.sign_in(ASSISTANT, "999999").status_code == 422
    assert "Wait 5 s" in tablet.sign_in(ASSISTANT, OTHER_PIN).text, "the right one does not count while one waits"
    clock.now += 5
    assert "Wait 10 s" in tablet.sign_in(ASSISTANT, "999998").text
    assert lead.sign_in(ASSISTANT, OTHER_PIN).status_code == 303, "another device, and another person here, go on"
    assert tablet.sign_in(LEAD, PIN).status_code == 303
    clock.now += 10
    assert tablet.sign_in(ASSISTANT, OTHER_PIN).status_code == 303
    told = [data for data, _ in noted if isinstance(data, SignRefused)]
    assert [(data.person, data.tries, data.wait_s) for data in told] == [(ASSISTANT, 3, 5), (ASSISTANT, 4, 10)]


def test_ten_thousand_guesses_take_more_than_a_year() -> None:
    assert sum(wait_s(tries) for tries in range(10_000)) > 365 * 86_400
    assert wait_s(10_000) == LONGEST_WAIT_S
    assert [wait_s(tries) for tries in range(6)] == [0, 0, 0, 5, 10, 20]


def test_many_guesses_at_once_gain_nothing(people: People, devices: Devices) -> None:
    devices.give_pin(LEAD, PIN, PIN, LEAD)
    assert [people.reserve(LEAD, "tablet") for _ in range(5)] == [0, 0, 0, 5, 5]


def test_the_lead_lets_somebody_try_again(tablet: Knocking, lead: Knocking, devices: Devices) -> None:
    devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    for _ in range(4):
        tablet.sign_in(ASSISTANT, "999999")
    assert lead.send(f"/people/{ASSISTANT}/again", own_pin=PIN).status_code == 303
    assert tablet.sign_in(ASSISTANT, OTHER_PIN).status_code == 303


def test_a_badge_signs_in_and_a_strange_one_does_not(tablet: Knocking, lead: Knocking, noted: Noted) -> None:
    assert lead.send(f"/people/{ASSISTANT}/badge", code="BADGE-0042-77", own_pin=PIN).status_code == 303
    assert tablet.send("/sign-in", badge="BADGE-0042-78").status_code == 422
    assert tablet.send("/sign-in", badge="BADGE-0042-77").status_code == 303
    assert "Ben" in tablet.text("/me")
    assert next(data for data, by in reversed(noted) if isinstance(data, SignIn)).how == "badge"
    assert lead.send("/people/chloe/badge", code="BADGE-0042-77", own_pin=PIN).status_code == 422, "one badge is one person's"
    assert lead.send(f"/people/{ASSISTANT}/no-badge", own_pin=PIN).status_code == 303
    assert tablet.get("/rules").status_code == 303, "the session of a lost badge ends at once"


def test_a_session_locks_alone_and_only_its_place_is_kept(tablet: Knocking, clock: Clock, noted: Noted) -> None:
    tablet.sign_in()
    clock.now += IDLE_S - 1
    assert tablet.get("/rules").status_code == 200
    clock.now += IDLE_S - 1
    assert tablet.get("/rules", **{"sec-fetch-mode": "cors"}).status_code == 200
    clock.now += 2
    assert tablet.get("/rules").status_code == 303, "what a page fetches by itself kept it open"
    assert "Locked: Ana" in tablet.text("/sign-in?next=/rules")
    assert tablet.sign_in().headers["location"] == "/rules"
    assert [data.why for data, _ in noted if isinstance(data, SignOut)] == ["inactive"]


def test_a_working_day_later_one_signs_in_anew_however_busy(tablet: Knocking, clock: Clock) -> None:
    tablet.sign_in()
    for _ in range(int(LONGEST_S // 240)):
        clock.now += 240
        assert tablet.get("/rules").status_code == 200
    clock.now += 240
    assert tablet.get("/rules").status_code == 303


def test_a_form_sent_after_the_lock_waits_for_its_person(tablet: Knocking, devices: Devices, clock: Clock) -> None:
    devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    tablet.sign_in(ASSISTANT, OTHER_PIN)
    clock.now += IDLE_S + 1
    place = tablet.send("/day/2026-11-25/again?by=person", note='a "b" <script>').headers["location"]
    assert place.startswith("/sign-in?next=/kept/")
    kept = place.partition("next=")[2]
    tablet.sign_in(LEAD, PIN)
    assert tablet.get(kept).status_code == 404, "nobody else sends it"
    tablet.sign_in(ASSISTANT, OTHER_PIN)
    page = tablet.get(kept).text
    assert 'action="/day/2026-11-25/again?by=person"' in page
    assert 'value="a &#34;b&#34; &lt;script&gt;"' in page
    assert page.count('name="token"') == page.count("<form"), "each form carries the device's token, once"
    assert tablet.get(kept).status_code == 404, "once"


def test_signing_out_ends_it_and_the_old_cookie_opens_nothing(tablet: Knocking) -> None:
    tablet.sign_in()
    before = dict(tablet.client.cookies)
    assert tablet.send("/sign-out").status_code == 303
    tablet.client.cookies.update(before)
    assert tablet.get("/rules").status_code == 303


def test_two_tabs_share_a_session_and_a_second_tablet_has_its_own(tablet: Knocking, lead: Knocking) -> None:
    tablet.sign_in()
    assert lead.get("/rules").status_code == tablet.get("/rules").status_code == 200
    tablet.send("/lock", next="/rules")
    assert tablet.get("/rules").status_code == 303
    assert lead.get("/rules").status_code == 200


def test_whoever_signs_in_next_ends_the_session_before(tablet: Knocking, devices: Devices, noted: Noted) -> None:
    devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    tablet.sign_in()
    first = dict(tablet.client.cookies)
    tablet.sign_in(ASSISTANT, OTHER_PIN)
    assert ("ana", "ended by another") in [(by, data.why) for data, by in noted if isinstance(data, SignOut)]
    tablet.client.cookies.update(first)
    assert tablet.get("/rules").status_code == 303


def test_one_changes_one_s_own_pin_with_the_old_one(tablet: Knocking, lead: Knocking) -> None:
    tablet.sign_in()
    assert tablet.send("/me/pin", own_pin="999999", pin=OTHER_PIN, again=OTHER_PIN).status_code == 422
    assert tablet.send("/me/pin", own_pin=PIN, pin=OTHER_PIN, again="271829").status_code == 422
    assert tablet.send("/me/pin", own_pin=PIN, pin=OTHER_PIN, again=OTHER_PIN).status_code == 303
    assert tablet.get("/rules").status_code == 200
    assert lead.get("/rules").status_code == 303, "sessions elsewhere end"
    assert tablet.sign_in(LEAD, PIN).status_code == 422


@pytest.mark.parametrize(
    "pin", ["", "12345", "123456", "654321", "111111", "121212", "123123", "890123", "1234567890123", "abcdef", "１２３４８７", "27 1828"]
)
def test_what_anybody_would_try_first_is_no_pin(pin: str, devices: Devices) -> None:
    assert weak(pin)
    with pytest.raises(Mendable):
        devices.give_pin(LEAD, pin, pin, LEAD)


def test_the_first_pin_is_the_lead_s_and_the_last_can_not_be_taken(devices: Devices) -> None:
    with pytest.raises(Mendable, match="first PIN is the lead's"):
        devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    devices.give_pin(LEAD, PIN, PIN, LEAD)
    devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    with pytest.raises(Mendable, match="nobody who leads"):
        devices.take_pin(LEAD, LEAD)
    devices.take_pin(ASSISTANT, LEAD)


@pytest.mark.published(source="OWASP ASVS 5.0.0 appendix C, citing RFC 9106: Argon2id t=2, m=19 MiB (19456 KiB), p=1", sure="read")
def test_a_pin_is_kept_as_argon2id_of_the_published_cost() -> None:
    assert hash_pin(b"p", "ana", PIN).startswith("$argon2id$v=19$m=19456,t=2,p=1$")


def test_a_hash_is_of_one_person_one_pin_and_one_pepper() -> None:
    kept = hash_pin(b"p", "ana", PIN)
    assert pin_is_right(b"p", "ana", PIN, kept)
    assert not pin_is_right(b"q", "ana", PIN, kept)
    assert not pin_is_right(b"p", "ben", PIN, kept)
    assert not pin_is_right(b"p", "ana", OTHER_PIN, kept)
    assert not pin_is_right(b"p", "ana", PIN, None)
    assert not pin_is_right(b"p", "ana", PIN, "no hash at all")


def test_no_secret_is_in_an_entry_an_export_or_readable_in_the_file(
    lead: Knocking, tablet: Knocking, devices: Devices, noted: Noted, tmp_path: Path
) -> None:
    lead.send(f"/people/{ASSISTANT}/badge", code="BADGE-0042-77", own_pin=PIN)
    devices.give_pin(ASSISTANT, OTHER_PIN, OTHER_PIN, LEAD)
    secrets = [PIN, OTHER_PIN, "BADGE-0042-77", *(str(v) for v in tablet.client.cookies.values() if v), *tablet.client.cookies.values()]
    assert len(secrets) > 3
    said = "".join(data.model_dump_json() for data, _ in noted) + lead.get("/people.csv").text + lead.get("/devices.csv").text
    held = next(tmp_path.glob("*.people"))
    assert held.stat().st_mode & 0o777 == 0o600
    raw = held.read_bytes()
    for secret in secrets:
        alone = secret.rpartition(".")[2]
        assert alone not in said
        assert alone.encode() not in raw
        assert digest_of(alone.encode()).encode() not in raw or alone in tablet.client.cookies.values()
    assert [data.how for data, _ in noted if isinstance(data, PinChanged)] == ["given", "given", "given"]
