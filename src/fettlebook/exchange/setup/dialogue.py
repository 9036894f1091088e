"""One set-up in its folder: which question waits, what an answer does, one step back. The same for every face."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.setup.asking import DAY_MARK, TYPICAL, Open, Question, Walk, meant
from fettlebook.exchange.setup.draft import Draft
from fettlebook.exchange.setup.kept import Answers, keep_answers, make_folder, read_answers
from fettlebook.exchange.setup.script import before, waiting
from fettlebook.said import said

PRACTICE: Final = "practice.toml"
MOST_FILE: Final = 20_000_000


@dataclass(frozen=True, slots=True)
class Now:
    """Where the dialogue stands: the question that waits (None: all is answered), why its last answer was refused, how many are taken."""

    question: Question | None
    draft: Draft | None
    answered: int
    finding: Finding | None = None
    refused: str = ""  # what was typed and could not be taken
    can_go_back: bool = False


class Dialogue:
    """Asks, keeps and goes back. Every answer is on disk before the next question is shown."""

    def __init__(self, folder: Path, today: Callable[[], date], zone: str) -> None:
        make_folder(folder)
        self.folder, self._today, self._zone = folder, today, zone
        self.answers: Answers = read_answers(folder)
        self._there = (folder / PRACTICE).exists()
        self.was_done = self.answers.done
        self.answers.taken.pop("end.finish", None)  # asked anew: what stands in the folder may have changed
        keep_answers(folder, self.answers)  # says at once where the folder can't be written to

    def now(self) -> Now:
        """Return where the dialogue stands."""
        walk = self._walk()
        found = waiting(walk)
        taken = sum(q.id in self.answers.taken for q in walk.asked)
        if isinstance(found, Draft):
            return Now(None, found, taken, can_go_back=True)
        name = found.question.id
        refused = self.answers.refused.get(name, "")
        finding = found.finding
        if name in self.answers.refused and finding is None:
            finding = self._try(found.question, refused)
        return Now(found.question, None, taken - (found.finding is not None), finding, refused, before(walk) is not None)

    def asked(self) -> tuple[Question, ...]:
        """Return the questions up to the one that waits."""
        walk = self._walk()
        waiting(walk)
        return tuple(walk.asked)

    def answer(self, typed: str) -> Finding | None:
        """Take an answer to the question that waits; return why it can't be taken. Empty: what is offered."""
        walk = self._walk()
        found = waiting(walk)
        if isinstance(found, Draft):
            return None
        question = found.question
        finding = self._try(question, typed)
        if finding is None:
            self.answers.taken[question.id] = self._kept(question, typed)
            self.answers.refused.pop(question.id, None)
            self.answers.earlier.pop(question.id, None)
        else:
            self.answers.refused[question.id] = typed[:MOST_REFUSED].encode("utf-8", "replace").decode()
        keep_answers(self.folder, self.answers)
        return finding

    def back(self) -> bool:
        """Go one question back; its answer is offered anew. False at the first question."""
        walk = self._walk()
        all_answered = isinstance(waiting(walk), Draft)
        question = (walk.asked[-1] if walk.asked else None) if all_answered else before(walk)
        if question is None:
            return False
        self.answers.earlier[question.id] = self.answers.taken.pop(question.id, "")
        self.answers.done = False
        keep_answers(self.folder, self.answers)
        return True

    def ended(self) -> None:
        """Keep that the practice file was written."""
        self.answers.done = self._there = True
        keep_answers(self.folder, self.answers)

    def _try(self, question: Question, typed: str) -> Finding | None:
        """Return why an answer would not be taken."""
        try:
            kept = self._kept(question, typed)
        except Mendable as error:
            return error.findings[0]
        found = waiting(self._walk({question.id: kept}))
        return found.finding if isinstance(found, Open) and found.question.id == question.id else None

    def _kept(self, question: Question, typed: str) -> str:
        """Return an answer as it is kept: choices by value, Enter as what it takes."""
        kept = meant(question, typed if typed.strip() else question.offered)
        dated = question.dated and kept != TYPICAL and DAY_MARK not in kept
        return f"{kept} {DAY_MARK}{self._today()}" if dated else kept

    def _walk(self, more: dict[str, str] | None = None) -> Walk:
        calendars = sorted(path.name for path in self.folder.glob("*.ics"))
        return Walk(
            self.answers.taken | (more or {}),
            self.answers.earlier,
            self._today(),
            self.read,
            self._zone,
            tuple(calendars),
            self._there,
        )

    def read(self, name: str) -> bytes:
        """Return the bytes of a file that an answer names, in the folder or anywhere."""
        path = self.folder / Path(name).expanduser()
        try:
            with path.open("rb") as file:
                data = file.read(MOST_FILE + 1)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or said("no such name can be")
            mend = said("Give the path of the .ics file, or copy it into {folder} and give its name.", folder=str(self.folder))
            raise Mendable(said('"{name}" can\'t be read: {reason}', name=name[:80], reason=reason), where="answer", mend=mend) from None
        return data


MOST_REFUSED: Final = 500
