"""Who asks: the signed-in person with role and device, and what each role may do.

Routes ask `signed_in(request)`, or name what they need by `must(request, What.SET_UP)`; both also serve as FastAPI
dependencies. Whoever is not signed in gets an error here, which the app turns into the sign-in page or, under `/api`, into 401.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final, cast

from fastapi import Request

from fettlebook.practice.model import Role

if TYPE_CHECKING:
    from fettlebook.web.people.visit import Visit

__all__ = ["NotAllowedError", "NotSignedInError", "Role", "SignedIn", "What", "may", "must", "signed_in", "signed_in_or_none"]

VISIT: Final = "fettlebook.visit"  # where the middleware leaves a request's visit


class What(StrEnum):
    """What somebody wants to do, as far as roles tell it apart."""

    LOOK = "look"
    NOTE = "note"  # write what was done, found, decided
    SET_UP = "set up"  # people, PINs, devices, the practice file
    KEEP = "keep"  # backups, certificates, health of the machine


_MAY: Final = {
    Role.ASSISTANT: frozenset({What.LOOK, What.NOTE}),
    Role.LEAD: frozenset(What),
    Role.INSPECTOR: frozenset({What.LOOK}),
    Role.MAINTAINER: frozenset({What.LOOK, What.KEEP}),
}


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A person who signed in at a device. `device` is the maker's name that the device's own entries carry."""

    person: str
    name: str
    role: Role
    device: str


class NotSignedInError(Exception):
    """Nobody is signed in here, or the session is locked."""


class NotAllowedError(Exception):
    """The signed-in person's role does not do this."""

    def __init__(self, who: SignedIn, what: What) -> None:
        super().__init__(f"{who.role} may not {what}")
        self.who, self.what = who, what


def may(role: Role, what: What) -> bool:
    """Tell whether a role does this. Skills of the practice file (who may release a load) are asked beside it."""
    return what in _MAY[role]


def signed_in_or_none(request: Request) -> SignedIn | None:
    """Return who is signed in at this request's device; None where nobody is."""
    visit = cast("Visit | None", request.scope.get(VISIT))
    return visit.who if visit is not None else None


def signed_in(request: Request) -> SignedIn:
    """Return who is signed in at this request's device; raises `NotSignedInError` where nobody is."""
    who = signed_in_or_none(request)
    if who is None:
        raise NotSignedInError
    return who


def must(request: Request, what: What) -> SignedIn:
    """Return who is signed in, where the role does this; raises `NotSignedInError` or `NotAllowedError`."""
    who = signed_in(request)
    if not may(who.role, what):
        raise NotAllowedError(who, what)
    return who
