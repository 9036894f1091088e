"""Rendering: templates with what every page needs, and what the addresses of pages have in common."""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException

from fettlebook import __version__
from fettlebook.book.kinds import from_ms
from fettlebook.errors import Finding, Mendable
from fettlebook.plan.basis import Basis
from fettlebook.plan.day import DayPlan
from fettlebook.plan.dayclock import DayClock
from fettlebook.practice.model import Chair
from fettlebook.rules.words import length_in_words, limit_in_words, origin_in_words, overridden_in_words
from fettlebook.said import joined, said, said_number
from fettlebook.times.curves import chair_pictures
from fettlebook.times.mix_order import volume_words
from fettlebook.times.order import order_hint
from fettlebook.times.words import LEFT_OUT, share, whole_s
from fettlebook.web import board, running, tables, waits, wording
from fettlebook.web import chair as chair_page
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.health.looked import Looked
from fettlebook.web.languages.templates import speak_in
from fettlebook.web.now import now_and_next
from fettlebook.web.people.signed_forms import SignedForms
from fettlebook.web.people.visit import here
from fettlebook.web.people.who import SignedIn, What

HERE: Final = Path(__file__).parent
LANES: Final[dict[str, board.By]] = {"chair": "chair", "person": "person", "machine": "machine"}


class StillPlanningError(Exception):
    """A page was asked for that needs the day's plan, which is still being made."""

    def __init__(self, day: date) -> None:
        super().__init__(str(day))
        self.day = day


