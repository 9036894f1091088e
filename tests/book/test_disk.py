"""Where a book may stand, and what happens when its disk is full, read-only or a share."""

import subprocess
from collections import deque
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

import pytest

from fettlebook.book import disk
from fettlebook.book.disk import low_in, low_on_space, share_in
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion, SetRetired
from fettlebook.book.received import Receipt
from fettlebook.book.stores import open_book
from fettlebook.book.tree import leaf_hash
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
MOUNTS = r"""sysfs /sys sysfs rw 0 0
/dev/sda1 / ext4 rw,relatime 0 0
server:/export /srv/office nfs4 rw 0 0
//server/all /srv/office/all\040files cifs rw 0 0
/dev/sdb1 /srv/office/local ext4 rw 0 0
old:/x /mnt/over nfs rw 0 0
/dev/sdc1 /mnt/over ext4 rw 0 0
who@host:/ /mnt/who/there fuse.sshfs rw 0 0
"""


@pytest.mark.parametrize(
    ("where", "kind"),
    [
        ("/var/lib/book", None),
        ("/srv/office", "nfs4"),
        ("/srv/office/books/a", "nfs4"),
        ("/srv/office/all files/a", "cifs"),
        ("/srv/office/all", "nfs4"),
        ("/srv/office/local/a", None),
        ("/srv/officer", None),
        ("/mnt/over/a", None),
        ("/mnt/who/there", "fuse.sshfs"),
    ],
)
def test_a_folder_is_on_a_share_if_the_innermost_mount_is_one(where: str, kind: str | None) -> None:
    assert share_in(MOUNTS, PurePosixPath(where)) == kind


def test_a_book_is_not_made_on_a_share(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = tmp_path / "mounts"
    table.write_text(f"/dev/sda1 / ext4 rw 0 0\nserver:/x {tmp_path} nfs4 rw 0 0\n", "utf-8")
    monkeypatch.setattr(disk, "MOUNTS", table)
    with pytest.raises(Mendable, match="network share"):
        open_book(tmp_path / "sub" / "book.sqlite")
    assert [p.name for p in tmp_path.iterdir()] == ["mounts"]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a disk of 7 MB that is really full at 7 MB; only where this user may mount one."""
    place = tmp_path / "small disk"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=7m", "tmpfs", str(place)], capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip("this user may not mount a small disk; test_book_file has the page limit instead")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_on_a_full_disk_nothing_acknowledged_is_lost_and_work_goes_on_when_there_is_space(small_disk: Path) -> None:
    receipts: list[Receipt] = []
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(400_000))
    with open_book(small_disk / "book.sqlite") as store:

        def put(n: int) -> None:
            receipts.append(store.note(PracticeFileVersion.of("x" * 20_000), moment=Moment(n, "UTC")))

        with pytest.raises(Mendable, match=r"the disk is full|can't be written") as caught:
            deque(map(put, range(10_000)))
        assert "not acknowledged" in caught.value.mend or "send again" in caught.value.mend
        before = len(receipts)
        assert before > 20
        with pytest.raises(Mendable):
            store.keep_file(bytes(6_500_000), media="text/csv")
        assert [r.seq for r in store.read()] == [r.seq for r in receipts]
        assert store.verify().whole
        ballast.unlink()
        put(20_000)
        assert store.head().size == before + 1
    with open_book(small_disk / "book.sqlite") as store:
        assert [leaf_hash(r.leaf) for r in store.read()] == [r.leaf_hash for r in receipts]
        assert store.verify(receipts={r.seq: r.leaf_hash for r in receipts}).whole


def test_a_disk_that_becomes_read_only_takes_nothing_and_loses_nothing(small_disk: Path) -> None:
    with open_book(small_disk / "book.sqlite") as store:
        first = store.note(SetRetired(unit="exam#1", reason="worn"), moment=Moment(1, "UTC"))
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True, capture_output=True)
    with pytest.raises(Mendable, match="read-only"):
        open_book(small_disk / "book.sqlite")
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True, capture_output=True)
    with open_book(small_disk / "book.sqlite") as store:
        assert [leaf_hash(r.leaf) for r in store.read()] == [first.leaf_hash]


GB = 1_000_000_000


@pytest.mark.practice_fact
@pytest.mark.parametrize(
    ("total", "free", "low"),
    [(500 * GB, 5 * GB, False), (500 * GB, 5 * GB - 1, True), (60 * GB, 3 * GB, False), (60 * GB, 3 * GB - 1, True),
     (8 * GB, GB, False), (8 * GB, GB - 1, True)],
)  # fmt: skip
def test_a_disk_that_gets_full_is_said_before_it_is(total: int, free: int, low: bool) -> None:
    assert (low_in(total, free, "here") is not None) == low


def test_a_disk_that_can_not_be_asked_says_nothing(tmp_path: Path) -> None:
    assert low_on_space(tmp_path / "none" / "book.sqlite") is None
