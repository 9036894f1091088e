"""Addresses of 'Does it stand up?': the day lived through many times, and what to buy first; both in the background."""

from dataclasses import asdict
from datetime import date
from typing import Any, Final, Literal
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.errors import Mendable
from fettlebook.plan.basis import Basis
from fettlebook.plan.capacity import Capacity, capacity, verdict_words
from fettlebook.plan.overruns import Overruns
from fettlebook.plan.stress import SAMPLES, SLACK_MIN, Stress, stress
from fettlebook.said import joined, said
from fettlebook.web.bench import Bench, Piece, Tell
from fettlebook.web.desk import Desk
from fettlebook.web.late_drawings import capacity_csv, late_chances, purchases, stress_csv, stress_json
from fettlebook.web.pages import Pages, a_day, saved

What = Literal["late", "buy"]
DAYS: Final = 5  # with visits, that purchases are tried on
BUY_SAMPLES: Final = 12
MOST_BUYS: Final = 5
SPREADS: Final = {"0.15": said("a little"), "0.25": said("as is usual"), "0.4": said("a lot")}  # coefficient of variation -> in words
USUAL: Final = "0.25"


def stands_up_routes(pages: Pages, desk: Desk, bench: Bench) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    shows = _Shows(pages, desk, bench)

    @routes.get("/day/{day}/stands-up")
    def _page(day: str, cv: str = USUAL) -> HTMLResponse:
        return shows.page(a_day(day), _a_spread(cv))

    @routes.get("/day/{day}/stands-up/progress")
    def _progress(day: str, cv: str = USUAL) -> JSONResponse:
        return JSONResponse(shows.progress(a_day(day), _a_spread(cv)))

    @routes.post("/day/{day}/stands-up/{what}/{act}")
    def _act(day: str, what: str, act: str, cv: str = USUAL) -> RedirectResponse:
        asked, spread, which = a_day(day), _a_spread(cv), _a_what(what)
        if act == "start":
            shows.start(asked, which, spread)
        elif act == "stop":
            bench.stop(shows.key(asked, which, spread))
        else:
            raise HTTPException(404, said("Work is started or stopped; nothing else."))
        return RedirectResponse(f"/day/{asked}/stands-up?cv={quote(spread)}#result", 303)

    @routes.get("/day/{day}/late.csv")
    def _late_csv(day: str, cv: str = USUAL) -> Response:
        found = shows.found(a_day(day), "late", _a_spread(cv))
        minute = pages.basis(a_day(day)).words.minute
        return Response(stress_csv(found, minute), media_type="text/csv; charset=utf-8", headers=saved(f"late-{a_day(day)}.csv"))

    @routes.get("/day/{day}/late.json")
    def _late_json(day: str, cv: str = USUAL) -> JSONResponse:
        found = shows.found(a_day(day), "late", _a_spread(cv))
        return JSONResponse(stress_json(found, pages.basis(a_day(day)).words.minute), headers=saved(f"late-{a_day(day)}.json"))

    @routes.get("/day/{day}/buy.csv")
    def _buy_csv(day: str, cv: str = USUAL) -> Response:
        found = shows.found(a_day(day), "buy", _a_spread(cv))
        return Response(capacity_csv(found), media_type="text/csv; charset=utf-8", headers=saved(f"buy-{a_day(day)}.csv"))

    @routes.get("/day/{day}/buy.json")
    def _buy_json(day: str, cv: str = USUAL) -> JSONResponse:
        found: Capacity = shows.found(a_day(day), "buy", _a_spread(cv))
        return JSONResponse({**asdict(found), "reached": found.reached}, headers=saved(f"buy-{a_day(day)}.json"))

    return routes


