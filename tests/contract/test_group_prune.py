"""Pruning a group's book by the command: noted as the program's role, dropped as the owner, never the one without the other."""

import json
import uuid
from collections.abc import Callable
from datetime import date

import pytest
from click.testing import CliRunner
from sqlalchemy import make_url

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import BookPruned, PracticeFileVersion
from fettlebook.book.stores import admit, open_group_book
from fettlebook.book.tree import leaf_hash, peaks_of
from fettlebook.cli.book import book
from fettlebook.demo import practice_text
from fettlebook.demo.life import Life
from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented


def test_the_owner_drops_what_was_noted_and_without_owner_nothing_is_noted(
    owner_url: str, new_role: Callable[[], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FETTLEBOOK_THROW_AWAY_DATABASE", "1")
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    lived = tuple(Life(practice, rulebook, running_times(practice, rulebook)).days(date(2026, 3, 2), 4))
    url, name = new_role(), f"oak street {uuid.uuid4().hex[:8]}"
    admit(owner_url, role=make_url(url).username or "", practice=name)
    with open_group_book(url, name, durable=False) as store:
        store.take_sealed((one.leaf for one in lived), size=len(lived), root=peaks_of([leaf_hash(one.leaf) for one in lived]).root())
        store.note(PracticeFileVersion.of(practice_text().decode()), moment=Moment(lived[-1].received + 10, "Europe/London"))
        asked = ["prune", url, "--practice", name, "--before", "2026-03-03", "--by", "ana", "--json"]
        refused = CliRunner().invoke(book, [*asked, "--yes"])
        assert isinstance(refused.exception, Mendable)
        assert "--owner" in str(refused.exception)
        assert store.latest(BookPruned.KIND) is None
        told = CliRunner().invoke(book, asked)
        assert told.exit_code == 0, told.output
        goes = json.loads(told.output)["goes"]
        assert goes > 100
        done = CliRunner().invoke(book, [*asked, "--yes", "--owner", owner_url])
        assert done.exit_code == 0, done.output
        assert json.loads(done.output) == json.loads(told.output) | {"pruned": True}
        found = store.verify()
        assert found.whole, found.faults
        assert found.pruned == goes
        again = CliRunner().invoke(book, [*asked, "--yes", "--owner", owner_url])
        assert json.loads(again.output)["goes"] == 0
        assert not json.loads(again.output)["pruned"]


def test_an_owner_is_refused_where_there_is_none() -> None:
    for book_at, owner, told in (
        ("book.sqlite", "postgresql://o@h/d", "Leave it out"),
        ("postgresql://r@h/d", "somebody", "Write postgresql"),
    ):
        ended = CliRunner().invoke(book, ["prune", book_at, "--by", "ana", "--owner", owner])
        assert isinstance(ended.exception, Mendable)
        assert told in str(ended.exception)
