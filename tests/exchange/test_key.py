"""The practice's key: made once, whole or not at all, for its owner's eyes."""

import os
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from fettlebook.errors import Mendable
from fettlebook.exchange import key as key_module
from fettlebook.exchange.key import beside, check_key, load_or_make_key

pytestmark = pytest.mark.invented


def test_a_key_is_made_once_and_then_read(tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "practice.key"
    first = load_or_make_key(path)
    assert len(first) == 32
    assert load_or_make_key(path) == first
    assert load_or_make_key(tmp_path / "other.key") != first
    assert [file.name for file in path.parent.iterdir()] == ["practice.key"]


@pytest.mark.skipif(os.name != "posix", reason="file modes of this kind are POSIX")
def test_only_the_owner_can_read_it_also_after_a_careless_restore(tmp_path: Path) -> None:
    path = tmp_path / "practice.key"
    key = load_or_make_key(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o644)
    assert load_or_make_key(path) == key
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.skipif(os.name != "posix", reason="file modes of this kind are POSIX")
def test_at_no_moment_can_another_read_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    modes = []
    real = os.fsync
    monkeypatch.setattr(key_module.os, "fsync", lambda stream: (modes.append(stat.S_IMODE(os.fstat(stream).st_mode)), real(stream)))
    load_or_make_key(tmp_path / "practice.key")
    assert modes == [0o600]


@pytest.mark.parametrize("content", [b"", b"short", bytes(31), bytes(33), bytes(1_000_000)])
def test_a_key_of_a_wrong_size_is_refused_kept_and_not_shown(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "practice.key"
    path.write_bytes(content)
    with pytest.raises(Mendable) as caught:
        load_or_make_key(path)
    assert caught.value.where == str(path)
    assert "backup" in caught.value.mend
    assert path.read_bytes() == content


def test_many_that_start_at_once_end_up_with_one_key(tmp_path: Path) -> None:
    path = tmp_path / "practice.key"
    with ThreadPoolExecutor(8) as pool:
        keys = set(pool.map(lambda _: load_or_make_key(path), range(40)))
    assert len(keys) == 1
    assert [file.name for file in tmp_path.iterdir()] == ["practice.key"]


def test_a_disk_without_hard_links_will_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(key_module.os, "link", refuse)
    path = tmp_path / "practice.key"
    assert load_or_make_key(path) == load_or_make_key(path)


def test_a_place_that_is_no_file_is_told(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "a file" / "practice.key"):
        (tmp_path / "a file").write_text("")
        with pytest.raises(Mendable) as caught:
            load_or_make_key(path)
        assert caught.value.where == str(path)


def test_a_short_key_is_refused_where_it_is_used() -> None:
    assert check_key(bytes(32)) == bytes(32)
    with pytest.raises(Mendable, match="the key has 3 bytes; it needs 32"):
        check_key(b"abc")


def test_the_key_of_references_stands_apart_from_the_signing_key_and_an_earlier_one_is_kept(tmp_path):
    book = tmp_path / "book.sqlite"
    assert beside(book).name == "book.sqlite.visits"
    (tmp_path / "book.sqlite.key").write_text("a signing key, in lines")
    assert beside(book).name == "book.sqlite.visits"
    (tmp_path / "book.sqlite.key").write_bytes(bytes(32))
    assert beside(book).name == "book.sqlite.key"
