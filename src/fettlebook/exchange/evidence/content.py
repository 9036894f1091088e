"""The document as plain data for the typesetter: the first page and all chapters, from what was gathered."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fettlebook import __version__
from fettlebook.book.kinds import EntryCorrected, EntryWithdrawn
from fettlebook.book.received import Received
from fettlebook.exchange.evidence import duties, judged_parts, parts, rest
from fettlebook.exchange.evidence.blocks import Clock
from fettlebook.exchange.evidence.figures import Figures
from fettlebook.exchange.evidence.first_page import first_page
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.exchange.evidence.judged_parts import Kept
from fettlebook.exchange.evidence.seals import Seals
from fettlebook.exchange.paper.cards import CAUTION, PAGE_OF
from fettlebook.said import said, said_number

TITLE: Final = said("Evidence file")
WORDS: Final = {
    "contents": said("Contents"),
    "invented": said("invented data"),
    "book_at": said("Book at entry"),
    "pages": PAGE_OF,
}


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside the standings: read from the entries themselves."""

    amended: tuple[Received, ...]  # corrections and withdrawals of the stretch
    late: int  # entries that came more than a day after the moment they claim
    kinds_by: Counter[tuple[str, str]]  # (person, kind) in the stretch
    kept: tuple[Kept, ...]
    opened: tuple[tuple[int, Any, str], ...]  # (moment, what, entry) of packages and solutions
    newest_ms: int  # when the newest entry was received


@dataclass(frozen=True, slots=True)
class Document:
    """What a document is made from."""

    found: Gathered
    figures: Figures
    held: Seals
    beside: Beside
    figures_digest: str  # SHA-256 of figures.json


def content_of(document: Document, read_file: Callable[[str], bytes]) -> dict[str, Any]:
    """Return the document. The moment that it bears is that of the newest entry it rests on: no clock is read."""
    found, figures, held, beside = document.found, document.figures, document.held, document.beside
    figures_digest = document.figures_digest
    clock, practice, span = Clock(found.look.basis.zone), found.practice.practice, found.span
    head = {"figures": figures_digest}
    chapters = (
        duties.compliance(figures),
        duties.not_in_time(figures, clock),
        parts.deviations(found, clock),
        rest.look_backs(found, clock),
        parts.chairs(found, clock),
        judged_parts.water(found, clock),
        parts.machines(found, clock),
        judged_parts.cycles(found, list(beside.kept), read_file, clock),
        parts.loads(found, clock),
        duties.gaps(found, beside.amended, beside.late, clock),
        rest.in_force(found, clock),
        rest.people(found, beside.kinds_by, clock),
        rest.products(found, beside.opened, clock),
        rest.seals(held, head, clock, newest_ms=beside.newest_ms),
    )
    return {
        "title": TITLE,
        "practice": practice.name,
        "invented": practice.invented,
        "words": WORDS,
        "span": span.words,
        "chairs": said("only {chairs} (and what is of no chair)", chairs=", ".join(span.chairs)) if span.chairs else "",
        "size": said_number(held.checkpoint.size, ","),
        "made": clock.parts(beside.newest_ms),
        "keywords": [f"figures.json SHA-256 {figures_digest}"],
        "caution": CAUTION,
        "seal": said(
            "Made by fettlebook {version} from the book at entry {size:,}, short form {short}, newest entry received {newest}. "
            "Numbers are recounted from the entries by check.py of the bundle; figures.json SHA-256 {digest}.",
            version=__version__,
            size=held.checkpoint.size,
            short=held.checkpoint.short(),
            newest=clock.at(beside.newest_ms),
            digest=figures_digest,
        ),
        **first_page(found, figures, held, clock),
        "chapters": [chapter.data() for chapter in chapters],
    }


def amended_of(entries: Iterable[Received]) -> tuple[Received, ...]:
    """Return the corrections and withdrawals among entries."""
    return tuple(one for one in entries if isinstance(one.entry.data, EntryCorrected | EntryWithdrawn))


def opened_of(found: Gathered, subjects: Sequence[str]) -> tuple[tuple[int, Any, str], ...]:
    """Return the packages opened and solutions mixed in the stretch, each once."""
    seen: dict[str, tuple[int, Any, str]] = {}
    for subject in subjects:
        for sort in ("opened", "mixed"):
            for fact in found.look.forward(subject, sort, since=found.span.since, until=found.at - 1):
                seen.setdefault(fact.entry, (fact.happened, fact.says, fact.entry))
    return tuple(seen.values())
