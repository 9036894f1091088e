"""Each person's duties as a calendar that a phone subscribes to: `/feed/PERSON/TOKEN.ics`.

A calendar app can't sign in, so the address itself carries a token: that of a device that the lead let in for it ("calendar of ana"), which
can be withdrawn like any other. What is handed out is planned work and what falls due: no visit, no patient, no remark.
"""

from datetime import date, timedelta
from typing import Final

from fastapi import APIRouter
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from fettlebook.exchange.share.diary import duty_diary
from fettlebook.plan.day import DayPlan
from fettlebook.said import said
from fettlebook.standing.due import due_duties
from fettlebook.standing.model import Owed
from fettlebook.web.desk import Desk
from fettlebook.web.pages import Pages, saved
from fettlebook.web.people.people import People
from fettlebook.web.record import Record

DAYS: Final = 3  # booked days that a calendar shows; the plan of a later one would not hold anyway
EVERYBODY: Final = "all"


def feed_routes(pages: Pages, desk: Desk, record: Record, people: People) -> APIRouter:
    """Return the route."""
    routes = APIRouter()

    @routes.get("/feed/{person}/{token}.ics")
    def _feed(person: str, token: str) -> Response:
        if not people.free and not people.device_of(token, free=False):
            raise HTTPException(404, said("No such calendar. Let the lead let it in anew."))
        practice = pages.reading.practice
        if person != EVERYBODY and person not in {one.id for one in practice.people}:
            raise HTTPException(404, said("No such person in the practice file."))
        now = desk.now()
        plans = _plans(desk, now.date())
        planned = {task.place for plan in plans if plan.day <= now.date() + timedelta(days=1) for task in plan.tasks}
        owed: tuple[Owed, ...] = ()
        if record.ready(2.0):
            with record.view() as view:
                owed = tuple(one for one in due_duties(view) if one.overdue or one.subject.partition(":")[2] not in planned)
        made = duty_diary(practice, plans, owed, person=None if person == EVERYBODY else person, made_at=now)
        return Response(made, media_type="text/calendar; charset=utf-8", headers=saved("duties.ics", inline=True))

    return routes


def _plans(desk: Desk, today: date) -> list[DayPlan]:
    """Return the plans of the next booked days that are there already; asking for the others has them made for the next time."""
    days = [day for day in desk.reading.booked if day >= today][:DAYS]
    return [plan for day in days if (plan := desk.day(day).plan) is not None]
