"""May I use it? The board, one subject with all its conditions, what is due; each at any moment, each as a table to save."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fettlebook.rules.words import origin_in_words
from fettlebook.said import joined, said
from fettlebook.standing.asking import minutes, name_of, read_subject, said_at
from fettlebook.standing.due import due_duties
from fettlebook.standing.model import Owed, Verdict
from fettlebook.standing.standings import View
from fettlebook.web.entry_words import EntryNames, kind_in_words, row_of
from fettlebook.web.moments import Asked, asked, long, short
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.tiles import SIGN, board_of, tile_of

OPENINGS: Final = 10  # past days shown on a subject's page
ENTRIES: Final = 20
WAIT_S: Final = 2.0


class Asking:
    """What the pages of the book have in common: the record, the moment asked about, and the words for both."""

    def __init__(self, pages: Pages, record: Record) -> None:
        self.pages = pages
        self.record = record

    def moment(self, at: str, known: str) -> Asked:
        """Return the moment that an address names."""
        return asked(at, known, self.pages.reading.zone, self.pages.now)

    @contextmanager
    def view(self, moment: Asked) -> Iterator[View]:
        """Give the verdicts of a moment."""
        with self.record.view(moment.at_ms, moment.known_ms) as view:
            yield view

    def show(self, template: str, tab: str, moment: Asked, **values: Any) -> HTMLResponse:
        """Return a page of the book."""
        zone, now = self.pages.reading.zone, self.record.now()
        return self.pages.show(
            template,
            tab=tab,
            moment=moment,
            when=lambda ms: short(ms, zone, moment.at_ms if moment.at_ms is not None else now),
            long_when=lambda ms: long(ms, zone),
            name_of=name_of,
            minutes=minutes,
            sign=lambda verdict: SIGN[Verdict(verdict)],
            **values,
        )

    def waiting(self) -> HTMLResponse | None:
        """Return the page that says that the book is being read; None once it was."""
        if self.record.ready(WAIT_S):
            return None
        return self.pages.show(
            "reading.html", seen=self.record.seen, of=self.record.store.head().size, title=said("The book is being read")
        )


def standing_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes of the board, of subjects and of what is due."""
    router, asking = APIRouter(), Asking(pages, record)

    @router.get("/standing")
    def _board(at: str = "", known: str = "", known_at: str = "") -> HTMLResponse:
        moment = asking.moment(at, known_at or known)
        if (waiting := asking.waiting()) is not None:
            return waiting
        with asking.view(moment) as view:
            return asking.show("standing.html", "board", moment, board=board_of(view), title=said("May I use it?"))

    @router.get("/standing.csv")
    def _board_csv(at: str = "", known: str = "", known_at: str = "") -> Response:
        with asking.view(asking.moment(at, known_at or known)) as view:
            rows = [_standing_row(view, subject) for subject in view.subjects()]
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("standing.csv"))

    @router.get("/standing/find")
    def _find(subject: str = "", at: str = "", known: str = "", known_at: str = "", of: str = "/standing") -> RedirectResponse:
        moment = asking.moment(at, known_at or known)
        with asking.view(moment) as view:
            chosen = read_subject(view, subject.strip())
        return RedirectResponse(moment.link(of if of == "/trace" else "/standing", chosen), 303)

    @router.get("/standing/{subject:path}")
    def _subject(subject: str, at: str = "", known: str = "", known_at: str = "") -> HTMLResponse:
        moment = asking.moment(at, known_at or known)
        if (waiting := asking.waiting()) is not None:
            return waiting
        with asking.view(moment) as view:
            standing = view.standing(subject)
            tile = tile_of(view, standing)
            conditions = (*standing.failing, *(one for one in standing.conditions if one.verdict is Verdict.FIT))
            past = list(_openings(record, view, subject))
            basis = view.look.basis
            steps = {step: known_step.name for step, (_, known_step) in basis.steps.items()}
        entries, names = record.newest(ENTRIES, subjects=[subject]), EntryNames(pages.reading.practice, pages.reading.rulebook)
        return asking.show(
            "subject.html", "board", moment, standing=standing, conditions=conditions, tile=tile, past=past, steps=steps,
            title=said("May I use {name}?", name=tile.name),
            entries=[row_of(one, pages.reading.zone, names) for one in entries], kind_in_words=kind_in_words,
            machine_or_chair=subject.partition(":")[0] in ("machine", "chair"),
        )  # fmt: skip

    @router.get("/due")
    def _due(at: str = "", known: str = "", known_at: str = "") -> HTMLResponse:
        moment = asking.moment(at, known_at or known)
        if (waiting := asking.waiting()) is not None:
            return waiting
        with asking.view(moment) as view:
            found = due_duties(view)
            steps = {step: known_step.name for step, (_, known_step) in view.look.basis.steps.items()}
        cost = minutes(sum(owed.attended_s for owed in found), sum(owed.unattended_s for owed in found))
        return asking.show("due.html", "due", moment, found=found, steps=steps, cost=cost, title=said("What is due"))

    @router.get("/due.csv")
    def _due_csv(at: str = "", known: str = "", known_at: str = "") -> Response:
        with asking.view(asking.moment(at, known_at or known)) as view:
            rows = [_owed_row(view, owed) for owed in due_duties(view)]
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("due.csv"))

    return router


def _openings(record: Record, view: View, subject: str) -> Iterator[tuple[int, str]]:
    """Yield the verdict at each of the last openings, by what was known then; nothing of days on which the subject was unknown."""
    look = view.look
    day, found = look.at, 0
    for _ in range(4 * OPENINGS):
        begins = [begin for begin, _ in look.basis.openings(look.basis.day_of(day)) if begin <= look.at]
        if begins:
            with record.view(begins[0], begins[0]) as then:
                if subject in then.subjects() or subject in ("practice:all",):
                    yield begins[0], then.standing(subject).verdict.value
            found += 1
        if found == OPENINGS:
            return
        day = look.basis.days_after(day, -1)


def _standing_row(view: View, subject: str) -> dict[str, Any]:
    standing, zone = view.standing(subject), view.look.basis.zone
    first = standing.failing[0] if standing.failing else None
    way = standing.way_to_fit
    return {
        "subject": subject,
        "verdict": standing.verdict.value,
        "until": said_at(standing.valid_until_ms, zone) or "",
        "first_reason": first.told if first else "",
        "rule": origin_in_words(first.origin) if first else "",
        "evidence": " ".join(first.evidence) if first else "",
        "way_to_fit": joined("; ", (owed.name for owed in way.duties)),
        "attended_min": round(way.attended_s / 60, 1),
        "unattended_min": round(way.unattended_s / 60, 1),
        "at": said_at(view.look.at, zone),
    }


def _owed_row(view: View, owed: Owed) -> dict[str, Any]:
    return {
        "overdue": "yes" if owed.overdue else "no",
        "due": said_at(owed.due_ms, view.look.basis.zone) or "",
        "subject": owed.subject,
        "duty": owed.name,
        "steps": " ".join(owed.steps),
        "attended_min": round(owed.attended_min, 1),
        "unattended_min": round(owed.unattended_min, 1),
        "rule": origin_in_words(owed.origin),
        "at": said_at(view.look.at, view.look.basis.zone),
    }
