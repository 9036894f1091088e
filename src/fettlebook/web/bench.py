"""Work that goes on in the background while pages answer: improving a plan, living days through, trying purchases.

A page starts a piece of work under a key and gets at once what is known of it; asking again under the same key starts
nothing. Work says how far it is, asks whether it shall stop, and leaves its best result so far when it is told to. There
are two benches, so that a new plan never waits behind a long reckoning.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from queue import Queue
from typing import Any, Final, Literal

from fettlebook.errors import Finding, Mendable
from fettlebook.said import said
from fettlebook.web.desk import bug

Where = Literal["quick", "long"]
MOST_KEPT: Final = 40


@dataclass(frozen=True, slots=True)
class Piece:
    """What is known of a piece of work."""

    key: str
    stage: str = said("waiting for its turn")
    done: int = 0
    of: int = 0
    result: Any = None
    trouble: tuple[Finding, ...] = ()
    ended: bool = False
    stopped: bool = False  # a person told it to stop: the result is the best until then


class Tell:
    """How a piece of work tells how far it is, and learns that it shall stop."""

    def __init__(self, say: Callable[[str, int, int], None]) -> None:
        self._say = say
        self._stop = threading.Event()

    def say(self, stage: str, done: int = 0, of: int = 0) -> bool:
        """Tell how far it is; returns False when it shall stop."""
        self._say(stage, done, of)
        return not self._stop.is_set()

    def stopped(self) -> bool:
        """Whether it shall stop."""
        return self._stop.is_set()

    def stop(self) -> None:
        """Let it stop as soon as it can."""
        self._stop.set()


Work = Callable[[Tell], Any]


@dataclass(slots=True)
class _Lane:
    queue: "Queue[tuple[str, Work, Tell] | None]" = field(default_factory=Queue)
    thread: threading.Thread | None = None


class Bench:
    """The pieces of work of all pages, one worker for each lane."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pieces: dict[str, Piece] = {}
        self._going: dict[str, tuple[Tell, str]] = {}  # work that has not ended, with its group
        self._lanes: dict[Where, _Lane] = {"quick": _Lane(), "long": _Lane()}

    def start(self, key: str, work: Work, *, where: Where, group: str = "", instead_of: tuple[str, ...] = ()) -> Piece:
        """Start a piece of work unless it is there already.

        Parameters
        ----------
        key
            What it is; the same key is the same work.
        work
            The work itself; what it returns is the result.
        where
            On which bench.
        group
            Whom it serves; other work of the same group is told to stop: nobody looks at it any more.
        instead_of
            Work of these groups is told to stop too: this cannot wait for it. What it has found so far stays.
        """
        with self._lock:
            if (known := self._pieces.get(key)) is not None and not known.trouble:
                return known
            yields = {group, *instead_of} - {""}
            for other, (tell, served) in self._going.items():
                if served in yields and other != key:
                    tell.stop()
            tell = Tell(lambda stage, done, of: self._note(key, tell, stage=stage, done=done, of=of))
            self._going[key] = tell, group
            piece = self._pieces[key] = Piece(key)
            while len(self._pieces) > MOST_KEPT and (oldest := next((k for k, p in self._pieces.items() if p.ended), None)):
                del self._pieces[oldest]
            lane = self._lanes[where]
            lane.queue.put((key, work, tell))
            if lane.thread is None:
                lane.thread = threading.Thread(target=self._run, args=(lane,), name=f"bench, {where}", daemon=True)
                lane.thread.start()
            return piece

    def look(self, key: str) -> Piece | None:
        """Return what is known of a piece of work."""
        with self._lock:
            return self._pieces.get(key)

    def stop(self, key: str) -> bool:
        """Tell a piece of work to stop; its best result so far stays. Returns whether there is such work."""
        with self._lock:
            if key not in self._pieces:
                return False
            if key in self._going:
                self._going[key][0].stop()
                self._pieces[key] = replace(self._pieces[key], stage="stopping", stopped=True)
            return True

    def forget(self, key: str) -> None:
        """Drop a piece of work; if it still runs, it stops."""
        with self._lock:
            if key in self._going:
                self._going.pop(key)[0].stop()
            self._pieces.pop(key, None)

    def stop_all(self) -> None:
        """Tell all work to stop; nobody waits for it."""
        with self._lock:
            for tell, _ in self._going.values():
                tell.stop()

    def close(self, wait_s: float = 0.5) -> bool:
        """Stop all work; returns whether it had stopped in time."""
        self.stop_all()
        threads = [lane.thread for lane in self._lanes.values() if lane.thread is not None]
        for lane in self._lanes.values():
            lane.queue.put(None)
        for thread in threads:
            thread.join(wait_s / max(1, len(threads)))
        return not any(thread.is_alive() for thread in threads)

    def _run(self, lane: _Lane) -> None:
        while (item := lane.queue.get()) is not None:
            key, work, tell = item
            result: Any = None
            trouble: tuple[Finding, ...] = ()
            if not tell.stopped():
                try:
                    result = work(tell)
                except Mendable as error:
                    trouble = error.findings
                except Exception as error:  # one bad piece must not stop the bench
                    trouble = (bug(error, said("working in the background")),)
            self._note(key, tell, stage="", result=result, trouble=trouble, ended=True)

    def _note(self, key: str, tell: Tell, **what: Any) -> None:
        with self._lock:
            if self._going.get(key, (None, ""))[0] is not tell:
                return  # forgotten meanwhile
            if key in self._pieces:
                self._pieces[key] = replace(self._pieces[key], **what)
            if what.get("ended"):
                del self._going[key]
