"""Word of changed verdicts at a real receiver: signed, in order, again after a failure, not twice after a start, nowhere else."""

import base64
import hashlib
import hmac
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import made_up_day
import pytest

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import OutOfService, Returned, to_ms
from fettlebook.book.stores import Store, open_book
from fettlebook.exchange.share.word import secret_of
from fettlebook.practice.model import WordTo
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.record import Record
from fettlebook.web.telling import Telling

pytestmark = pytest.mark.invented
NOW = made_up_day.at(10, 42)
KEY = bytes(range(32))
Settled = Callable[[Callable[[], bool]], None]


class Receiver:
    def __init__(self) -> None:
        self.got: list[tuple[dict[str, str], bytes]] = []
        self.answer = 204
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"]))
                outer.got.append(({k.lower(): v for k, v in self.headers.items()}, body))
                self.send_response(outer.answer)
                if outer.answer == 302:
                    self.send_header("Location", "/elsewhere")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_address[1]}/word"

    def verdicts(self, subject: str) -> list[str]:
        return [said["verdict"] for _, body in self.got if (said := json.loads(body))["subject"] == subject]


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    found = Receiver()
    yield found
    found.server.shutdown()


class Files(made_up_day.Hands):
    def __init__(self, url: str) -> None:
        super().__init__()
        self.url = url

    def read(self) -> Reading:
        word = WordTo(id="board", url=self.url, kinds=("chair",))
        practice = made_up_day.practice().model_copy(update={"word_to": (word,)})
        rulebook = load_rulebook(practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), (), (), 1, NOW)


@contextmanager
def telling(folder: Path, url: str) -> Iterator[tuple[Store, Telling]]:
    desk = Desk(Files(url), lambda: NOW)
    with open_book(folder / "book.sqlite", "demo") as store:
        record = Record(store, desk)
        work = Telling(record, desk, folder / "book.sqlite.word", KEY, look_s=0.2)
        yield store, work
        work.close()
        record.close()
        assert desk.close(wait_s=10)


def out(store: Store, minute: int) -> None:
    moment = Moment(to_ms(NOW) - 3_600_000 + minute * 60_000, "Europe/London")
    store.note(OutOfService(chair="chair 1", reason="light broken"), moment=moment, by="ana")


def test_a_change_is_told_signed_and_once(tmp_path: Path, receiver: Receiver, settled: Settled) -> None:
    with telling(tmp_path, receiver.url) as (store, _):
        settled(lambda: receiver.verdicts("chair:chair 1") == ["unproven"])  # the first look: nothing is proven yet
        out(store, 0)
        settled(lambda: receiver.verdicts("chair:chair 1") == ["unproven", "unfit"])
    headers, body = receiver.got[-1]
    content = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    wanted = base64.b64encode(hmac.new(secret_of(KEY, "board"), content, hashlib.sha256).digest()).decode()
    assert headers["webhook-signature"] == f"v1,{wanted}"
    count = len(receiver.got)
    with telling(tmp_path, receiver.url) as (store, _):  # a new start tells nothing that was told
        moment = Moment(to_ms(NOW) - 60_000, "Europe/London")
        store.note(Returned(chair="chair 1", meaning="returned", reason="new lamp"), moment=moment, by="ana")
        settled(lambda: receiver.verdicts("chair:chair 1")[-1] == "unproven")
    assert len(receiver.got) == count + 1


def test_what_fails_is_sent_again_and_nothing_goes_elsewhere(tmp_path: Path, receiver: Receiver, settled: Settled) -> None:
    receiver.answer = 302
    with telling(tmp_path, receiver.url) as (_, work):
        settled(lambda: bool(work.stands()) and work.stands()[0].trouble == "it answered 302")
        waiting = work.stands()[0].waiting
        assert waiting > 0
    receiver.answer, told = 204, len(receiver.got)
    with telling(tmp_path, receiver.url) as (_, work):
        settled(lambda: work.stands()[0].waiting == 0)
    assert len(receiver.got) == told + waiting
    ids = [headers["webhook-id"] for headers, _ in receiver.got]
    assert ids[0] == ids[told]  # the same message again, by the same id


def test_a_receiver_that_is_away_keeps_nobody_waiting(tmp_path: Path, settled: Settled) -> None:
    with telling(tmp_path, "http://127.0.0.1:9/word") as (_, work):
        settled(lambda: "can't be reached" in work.stands()[0].trouble)
