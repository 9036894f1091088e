"""What happens to the book itself: clocks, checkpoints, restores, pruning, keys. The program writes these."""

import base64
from typing import Annotated, ClassVar

from pydantic import Field

from fettlebook.book.kinds.forms import AsTuple, Count, Data, Digest, HeldFile, Id, Line, Ms

RootText = Annotated[str, Field(pattern=r"^[A-Za-z0-9+/]{43}=$", description="base64 of the root")]


def root_text(root: bytes) -> str:
    """Return a root as these entries hold it."""
    return base64.b64encode(root).decode()


class ClockBack(Data):
    """The server's clock stands before the last time of receipt. The order of receipt is not touched by it."""

    KIND: ClassVar[str] = "clock.back"

    from_ms: Ms  # when the last entry was received
    to_ms: Ms  # what the clock said


class BookRestored(Data):
    """The book was put back from a backup. Entries after it are gone here unless devices send them again."""

    KIND: ClassVar[str] = "book.restored"

    backup_size: Count
    backup_root: RootText
    backup_digest: Digest | None = None
    lost_from_seq: Annotated[int, Field(ge=1)]


class RestoreTried(Data):
    """A backup was restored to another place and verified there."""

    KIND: ClassVar[str] = "restore.tried"

    backup_digest: Digest
    size: Count
    root: RootText
    whole: bool
    line: Line | None = None


class BookPruned(Data):
    """Bodies of entries were dropped after their term; their hashes are kept, so every proof still holds."""

    KIND: ClassVar[str] = "book.pruned"

    first_seq: Annotated[int, Field(ge=1)]
    last_seq: Annotated[int, Field(ge=1)]
    rule: Line
    kept_count: Count | None = None


class TextErased(Data):
    """The key of a few words was erased: nobody can read them any more. Refers to the entry that holds them."""

    KIND: ClassVar[str] = "text.erased"
    REFERS: ClassVar[bool] = True

    why: Line


class KeyChanged(Data):
    """Checkpoints are signed by another key from now on. `note` holds this change as a text that the old key signed."""

    KIND: ClassVar[str] = "key.changed"

    old: Line
    new: Line
    note: Annotated[str, Field(max_length=2000)]


class CheckpointStamped(Data):
    """An outside authority stamped the time on a checkpoint. `files` are the signed note and the authority's answer, in this order."""

    KIND: ClassVar[str] = "checkpoint.stamped"

    size: Count
    root: RootText
    stamped_ms: Ms  # by the authority's clock
    authority: Line
    files: Annotated[tuple[HeldFile, HeldFile], AsTuple]


class BookVerified(Data):
    """The book was verified from its first entry to its last."""

    KIND: ClassVar[str] = "book.verified"

    size: Count
    root: RootText | None = None
    fault_count: Count
    by_whom: Id | None = None
