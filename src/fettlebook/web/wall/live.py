"""The part of the board that changes: made once for all who look, told again when it reads otherwise.

It is made anew after an entry, a new plan, the end of a verdict, and with each minute. Its mark is a hash of what it says, so a screen
that comes back with the mark it has (Last-Event-ID) is sent nothing twice and misses nothing.
"""

import asyncio
import hashlib
import threading
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Final

from fastapi.sse import ServerSentEvent
from starlette.concurrency import run_in_threadpool

from fettlebook.errors import Mendable
from fettlebook.plan.wall import Wall, wall_of
from fettlebook.web.desk import Desk
from fettlebook.web.languages.tongue import tongue
from fettlebook.web.record import Record

MINUTE_MS: Final = 60_000
LOOK_S: Final = 2.0  # at what no entry tells: a new plan, a session that ended by itself, the stop of the server
REST_S: Final = 0.2  # between two parts to one screen: what comes together is told together
RETRY_MS: Final = 2_000


@dataclass(frozen=True, slots=True)
class Part:
    """What a screen shows, and its mark."""

    mark: str
    html: str


_Key = tuple[int, int, int, bool]


class Live:
    """Makes the part, and streams it."""

    def __init__(self, record: Record, desk: Desk, draw: Callable[[Wall], str]) -> None:
        self._record, self._desk, self._draw = record, desk, draw
        self._lock = threading.Lock()
        self._wall: tuple[_Key, Wall] | None = None
        self._parts: dict[str, tuple[_Key, Part]] = {}

    def part(self) -> Part:
        """Return the part as it is now, in the language of the request; raises `Mendable` where the book can't be asked."""
        with self._lock:  # of many who ask at once, the first makes it
            key = self._key()
            language = tongue().language
            if self._parts.get(language, (None,))[0] != key:
                html = self._draw(self._made(key))
                self._parts[language] = (key, Part(hashlib.sha256(html.encode()).hexdigest()[:20], html))
            return self._parts[language][1]

    def wall(self) -> Wall:
        """Return the board as it is now."""
        with self._lock:
            return self._made(self._key())

    async def stream(self, seen: str, still: Callable[[], bool]) -> AsyncIterator[ServerSentEvent]:
        """Yield the part whenever it reads otherwise than what the screen has.

        Parameters
        ----------
        seen
            The mark that the screen has.
        still
            Tells whether this screen may still look; asked again and again, outside the event loop.
        """
        changed = self._record.changed
        yield ServerSentEvent(comment="begins", retry=RETRY_MS)
        while not changed.closed and await run_in_threadpool(still):
            known = self._record.store.head().size
            try:
                part = await run_in_threadpool(self.part)
            except Mendable:  # the database is away for a moment; the screen keeps what it has, with its time
                part = None
            if part is not None and part.mark != seen:
                seen = part.mark
                yield ServerSentEvent(raw_data=part.html, event="board", id=part.mark)
            else:
                yield ServerSentEvent(raw_data="", event="still")  # the screen's sign that the line stands
            await asyncio.sleep(REST_S)
            await changed.after(known, LOOK_S)

    def _made(self, key: _Key) -> Wall:
        if self._wall is None or self._wall[0] != key:
            plan = self._desk.day(self._desk.now().date()).plan
            with self._record.view() as view:
                self._wall = key, wall_of(view, plan)
        return self._wall[1]

    def _key(self) -> _Key:
        """Return what changes when the board may read otherwise: entries, plan, the minute, and the end of a verdict."""
        now = self._record.now()
        until = self._wall[1].changes_ms if self._wall is not None else None
        ended = until is not None and until <= now
        return self._record.store.head().size, self._desk.day(self._desk.now().date()).version, now // MINUTE_MS, ended
