"""A clock that was set by hand, for training: it goes on from there, and can be put forward so that nobody waits for a contact time."""

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Annotated, Final

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from starlette.exceptions import HTTPException

from fettlebook.web.pages import Pages
from fettlebook.web.people.visit import next_of

FORWARD_MIN: Final = (1, 5, 10, 30, 60)


class TrainingClock:
    """The present moment as the pages have it."""

    def __init__(self, at: datetime, real: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._real, self._lock = real, threading.Lock()
        self._ahead = at - real()

    def __call__(self) -> datetime:
        """Return the moment, aware."""
        return self._real() + self._ahead

    def forward(self, minutes: int) -> None:
        """Put the clock forward; it never goes back, because the book's times never do."""
        if minutes not in FORWARD_MIN:
            raise HTTPException(404, f"The clock goes forward by {', '.join(map(str, FORWARD_MIN))} min.")
        with self._lock:
            self._ahead += timedelta(minutes=minutes)


def training_routes(pages: Pages, clock: TrainingClock | bool) -> APIRouter:
    """Return the route that puts a clock forward that was set by hand; there is none where the clock is the real one."""
    routes = APIRouter()
    if not isinstance(clock, TrainingClock):
        return routes
    pages.know(forward_min=FORWARD_MIN)

    @routes.post("/training-clock")
    def _forward(request: Request, minutes: Annotated[int, Form()]) -> RedirectResponse:
        clock.forward(minutes)
        came = request.headers.get("referer", "").partition(request.headers.get("host", "//"))[2]
        return RedirectResponse(next_of(came or "/"), 303)

    return routes
