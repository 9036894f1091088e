"""What each role may do at the pages, and who the second person is."""

from importlib.resources import files

import pytest
from knocking import LEAD, OTHER_PIN, PIN, Knocking

from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice, Role
from fettlebook.web.heat.pen import Pen
from fettlebook.web.heat.sent import Sent
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.people import People
from fettlebook.web.people.visit import _HERE, Visit, writer
from fettlebook.web.people.who import SignedIn

WRITES = ("/day/2026-11-25/again", "/day/2026-11-25/enough", "/water/enter", "/loads/pack", "/measure/chair%201/flow", "/no/such/page")


def with_roles(practice: Practice, **roles: Role) -> Practice:
    staff = tuple(one.model_copy(update={"role": roles.get(one.id, one.role)}) for one in practice.people)
    return practice.model_copy(update={"people": staff})


@pytest.mark.parametrize("role", [Role.INSPECTOR, Role.MAINTAINER])
def test_whoever_only_reads_is_refused_at_everything_that_writes(role: Role, tablet: Knocking, people: People, devices: Devices) -> None:
    as_it_is = people.practice()
    people.practice = lambda: with_roles(as_it_is, chloe=role)
    devices.give_pin("chloe", OTHER_PIN, OTHER_PIN, LEAD)
    tablet.sign_in("chloe", OTHER_PIN)
    assert tablet.get("/rules").status_code == 200
    for address in WRITES:
        answer = tablet.send(address)
        assert answer.status_code == 403, address
        assert "Nothing was written" in answer.text
    assert tablet.send("/api/entries").status_code == 403
    assert tablet.get("/people").status_code == 403
    assert tablet.send("/me/here").status_code == 204
    assert tablet.send("/sign-out").status_code == 303


def test_a_role_holds_from_the_moment_the_practice_file_says_it(tablet: Knocking, people: People, devices: Devices) -> None:
    devices.give_pin("chloe", OTHER_PIN, OTHER_PIN, LEAD)
    tablet.sign_in("chloe", OTHER_PIN)
    assert tablet.send("/day/2026-11-25/again").status_code == 303
    as_it_is = people.practice()
    people.practice = lambda: with_roles(as_it_is, chloe=Role.INSPECTOR)
    assert tablet.send("/day/2026-11-25/again").status_code == 403
    people.practice = lambda: as_it_is.model_copy(update={"people": tuple(p for p in as_it_is.people if p.id != "chloe")})
    assert tablet.get("/rules").headers["location"].startswith("/sign-in"), "who left the practice is signed in no more"


def test_roles_without_a_lead_are_found_in_the_practice_file() -> None:
    text = (files("fettlebook.demo") / "practice.toml").read_text("utf-8")
    found = read_practice(text.replace('id = "ana"', 'id = "ana"\nrole = "inspector"').encode(), "practice.toml")
    assert ["nobody is lead" in one.what for one in found.errors] == [True]
    wrong = read_practice(text.replace('id = "ana"', 'id = "ana"\nrole = "boss"').encode(), "practice.toml")
    assert wrong.practice is None


class Named(Pen):
    """A pen that only knows who works here."""

    def __init__(self, practice: Practice) -> None:
        self._named = practice

    @property
    def practice(self) -> Practice:
        return self._named


def test_the_signed_in_person_writes_and_a_second_one_confirms_by_the_own_pin(people: People, devices: Devices) -> None:
    devices.give_pin(LEAD, PIN, PIN, LEAD)
    devices.give_pin("ben", OTHER_PIN, OTHER_PIN, LEAD)
    pen = Named(people.practice())
    ana = SignedIn(LEAD, "Ana", Role.LEAD, "tablet")
    visit = Visit(ana, "tablet", "t", confirms=lambda who, pin: isinstance(people.check_pin("tablet", who, pin), SignedIn))
    set_back = _HERE.set(visit)
    try:
        assert writer() == LEAD
        assert pen.who(Sent({"by": ["ben"]})) == LEAD, "whatever the form says"
        assert pen.who(Sent({"second": ["ben"], "second_pin": [OTHER_PIN]}), "second") == "ben"
        for pin in ([PIN], [""], []):
            with pytest.raises(Mendable, match="not the PIN of the second person"):
                pen.who(Sent({"second": ["ben"], "second_pin": pin}), "second")
    finally:
        _HERE.reset(set_back)
    assert writer() == "program"
    assert pen.who(Sent({"by": ["ben"]})) == "ben", "nobody is signed in while nobody has a PIN: the form says who"