class _Shows:
    """The page and the work behind it."""

    def __init__(self, pages: Pages, desk: Desk, bench: Bench) -> None:
        self._pages, self._desk, self._bench = pages, desk, bench

    def known(self, day: date) -> Basis:
        """Return what the plan of the files was made from, of a day with visits."""
        self._pages.basis(day)
        first = self._desk.day(day).first
        if first is None or first.basis is None or not first.basis.day.visits:
            raise Mendable(said("nothing is planned on this day"), where=str(day), mend=said("Choose a day with visits."))
        return first.basis

    def key(self, day: date, what: What, spread: str) -> str:
        """Return under which name the work goes on."""
        return f"{what} {day} {self._desk.day(day).first_version} {spread}"

    def start(self, day: date, what: What, spread: str) -> None:
        """Begin, or begin again where it was stopped."""
        basis = self.known(day)
        key = self.key(day, what, spread)
        piece = self._bench.look(key)
        if piece is not None and piece.ended and (piece.stopped or piece.trouble):
            self._bench.forget(key)
        overruns = Overruns(float(spread))

        def late(tell: Tell) -> Stress:
            tell.say(said("finding out how people decide best"))
            return stress(
                basis.day, overruns, samples=SAMPLES, plan=basis.plan, told=lambda n, of: tell.say(said("days lived through"), n, of)
            )

        def buy(tell: Tell) -> Capacity:
            booked = self._desk.reading.booked
            days = [d for d in booked if d >= day][:DAYS]
            tell.say(said("reading the days"), 0, len(days))
            instances = [x for d in days if (x := self._desk.instance(d)).visits]

            def told(words: str) -> None:
                tell.say(said("living {instances} days through, {words}", instances=len(instances), words=words))

            return capacity(
                instances,
                overruns,
                samples=BUY_SAMPLES,
                most=MOST_BUYS,
                minute=basis.words.minute,
                told=told,
                stop=tell.stopped,
            )

        self._bench.start(key, late if what == "late" else buy, where="long")

    def progress(self, day: date, spread: str) -> dict[str, Any]:
        """Return how both go, in a few words."""
        pieces = {what: self._bench.look(self.key(day, what, spread)) for what in ("late", "buy")}
        going = [_stage(p) for p in pieces.values() if p is not None and not p.ended]
        done = "".join(what for what, p in pieces.items() if p is not None and p.ended)
        return {
            "stage": joined("; ", going),
            "version": done or "none",
            "trouble": any(p is not None and bool(p.trouble) for p in pieces.values()),
        }

    def found(self, day: date, what: What, spread: str) -> Any:
        """Return a result, or raise for a page that says that there is none yet."""
        piece = self._bench.look(self.key(day, what, spread))
        if piece is None or piece.result is None:
            raise Mendable(said("there is no result yet"), where=str(day), mend=said("Start it on the page, and wait until it is there."))
        return piece.result

    def page(self, day: date, spread: str) -> HTMLResponse:
        """Return the page."""
        basis = self.known(day)
        late, buy = (self._bench.look(self.key(day, what, spread)) for what in ("late", "buy"))
        minute = basis.words.minute
        risks: Stress | None = late.result if late else None
        needs: Capacity | None = buy.result if buy else None
        running = self.progress(day, spread)
        return self._pages.show(
            "stands_up.html",
            spread=spread,
            spreads=SPREADS,
            late=late,
            buy=buy,
            risks=risks,
            needs=needs,
            stage=running["stage"],
            mark=running["version"],
            chances=late_chances(risks, minute) if risks else None,
            bought=purchases(needs) if needs else None,
            buy_line=verdict_words(needs) if needs else "",
            minute=minute,
            samples=SAMPLES,
            days=DAYS,
            slack_min=SLACK_MIN,
            set_name=basis.words.set_name,
            **self._pages.of_day(day, "stands-up", said("Does it stand up?")),
        )


def _stage(piece: Piece) -> str:
    return said("{stage}, {done} of {of}", stage=piece.stage, done=piece.done, of=piece.of) if piece.of else piece.stage


def _a_spread(text: str) -> str:
    if text not in SPREADS:
        raise HTTPException(404, said("No such spread here. There are: {SPREADS}.", SPREADS=joined(", ", SPREADS)))
    return text


def _a_what(text: str) -> What:
    if text == "late":
        return "late"
    if text == "buy":
        return "buy"
    raise HTTPException(404, said("There are: late, buy."))
