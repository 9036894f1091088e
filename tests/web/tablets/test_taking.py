"""Entries from tablets: each once in the book whatever is sent again or in another order, by the right clock, refused by itself."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettlebook.book.entries import Moment, Mono, new_entry
from fettlebook.book.kinds import PracticeFileVersion, StepDone
from fettlebook.book.stores import open_book
from fettlebook.book.stores.base import Store
from fettlebook.demo import practice_text
from fettlebook.practice.model import Role
from fettlebook.web.people.visit import Visit
from fettlebook.web.people.who import VISIT, SignedIn
from fettlebook.web.tablets.api import make_api
from fettlebook.web.tablets.forms import BODY_MOST, Batch, Held, Sent
from fettlebook.web.tablets.taking import Taking, offset_of

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
DAYS_3 = 3 * 86_400_000


def entry(n: int, *, at: int = NOW, chair: str = "chair 1", by: str = "ana", device: str = "tablet-1") -> dict[str, Any]:
    data = StepDone(duty="chair.between", step="between.wipe", chair=chair, outcome="done")
    made = new_entry(data, moment=Moment(at, "Europe/London", Mono(session="s1", ms=n)), device=device, n=n, by=by)
    found: dict[str, Any] = json.loads(made.encode())
    return found


def batch(*entries: dict[str, Any], now: int = NOW, highest_n: int = 0, offset: int | None = None) -> Batch:
    return Batch(device="tablet-1", now=now, highest_n=highest_n, entries=[Sent(entry=one, offset=offset) for one in entries])


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_book(tmp_path / "book.sqlite", "quayside") as opened:
        opened.note(PracticeFileVersion.of(practice_text().decode()), moment=Moment(NOW, "UTC"))
        yield opened


ENTRIES = [entry(n) for n in range(1, 9)]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(st.integers(0, 7), min_size=1, max_size=8), max_size=12))
def test_replayed_and_reordered_batches_put_each_entry_into_the_book_once(
    tmp_path_factory: pytest.TempPathFactory, sendings: list[list[int]]
) -> None:
    with open_book(tmp_path_factory.mktemp("b") / "book.sqlite", "quayside") as store:
        taking, receipts = Taking(store), {}
        for sending in sendings:
            answer = taking.take(batch(*(ENTRIES[i] for i in sending)), now=NOW, via="tablet-1")
            for i, result in zip(sending, answer.results, strict=True):
                assert receipts.setdefault(i, (result.seq, result.leaf_hash)) == (result.seq, result.leaf_hash)
        assert sorted(one.entry.n for one in store.read()) == sorted({i + 1 for sending in sendings for i in sending})


def test_what_is_new_and_what_was_known_is_told_apart(store: Store) -> None:
    taking = Taking(store)
    assert [one.outcome for one in taking.take(batch(entry(1)), now=NOW, via="tablet-1").results] == ["kept"]
    one = entry(2)
    again = taking.take(batch(one, one, entry(3, chair="chair 99")), now=NOW, via="tablet-1")
    assert [result.outcome for result in again.results] == ["kept", "kept", "refused"]
    assert [result.outcome for result in taking.take(batch(one), now=NOW, via="tablet-1").results] == ["known"]
    assert "chair 99" in again.results[2].findings[0].what


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"kind": "load.released", "data": {"load": "L1", "meaning": "released"}, "subjects": ["load:L1"]}, "does not send entries"),
        ({"by": "program"}, "nobody 'program'"),
        ({"by": "zoe"}, "nobody 'zoe'"),
        ({"subjects": []}, "does not name chair:chair 1"),
        ({"seq": 1}, "sets seq"),
        ({"n": 1.5}, "not a whole number"),
        ({"at": 10}, "before the year 2000"),
        ({"v": 2}, "version 2"),
        ({"data": {"duty": "<script>alert(1)</script>"}}, "should match"),
    ],
)
def test_an_entry_that_a_tablet_may_not_send_is_refused_and_the_others_go_in(store: Store, wrong: dict[str, Any], said: str) -> None:
    answer = Taking(store).take(batch(entry(1), entry(2) | wrong, entry(3)), now=NOW, via="tablet-1")
    assert [one.outcome for one in answer.results] == ["kept", "refused", "kept"]
    assert any(said in told.what for told in answer.results[1].findings), answer.results[1]
    assert store.head().size == 3


def test_a_clock_three_days_ahead_is_put_right_by_the_sending(store: Store) -> None:
    Taking(store).take(batch(entry(1, at=NOW + DAYS_3 - 5_000), now=NOW + DAYS_3), now=NOW, via="tablet-1")
    held = store.latest("step.done")
    assert held is not None
    assert held.offset == -DAYS_3
    assert held.entry.at + held.offset == NOW - 5_000


@pytest.mark.parametrize(
    ("noted", "sending", "counts"),
    [(None, -DAYS_3, -DAYS_3), (-DAYS_3, 0, -DAYS_3), (-59_000, 0, 0), (-DAYS_3 + 1_000, -DAYS_3, -DAYS_3), (0, -DAYS_3, 0)],
)
def test_the_clock_as_it_was_when_the_entry_was_made_counts_where_it_was_set_before_sending(noted, sending, counts) -> None:
    assert offset_of(Sent(entry={}, offset=noted), sending) == counts


def test_what_a_tablet_still_holds_shows_and_nobody_can_make_a_foreign_device_doubtful(store: Store) -> None:
    taking = Taking(store)
    assert taking.take(batch(entry(1), highest_n=3), now=NOW, via="tablet-1").missing == 2
    assert store.missing_of("tablet-1") is not None
    assert taking.take(batch(entry(2), entry(3), highest_n=3), now=NOW, via="tablet-1").missing == 0
    assert store.missing_of("tablet-1") is None
    for device, highest in (("tablet-9", 7), ("tablet-1", 2**52)):
        foreign = Batch(device=device, now=NOW, highest_n=highest, entries=[])
        assert taking.take(foreign, now=NOW, via="tablet-1").missing == 0
        assert store.missing_of(device) is None


def test_a_receipt_that_the_book_does_not_hold_is_told(store: Store) -> None:
    taking = Taking(store)
    (kept,) = taking.take(batch(entry(1)), now=NOW, via="tablet-1").results
    held = {"book": "quayside", "seq": kept.seq, "leaf_hash": kept.leaf_hash}

    def told(**other: Any) -> bool:
        return taking.take(
            Batch(device="tablet-1", now=NOW, entries=[], receipt=Held(**(held | other))), now=NOW, via="tablet-1"
        ).receipt_held

    assert told()
    assert told(book="another practice's")
    assert not told(leaf_hash="0" * 64)
    assert not told(seq=99)


@dataclass
class _Record:
    store: Store

    def now(self) -> int:
        return NOW


def client(store: Store, who: SignedIn | None) -> TestClient:
    api = make_api(_Record(store), lambda: "Europe/London")  # type: ignore[arg-type]

    async def app(scope, receive, send) -> None:
        scope[VISIT] = Visit(who, "tablet-1", "t")
        await api(scope, receive, send)

    return TestClient(app)


ANA = SignedIn("ana", "Ana", Role.LEAD, "tablet-1")


def test_nobody_signed_in_and_readers_get_no_entry_in(store: Store) -> None:
    body = batch(entry(1)).model_dump()
    assert client(store, None).post("/entries", json=body).status_code == 401
    assert client(store, None).get("/who").status_code == 401
    inspector = SignedIn("ivy", "Ivy", Role.INSPECTOR, "tablet-1")
    assert client(store, inspector).post("/entries", json=body).status_code == 403
    assert store.head().size == 1
    told = client(store, ANA).get("/who").json()
    assert (told["person"], told["device"], told["now"], told["book"], told["highest_n"]) == ("ana", "tablet-1", NOW, "quayside", 0)


@pytest.mark.parametrize(
    ("content", "media", "status"),
    [
        (b"{", "application/json", 400),
        (b'{"now": 1, "now": 2}', "application/json", 400),
        (b"[" * 100_000, "application/json", 400),
        (b"{}", "application/json", 422),
        (b"{}", "text/plain", 415),
        (b" " * (BODY_MOST + 1), "application/json", 413),
        (b'{"now": NaN}', "application/json", 400),
        (b"\xff", "application/json", 400),
        (json.dumps({"device": "t", "now": 1, "entries": [{"entry": {}}] * 501}).encode(), "application/json", 422),
    ],
)
def test_a_body_that_is_none_is_told_what_is_wrong(store: Store, content: bytes, media: str, status: int) -> None:
    answer = client(store, ANA).post("/entries", content=content, headers={"Content-Type": media})
    assert answer.status_code == status, answer.text
    assert all(told["what"] and told["where"] and told["mend"] for told in answer.json()["findings"])
    assert store.head().size == 1


def test_a_text_with_half_a_character_in_it_is_refused_by_itself_and_can_be_answered(store: Store) -> None:
    odd = json.dumps({"device": "t", "now": NOW, "entries": [{"entry": {"kind": "\ud800", "\udfff": 1}}, {"entry": entry(1)}]})
    answer = client(store, ANA).post("/entries", content=odd, headers={"Content-Type": "application/json"})
    assert answer.status_code == 200
    assert [one["outcome"] for one in answer.json()["results"]] == ["refused", "kept"]


def test_a_disk_that_is_full_leaves_everything_with_the_tablet(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    from fettlebook.errors import Mendable

    def full(*_: object, **__: object) -> None:
        raise Mendable("the disk is full", where="book.sqlite", mend="Free some space.")

    monkeypatch.setattr(store, "append", full)
    answer = client(store, ANA).post("/entries", json=batch(entry(1)).model_dump())
    assert answer.status_code == 503
    assert answer.json()["findings"][0]["what"] == "the disk is full"
