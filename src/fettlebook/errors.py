"""The one error form: what is wrong, where it is, how to mend it.

Checks over data return findings as values, all of them. `Mendable` is for one call that can't go on; faces turn it
into exit status 2 and readable lines, or into HTTP 422 with the same three fields. Anything else is a bug.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong: the value seen, its place (file, line, field), and the instruction that mends it."""

    what: str
    where: str
    mend: str
    weight: Literal["error", "warning"] = "error"

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.mend}"


class Mendable(Exception):  # noqa: N818 - the word of the house; it names a chance, not a crash
    """A call can't go on because of something that the reader can mend.

    `findings` holds everything that was found, never empty; `what`, `where` and `mend` are those of the first.
    """

    def __init__(self, what: str, *, where: str, mend: str, others: Sequence[Finding] = ()) -> None:
        self.findings: tuple[Finding, ...] = (Finding(what, where, mend), *others)
        super().__init__(str(self.findings[0]))

    @classmethod
    def of(cls, findings: Sequence[Finding]) -> "Mendable":
        """Return one error that carries all `findings` (at least one)."""
        first, *others = findings
        return cls(first.what, where=first.where, mend=first.mend, others=others)

    @property
    def what(self) -> str:
        """What is wrong, with the value seen."""
        return self.findings[0].what

    @property
    def where(self) -> str:
        """File, line and field, or argument and row."""
        return self.findings[0].where

    @property
    def mend(self) -> str:
        """How to mend it, as an instruction."""
        return self.findings[0].mend


class AwayError(Mendable):
    """What was asked does not answer now, such as a database that is down: nothing was done, and the same call may do later."""
