"""A dialogue as a walk over answers: the script asks, and the first question without a good answer is the one to show.

In: answers as they were typed, by the questions' ids. Out: values, or `Open` with the question. Nothing is kept here, and no
question knows its face.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final, TypeVar

from fettlebook.errors import Finding, Mendable
from fettlebook.said import said

T = TypeVar("T")
MOST_SIGNS: Final = 2000  # of one answer
DAY_MARK: Final = "@"  # before the day of a dated answer
TYPICAL: Final = "typical"  # the answer that takes a typical value; typing the same number says that it is known


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several answers: what is kept, and what is shown."""

    value: str
    words: str
    taken: str = ""  # on a sheet: what is taken for it where nobody says otherwise


@dataclass(frozen=True, slots=True)
class Question:
    """One question: what is asked, why, and what Enter takes; `offered` may be empty, and then Enter means `enter_words`."""

    id: str
    part: str  # the part of the practice that it is about
    text: str
    why: str
    offered: str = ""
    offered_words: str = ""  # how the offered value is shown, where it is not shown as it is kept
    enter_words: str = ""  # what an empty answer means; empty: it means nothing, and is refused
    choices: tuple[Choice, ...] = ()
    many: bool = False
    example: str = ""
    dated: bool = False  # whether the day of the answer belongs to it
    sheet: bool = False  # its choices are things with what is taken for them; chosen are those that are otherwise
    cup_s: int = 0  # seconds that each cup is held; bare numbers are mL in that time

    @property
    def shown(self) -> str:
        """What Enter takes, as it is shown; empty where it takes nothing."""
        return self.offered_words or next((c.words for c in self.choices if c.value == self.offered), self.offered) or self.enter_words


class Open(Exception):  # noqa: N818 - no error: the dialogue waits here
    """A question waits for its answer; `finding` says why a kept one is not taken."""

    def __init__(self, question: Question, finding: Finding | None = None) -> None:
        super().__init__(question.id)
        self.question, self.finding = question, finding


@dataclass(slots=True)
class Walk:
    """One walk through the script.

    `read_file` gives the bytes of a file that an answer names; it raises `Mendable`.
    """

    answers: Mapping[str, str]
    earlier: Mapping[str, str]  # answers that were gone back over: offered anew
    today: date
    read_file: Callable[[str], bytes]
    zone: str = "Europe/London"  # of this machine: offered
    calendars: tuple[str, ...] = ()  # calendar files that lie in the folder: the first is offered
    there: bool = False  # whether a practice file stands in the folder
    part: str = ""
    asked: list[Question] = field(default_factory=list)

    def ask(
        self,
        name: str,
        text: str,
        why: str,
        read: Callable[[str], T],
        *,
        offered: str = "",
        offered_words: str = "",
        enter_words: str = "",
        choices: Sequence[Choice] = (),
        many: bool = False,
        example: str = "",
        dated: bool = False,
        sheet: bool = False,
        cup_s: int = 0,
    ) -> T:
        """Return the answer as `read` takes it; raises `Open` where there is none that can be taken."""
        before = self.earlier.get(name, "")
        if before and before != offered:
            offered, offered_words = before, ""
        question = Question(
            name, self.part, text, why, offered, offered_words, enter_words, tuple(choices), many, example, dated, sheet, cup_s
        )
        self.asked.append(question)
        if name not in self.answers:
            raise Open(question)
        try:
            return read(meant(question, self.answers[name]))
        except Mendable as error:
            raise Open(question, error.findings[0]) from None

    def otherwise(self, name: str, text: str, lines: Sequence[Choice]) -> frozenset[str]:
        """Show what is taken without asking, all on one sheet; return the things for which it is otherwise: they are asked one by one."""
        if not lines:
            return frozenset()
        return self.ask(
            name,
            text,
            said("Each line stands in the file as it is shown. Choose those that are otherwise at yours: only these are asked next."),
            lambda typed: frozenset(part for part in typed.split(", ") if part),
            enter_words=said("all as shown"),
            choices=lines,
            many=True,
            sheet=True,
        )


def meant(question: Question, typed: str) -> str:
    """Return what an answer stands for: numbers of choices become their values.

    Raises
    ------
    Mendable
        It is too long, empty where something is needed, or no choice of the question.
    """
    typed = " ".join(typed.split())
    if len(typed) > MOST_SIGNS:
        raise Mendable(said("the answer has {n} signs", n=len(typed)), where=question.text, mend=said("Write it in fewer words."))
    if not typed.isprintable():
        raise Mendable(said("the answer holds signs that can't be shown"), where=question.text, mend=said("Type it anew."))
    if not typed and not question.enter_words:
        raise Mendable(said("nothing was answered"), where=question.text, mend=said("Give an answer, or go back."))
    if question.cup_s:
        return _cups(typed, question.cup_s)
    if not question.choices or not typed:
        return typed
    words = [word.strip() for word in typed.split(",")] if question.many else [typed]
    return ", ".join(dict.fromkeys(_choice(question, word) for word in words if word))


def _cups(typed: str, seconds: int) -> str:
    """Return cups each with its seconds: a bare number is mL in the time that the question names."""
    words = typed.replace(";", " ").replace(", ", " ").split()
    return " ".join(f"{word}/{seconds}" if re.fullmatch(r"\d+(?:[.,]\d+)?(?:ml|g)?", word, re.IGNORECASE) else word for word in words)


def _choice(question: Question, word: str) -> str:
    if any(choice.value == word for choice in question.choices):  # a room may be called "2"
        return word
    if word.isdigit() and 1 <= int(word) <= len(question.choices):
        return question.choices[int(word) - 1].value
    folded = word.casefold()
    exact = [c.value for c in question.choices if folded in (c.value.casefold(), str(c.words).casefold())]
    near = exact or [
        c.value for c in question.choices if c.value.casefold().startswith(folded) or str(c.words).casefold().startswith(folded)
    ]
    if len(near) != 1:
        have = ", ".join(f"{n} {c.words}" for n, c in enumerate(question.choices, start=1))
        what = said('"{word}" is none of the answers', word=word[:40]) if not near else said('"{word}" may mean several', word=word[:40])
        raise Mendable(what, where=question.text, mend=said("Type one of the numbers or words: {have}.", have=have))
    return near[0]


YES_NO: Final = (Choice("yes", said("yes")), Choice("no", said("no")))