class Pages:
    """Renders templates with what every page needs."""

    def __init__(self, desk: Desk, training_clock: bool, measuring: bool = False) -> None:
        self._desk = desk
        self.doctor: Callable[[], Sequence[Looked]] | None = None  # what was seen of the machine, where somebody looks
        self._training_clock = training_clock
        self._measuring = measuring
        self._templates = Environment(
            loader=FileSystemLoader(HERE / "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            extensions=["jinja2.ext.i18n", SignedForms],
        )
        speak_in(self._templates)
        self._templates.globals |= {"has_book": False, "arrivals": False, "low_on_space": lambda: None, "visit": here}
        self._templates.filters |= {
            "spell": wording.length,
            "spell_up": lambda seconds: wording.length(whole_s(seconds)),
            "number": wording.number,
            "number_3": lambda value: said_number(value, ".3g"),
            "volume": volume_words,
            "unit": wording.unit,
            "zip_same": lambda values: [(value, value) for value in values],
            "share": share,
            "long_day": wording.long_day,
            "short_day": wording.short_day,
            "anchor": running.anchor,
            "origin": origin_in_words,
            "replaced": overridden_in_words,
            "limit_value": limit_in_words,
            "step_length": length_in_words,
            "at_text": lambda ms: from_ms(ms, str(self._desk.reading.zone)).isoformat(timespec="minutes"),
        }

    @property
    def reading(self) -> Reading:
        """The last good reading of the files."""
        return self._desk.reading

    @property
    def now(self) -> datetime:
        """The present moment as the pages have it, in the practice's zone."""
        return self._desk.now()

    def know(self, **values: Any) -> None:
        """Let every template know something, such as that there is a book to ask."""
        self._templates.globals |= values

    def show(self, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Return a page."""
        reading, now = self._desk.reading, self._desk.now()
        return HTMLResponse(
            self._templates.get_template(template).render(
                practice=reading.practice,
                trouble_now=self._desk.trouble,
                now=now,
                now_text=wording.clock(now, reading.zone),
                training_clock=self._training_clock,
                measuring=self._measuring,
                version=__version__,
                **values,
            ),
            status,
        )

    def part(self, template: str, **values: Any) -> str:
        """Return a part of a page, for a script that puts it in the place of an older one."""
        return self._templates.get_template(template).render(**values)

    def plan(self, day: date) -> DayPlan:
        """Return the day's plan, or raise for a page that says why there is none."""
        state = self._desk.day(day)
        if state.plan:
            return state.plan
        if state.trouble:
            raise Mendable.of(state.trouble)
        raise HTTPException(503, said("The day is being planned. Try again in a moment."), headers={"Retry-After": "2"})

    def basis(self, day: date) -> Basis:
        """Return what the day's timetable was made from, or raise for a page that says why there is none."""
        state = self._desk.day(day)
        if state.plan is None and not state.trouble:
            raise StillPlanningError(day)
        plan = self.plan(day)
        if plan.basis is None:
            raise Mendable(said("it is not known what this timetable was made from"), where=str(day), mend=said("Plan the day again."))
        return plan.basis

    def waiting(self, day: date) -> HTMLResponse:
        """Return the page that waits for a day's plan, and then opens what was asked for."""
        state = self._desk.day(day)
        return self.show("waiting.html", 503, state=state, **self.of_day(day, "", ""))

    def minute_now(self, day: date) -> int | None:
        """Return the present minute of a day that is today; None on any other day."""
        now = self._desk.now()
        return DayClock(day, self._desk.reading.zone).minute_up(now) if now.date() == day else None

    def of_day(self, day: date, tab: str, title: str, *, here: str | None = None) -> dict[str, Any]:
        """Return what the top of each page of a day needs; `here` is what follows the day in this page's address."""
        booked = self._desk.reading.booked
        return {
            "day": day,
            "tab": tab,
            "here": f"/{tab}" if here is None else here,
            "title": joined(", ", (title, wording.long_day(day))) if title else wording.long_day(day),
            "before": next((d for d in reversed(booked) if d < day), None),
            "after": next((d for d in booked if d > day), None),
        }

    def day(self, day: date, by: board.By, waits_for: str = "") -> HTMLResponse:
        """Return the day's page: the plan, or what stands in its way, or the word that it is being made."""
        state, reading = self._desk.day(day), self._desk.reading
        steps: dict[str, Any] = {
            "by": by,
            "state": state,
            "planned_at": wording.clock(state.planned_at, reading.zone) if state.planned_at else "",
            **self.of_day(day, "timetable", "", here=f"?by={by}"),
        }
        if state.plan is None:
            return self.mend(state.trouble) if state.trouble and not state.stage else self.show("waiting.html", **steps)
        plan, practice, now = state.plan, reading.practice, self._desk.now()
        today = now.date() == day
        laid, chains = board.lay_out(plan, practice, by), waits.chains(plan)
        return self.show(
            "day.html",
            plan=plan,
            board=laid,
            chain=waits.show_chain(plan, laid, chains, waits_for),
            chain_asked=bool(waits_for),
            chained={plan.basis.refs.get(c.visit, c.visit) for c in chains} if plan.basis else set(),
            lane_height=waits.LANE,
            margin=board.MARGIN_MIN,
            rows=tables.rows_of(plan, practice),
            today=today,
            hands=now_and_next(plan, practice, now) if today else (),
            late=sorted((v for v in plan.visits if v.minutes_late or v.start is None), key=lambda v: v.booked.timestamp()),
            shape=wording.VERDICT_SHAPE[plan.verdict],
            verdict=wording.VERDICT_WORD[plan.verdict],
            clock=lambda moment: wording.clock(moment, reading.zone),
            minute=plan.basis.words.minute if plan.basis else str,
            kind_names={kind.id: kind.name for kind in practice.visit_kinds},
            names={person.id: person.name for person in practice.people},
            offset_min=lambda band: int((now.timestamp() - band.start.timestamp()) // 60),
            chairs={chair.id for chair in practice.chairs},
            **steps,
        )

    def chair(self, chair: Chair) -> HTMLResponse:
        """Return the page of a chair's wash-out."""
        reading = self._desk.reading
        duties = running.duties_of(chair.id, reading.times)
        return self.show(
            "chair.html",
            chair=chair,
            drawings=[chair_page.draw(p) for p in chair_pictures(reading.practice, reading.rulebook, reading.times, chair)],
            rows=[row for duty in duties for row in duty.steps],
            hints=dict.fromkeys(
                filter(None, (order_hint(reading.practice, reading.rulebook, t) for t in reading.times if t.chair == chair.id))
            ),
            left_out=LEFT_OUT,
            title=said("How the lines clear, {id}", id=chair.id),
        )

    def mend(self, findings: tuple[Finding, ...], *, away: bool = False) -> HTMLResponse:
        """Return the page that says what is wrong and how to mend it; `away`: it may come back by itself."""
        return self.show("mend.html", 503 if away else 422, findings=findings, title=said("Something needs mending"))

    def not_allowed(self, who: SignedIn, what: What) -> HTMLResponse:
        """Return the page that says what the signed-in person's role does not do."""
        return self.show("not_allowed.html", 403, who=who, what=what, title=said("Not for this role"))

    def refused(self, why: str, status: int) -> HTMLResponse:
        """Return the page that says why an address shows nothing; 404: there is no such thing."""
        return self.show(
            "nothing_there.html", status, why=why, title=said("Nothing is here") if status == 404 else said("That was not done")
        )

    def fault(self, finding: Finding) -> HTMLResponse:
        """Return the page of a fault in the program."""
        return self.show("fault.html", 500, finding=finding, title=said("A fault in the program"))


def a_day(text: str) -> date:
    """Return the day that an address names, or raise for the page that says there is none."""
    try:
        day = datetime.strptime(text, "%Y-%m-%d").date()  # noqa: DTZ007 - a calendar day has no zone
    except ValueError:
        raise HTTPException(404, said("No such day. A day is written as 2026-11-25.")) from None
    if not 2000 <= day.year <= 2099:
        raise HTTPException(404, said("No such day here: years 2000 to 2099."))
    return day


def a_chair(desk: Desk, name: str) -> Chair:
    """Return the chair that an address names, or raise."""
    chair = next((known for known in desk.reading.practice.chairs if known.id == name), None)
    if chair is None:
        raise HTTPException(404, said("No such chair in the practice file."))
    return chair


def a_lane(text: str) -> board.By:
    """Return what the lanes are that an address names, or raise."""
    if text not in LANES:
        raise HTTPException(404, said("Lanes are by chair, person or machine."))
    return LANES[text]


def saved(name: str, inline: bool = False) -> dict[str, str]:
    """Return the header of a file that is to be saved, or shown inline."""
    return {"Content-Disposition": f'{"inline" if inline else "attachment"}; filename="{name}"'}
