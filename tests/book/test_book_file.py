"""The SQLite file itself: whose it is, who may write, what is guarded, what a failure says."""

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.book.stores import open_book, tables
from fettlebook.book.stores.migrate import FOLDER
from fettlebook.book.stores.sqlite import SCHEMA
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
MOMENT = Moment(1_772_442_000_000, "Europe/Berlin")
DATA = PracticeFileVersion.of("a = 1\n")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "book.sqlite"
    with open_book(path) as store:
        store.note(DATA, moment=MOMENT)
    return path


def test_a_book_opened_again_has_what_was_in_it(book: Path) -> None:
    with open_book(book) as store:
        assert store.note(DATA, moment=MOMENT).seq == 2
    with open_book(book, write=False) as store:
        assert [r.seq for r in store.read()] == [1, 2]


def test_a_new_book_is_made_with_its_folder_and_leaves_only_itself_and_its_lock(tmp_path: Path) -> None:
    path = tmp_path / "a folder" / "with 100%" / "my book?.sqlite"
    open_book(path).close()
    assert sorted(p.name for p in path.parent.iterdir()) == ["my book?.sqlite", "my book?.sqlite.writer"]


def test_a_book_and_its_log_are_for_their_owner_only(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite") as store:
        store.note(DATA, moment=MOMENT)
        for end in ("", "-wal", "-shm"):
            assert stat.S_IMODE((tmp_path / f"book.sqlite{end}").stat().st_mode) == 0o600


def test_what_a_crash_left_while_making_a_book_does_not_matter(tmp_path: Path) -> None:
    (tmp_path / "book.sqlite.new").write_bytes(b"half")
    (tmp_path / "book.sqlite.new-wal").write_bytes(b"half")
    with open_book(tmp_path / "book.sqlite") as store:
        assert store.note(DATA, moment=MOMENT).seq == 1
    assert not list(tmp_path.glob("*.new*"))


def test_the_file_is_set_up_so_that_an_acknowledged_entry_survives_power_loss(book: Path) -> None:
    with open_book(book) as store, store._writing() as connection:
        asked = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in ("journal_mode", "synchronous", "fullfsync")}
    assert asked == {"journal_mode": "wal", "synchronous": 2, "fullfsync": 1}


def test_tables_are_strict_and_entries_can_not_be_changed_or_deleted(book: Path) -> None:
    raw = sqlite3.connect(book)
    strict = dict(raw.execute("SELECT name, strict FROM pragma_table_list WHERE schema = 'main'"))
    assert {t.name: strict[t.name] for t in tables.metadata.sorted_tables} == dict.fromkeys(tables.metadata.tables, 1)
    for attack in ("UPDATE entry SET kind = 'x'", "DELETE FROM entry", "REPLACE INTO entry SELECT * FROM entry"):
        with pytest.raises(sqlite3.IntegrityError, match=r"never changed|UNIQUE"):
            raw.executescript("PRAGMA recursive_triggers=1;" + attack)
    assert raw.execute("SELECT count(*) FROM entry").fetchone() == (1,)
    raw.close()


def test_a_second_program_is_told_that_one_is_writing_and_may_read(book: Path) -> None:
    code = (
        "import sys; from fettlebook.book.stores import open_book; from fettlebook.errors import Mendable\n"
        "with open_book(sys.argv[1], write=False) as s: print(len(list(s.read())))\n"
        "try: open_book(sys.argv[1])\n"
        "except Mendable as e: print(e.what)\n"
    )
    with open_book(book) as store:
        with pytest.raises(Mendable, match="another fettlebook is writing"):
            open_book(book)
        store.note(DATA, moment=MOMENT)
        done = subprocess.run([sys.executable, "-c", code, str(book)], capture_output=True, text=True, check=True)
        assert done.stdout.splitlines() == ["2", "another fettlebook is writing to this book"]
    open_book(book).close()


def test_a_book_open_for_reading_takes_nothing(book: Path) -> None:
    with open_book(book, write=False) as store, pytest.raises(Mendable, match="opened for reading"):
        store.note(DATA, moment=MOMENT)


def test_reading_a_book_that_is_not_there_makes_none(tmp_path: Path) -> None:
    with pytest.raises(Mendable, match="can't be read"):
        open_book(tmp_path / "none.sqlite", write=False)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("content", [b"", b"BEGIN:VCALENDAR\n", b"SQLite format 3\x00" + bytes(84)], ids=["empty", "text", "other header"])
