"""Word of changed verdicts, sent while the pages are open: looked for after each entry and each half minute, sent at least once, in order.

What was told last stands in a small file beside the book, so that nothing is told twice after a start and nothing is forgotten. A receiver
that doesn't answer is asked again with growing pauses; the others don't wait for it. The program never opens what a receiver answers.
"""

import contextlib
import json
import logging
import os
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from fettlebook.exchange.share.word import Message, changes, message_of, secret_of, signed, verdicts_of
from fettlebook.practice.model import WordTo
from fettlebook.said import said
from fettlebook.web.desk import Desk, bug
from fettlebook.web.pages import Pages
from fettlebook.web.record import Record

LOOK_S: Final = 30.0  # a verdict may end by itself
ANSWER_S: Final = 10.0
LONGEST_PAUSE_S: Final = 600.0
MOST_WAITING: Final = 2_000
log = logging.getLogger("fettlebook.web")


@dataclass
class _Receiver:
    told: dict[str, str] = field(default_factory=dict)  # subject -> verdict that was put into a message
    waiting: list[Message] = field(default_factory=list)
    pause_s: float = 0.0
    again_at: float = 0.0
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Stands:
    """How it stands with one receiver, for the lead's pages."""

    id: str
    url: str
    waiting: int
    trouble: str


class Telling:
    """Sends word to the receivers of the practice file."""

    def __init__(
        self, record: Record, desk: Desk, kept: Path, key: bytes, *, clock: Callable[[], float] = time.time, look_s: float = LOOK_S
    ) -> None:
        self._record, self._desk, self._kept, self._key, self._clock, self._look_s = record, desk, kept, key, clock, look_s
        self._receivers: dict[str, _Receiver] = _read(kept)
        self._leave, self._wake = threading.Event(), threading.Event()
        self._end = record.store.on_added(lambda _size: self._wake.set())
        self._thread = threading.Thread(target=self._work, name="word", daemon=True)
        self._thread.start()

    def stands(self) -> list[Stands]:
        """Return how it stands with each receiver of the practice file."""
        found = []
        for to in self._desk.reading.practice.word_to:
            one = self._receivers.get(to.id, _Receiver())
            found.append(Stands(to.id, to.url, len(one.waiting), one.trouble))
        return found

    def close(self) -> None:
        """Stop; what waits is sent after the next start."""
        self._leave.set()
        self._wake.set()
        self._end()
        self._thread.join(ANSWER_S + 2)

    def _work(self) -> None:
        while not self._leave.is_set():
            try:
                if self._desk.reading.practice.word_to and self._record.ready(1.0):
                    self.look()
                    self.send()
            except Exception as error:  # the book may be away for a while: what is told then comes later
                log.warning("word of changes: %s", bug(error, "sending word").what)
            waits = min((one.again_at - self._clock() for one in self._receivers.values() if one.waiting), default=self._look_s)
            self._wake.wait(max(0.05, min(self._look_s, waits)))
            self._wake.clear()

    def look(self) -> None:
        """Put what changed since the last look into messages, and keep them."""
        practice = self._desk.reading.practice
        for to in practice.word_to:
            one = self._receivers.setdefault(to.id, _Receiver())
            with self._record.view() as view:
                now = verdicts_of(view, to.kinds)
            found = changes(one.told, now)
            one.told = {subject: standing.verdict.value for subject, standing in now.items()}
            for changed in found[: max(0, MOST_WAITING - len(one.waiting))]:
                one.waiting.append(message_of(practice.practice.id, practice.practice.invented, changed))
            if len(found) > MOST_WAITING - len(one.waiting):
                one.trouble = "too much waits: what changed meanwhile is not told; ask the page instead"
        self._keep()

    def send(self) -> None:
        """Send what waits, in order; a receiver that fails waits for its next turn."""
        for to in self._desk.reading.practice.word_to:
            one = self._receivers.get(to.id, _Receiver())
            while one.waiting and self._clock() >= one.again_at and not self._leave.is_set():
                one.trouble = self._post(to, one.waiting[0])
                if one.trouble:
                    one.pause_s = min(LONGEST_PAUSE_S, max(1.0, 2 * one.pause_s))
                    one.again_at = self._clock() + one.pause_s
                    break
                one.waiting.pop(0)
                one.pause_s = one.again_at = 0.0
                self._keep()

    def _post(self, to: WordTo, message: Message) -> str:
        """Send one message; return what went wrong, empty where nothing did."""
        headers = signed(message, secret_of(self._key, to.id), int(self._clock()))
        request = urllib.request.Request(to.url, data=message.body, headers=headers, method="POST")  # noqa: S310 - http or https by the model
        try:
            with _OPENER.open(request, timeout=ANSWER_S) as answer:
                return "" if 200 <= answer.status < 300 else f"it answered {answer.status}"
        except urllib.error.HTTPError as error:
            return f"it answered {error.code}"
        except OSError as error:
            return f"it can't be reached: {getattr(error, 'reason', error)}"[:200]

    def _keep(self) -> None:
        held = {
            name: {"told": one.told, "waiting": [[message.id, message.body.decode()] for message in one.waiting]}
            for name, one in self._receivers.items()
        }
        draft = self._kept.with_name(f".{self._kept.name}.draft")
        with draft.open("w", encoding="utf-8") as out:
            json.dump(held, out, ensure_ascii=False)
            out.flush()
            os.fsync(out.fileno())
        draft.replace(self._kept)


def telling_routes(pages: Pages, telling: Telling) -> APIRouter:
    """Return the page that says how it stands with each receiver."""
    routes = APIRouter()

    @routes.get("/word")
    def _word() -> HTMLResponse:
        return pages.show("word.html", stands=telling.stands(), title=said("Word of changed verdicts"))

    return routes


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """A receiver that sends on to elsewhere gets nothing: the practice file names who hears."""

    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


_OPENER: Final = urllib.request.build_opener(_NoRedirect())


def _read(kept: Path) -> dict[str, _Receiver]:
    """Return what was told and what waits; nothing where the file is missing or damaged: then all that isn't fit is told once more."""
    found: dict[str, _Receiver] = {}
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        for name, held in json.loads(kept.read_text("utf-8")).items():
            found[name] = _Receiver(dict(held["told"]), [Message(one, body.encode()) for one, body in held["waiting"]])
    return found
