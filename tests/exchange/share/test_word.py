"""Word of changed verdicts: signed as the open form asks, the same change the same message, a first look no alarm."""

import base64
import hmac
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.exchange.share.word import Changed, Message, changes, message_of, secret_of, secret_words, signed
from fettlebook.rules.model import Origin
from fettlebook.standing.basis import BOOK
from fettlebook.standing.model import Condition, Standing, Verdict

ORIGIN: Origin = BOOK


def standing(verdict: str, subject: str = "chair:chair 1") -> Standing:
    return Standing(subject, 1_000, 1_000, (Condition("water count", Verdict(verdict), "because", ORIGIN, ("e1",)),))


@pytest.mark.published(source="Standard Webhooks 1.0, the example secret, id and time of its reference libraries", sure="memory")
def test_the_signature_is_that_of_the_open_form() -> None:
    secret = base64.b64decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    message = Message("msg_p5jXN8AQM9LWM0D4loKWxJek", b'{"test": 2432232314}')
    found = signed(message, secret, 1_614_265_330)
    assert found["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
    assert (found["webhook-id"], found["webhook-timestamp"]) == (message.id, "1614265330")


@pytest.mark.invented
def test_a_first_look_tells_only_what_is_not_fit() -> None:
    now = {"chair:a": standing("fit", "chair:a"), "chair:b": standing("unproven", "chair:b")}
    assert [one.subject for one in changes({}, now)] == ["chair:b"]
    assert changes({"chair:a": "fit", "chair:b": "unproven"}, now) == []
    assert [(c.subject, c.before) for c in changes({"chair:a": "unfit", "chair:b": "unproven"}, now)] == [("chair:a", "unfit")]


@pytest.mark.invented
def test_the_same_change_is_the_same_message_and_another_one_is_not() -> None:
    one = message_of("demo", True, Changed("chair:chair 1", "fit", standing("unfit")))
    assert one == message_of("demo", True, Changed("chair:chair 1", "fit", standing("unfit")))
    assert one.id != message_of("demo", True, Changed("chair:chair 1", "fit", standing("unproven"))).id
    said = json.loads(one.body)
    assert (said["type"], said["verdict"], said["before"], said["invented"]) == ("verdict.changed", "unfit", "fit", True)
    assert said["reasons"] == [{"what": "water count", "verdict": "unfit", "why": "because", "evidence": ["e1"]}]


@pytest.mark.invented
@given(st.binary(min_size=32, max_size=32), st.text("abc 12", min_size=1, max_size=9), st.binary(max_size=50), st.integers(0, 2**40))
def test_whoever_has_the_secret_can_check_it_and_a_changed_body_shows(key: bytes, receiver: str, body: bytes, at: int) -> None:
    secret = secret_of(key, receiver)
    assert base64.b64decode(secret_words(secret).removeprefix("whsec_")) == secret
    headers = signed(Message("msg_1", body), secret, at)
    made = headers["webhook-signature"].removeprefix("v1,")
    for sent, good in ((body, True), (body + b"x", False)):
        wanted = base64.b64encode(hmac.digest(secret, f"msg_1.{at}.".encode() + sent, "sha256")).decode()
        assert (wanted == made) is good
    assert secret_of(key, receiver + "x") != secret