def test_a_file_that_is_no_book_is_refused_and_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "book.sqlite"
    path.write_bytes(content)
    for write in (True, False):
        with pytest.raises(Mendable, match=r"empty file|not a book"):
            open_book(path, write=write)
    assert path.read_bytes() == content
    assert not Path(f"{path}-wal").exists()


def test_another_program_s_sqlite_file_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    other = sqlite3.connect(path)
    other.executescript("CREATE TABLE entry (x); PRAGMA application_id=7")
    other.close()
    before = path.read_bytes()
    with pytest.raises(Mendable, match="not a book of fettlebook"):
        open_book(path)
    assert path.read_bytes() == before


def test_a_book_of_a_newer_program_is_refused_and_left_as_it_is(book: Path) -> None:
    raw = sqlite3.connect(book)
    raw.execute(f"PRAGMA user_version={SCHEMA + 1}")
    raw.close()
    before = book.read_bytes()
    for write in (True, False):
        with pytest.raises(Mendable, match=f"schema {SCHEMA + 1}") as caught:
            open_book(book, write=write)
        assert "Update" in caught.value.mend
    assert book.read_bytes() == before


@pytest.mark.parametrize("cut", [1, 4096, 0.5])
def test_a_cut_file_is_found_at_the_start(book: Path, cut: float) -> None:
    size = book.stat().st_size
    with book.open("r+b") as file:
        file.truncate(size - int(cut) if cut >= 1 else size // 2)
    with pytest.raises(Mendable, match="damaged"):
        open_book(book)


def test_a_torn_page_is_found_at_the_start(book: Path) -> None:
    with book.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * 4096)
    with pytest.raises(Mendable, match="damaged"):
        open_book(book)


def test_a_full_disk_is_said_in_words_and_what_was_acknowledged_stays(tmp_path: Path) -> None:
    # max_page_count makes SQLite itself report a full disk (SQLITE_FULL), as it does for a full device.
    with open_book(tmp_path / "book.sqlite") as store:
        acknowledged = [store.note(DATA, moment=MOMENT)]
        with store._writing() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count=1")  # SQLite takes the present size instead
        acknowledged += [store.note(PracticeFileVersion.of(""), moment=MOMENT)]  # what still fits goes in
        with pytest.raises(Mendable, match="disk is full") as caught:
            store.note(PracticeFileVersion.of("x" * 500_000), moment=MOMENT)
        assert "Free space" in caught.value.mend
        assert [r.seq for r in store.read()] == [r.seq for r in acknowledged]
        with store._writing() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count=100000")
        assert store.note(DATA, moment=MOMENT).seq == len(acknowledged) + 1


def test_a_folder_that_can_not_be_written_is_said_in_words(tmp_path: Path) -> None:
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR | stat.S_IROTH | stat.S_IXOTH)
    for above in (tmp_path, *tmp_path.parents[:2]):  # pytest's own folders, private to the user
        above.chmod(above.stat().st_mode | stat.S_IXOTH)
    root = os.geteuid() == 0
    if root:  # root may write anywhere: be somebody else for a moment
        os.seteuid(65534)
    try:
        for path in (folder / "book.sqlite", folder / "below" / "book.sqlite"):
            with pytest.raises(Mendable, match="can't be written") as caught:
                open_book(path)
            assert caught.value.where == str(path.parent)
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o700)
    assert not list(folder.iterdir())


def test_a_file_where_the_folder_should_be_is_said_in_words(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("x")
    with pytest.raises(Mendable, match="can't be written"):
        open_book(tmp_path / "notes" / "book.sqlite")


def test_every_step_is_listed_in_order_and_the_newest_schema_is_what_the_program_writes(book: Path) -> None:
    assert [p.stem.partition("_")[0] for p in sorted((FOLDER / "versions").glob("v*.py"))] == list(tables.REVISIONS)
    raw = sqlite3.connect(book)
    assert raw.execute("SELECT version_num FROM alembic_version").fetchall() == [(tables.REVISIONS[-1],)]
    for table in tables.metadata.sorted_tables:
        assert [c[1] for c in raw.execute(f"PRAGMA table_info({table.name})")] == [c.name for c in table.columns]
    raw.close()


def test_a_copy_taken_while_writing_reads_the_same(book: Path, tmp_path: Path) -> None:
    with open_book(book) as store:
        store.note(DATA, moment=MOMENT)
        for end in ("", "-wal"):
            shutil.copy(f"{book}{end}", f"{tmp_path}/copy.sqlite{end}")
        with open_book(tmp_path / "copy.sqlite") as copy:
            assert [r.leaf for r in copy.read()] == [r.leaf for r in store.read()]
