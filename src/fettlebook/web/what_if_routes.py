"""Addresses of 'What if': sliders, an answer at once, a better one from the background. Nothing is changed by them."""

from datetime import date
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from fettlebook.errors import Mendable
from fettlebook.plan.apart import solve_apart
from fettlebook.plan.basis import Basis
from fettlebook.plan.day import DayPlan
from fettlebook.plan.solve import Solved
from fettlebook.plan.what_if import Trial, trial_words
from fettlebook.said import said
from fettlebook.web import wording
from fettlebook.web.bench import Bench, Piece, Tell
from fettlebook.web.desk import Desk
from fettlebook.web.pages import Pages, a_day, saved
from fettlebook.web.trials import SEARCH_S, SEED, Answer, answer_of, better_of, first_answer, query_of, rows_csv, sliders, trial_of


def _asked(request: Request) -> dict[str, str]:
    return dict(request.query_params)


Asked = Annotated[dict[str, str], Depends(_asked)]


def what_if_routes(pages: Pages, desk: Desk, bench: Bench) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    shows = _Shows(pages, desk, bench)

    @routes.get("/day/{day}/what-if")
    def _page(day: str, asked: Asked) -> HTMLResponse:
        return shows.page(a_day(day), asked)

    @routes.get("/day/{day}/what-if/progress")
    def _progress(day: str, asked: Asked) -> JSONResponse:
        piece = shows.piece(a_day(day), asked)
        stage = "" if piece is None or piece.ended else piece.stage
        return JSONResponse({"stage": stage, "version": str(not stage), "trouble": bool(piece and piece.trouble)})

    @routes.post("/day/{day}/what-if/stop")
    def _stop(day: str, asked: Asked) -> RedirectResponse:
        key, query = shows.key(a_day(day), asked)
        bench.stop(key)
        return RedirectResponse(f"/day/{quote(day)}/what-if?{query}#result", 303)

    @routes.get("/day/{day}/what-if.csv")
    def _csv(day: str, asked: Asked) -> Response:
        _, answer = shows.answer(a_day(day), asked)
        return Response(rows_csv(answer.rows), media_type="text/csv; charset=utf-8", headers=saved(f"what-if-{a_day(day)}.csv"))

    @routes.get("/day/{day}/what-if.json")
    def _json(day: str, asked: Asked) -> JSONResponse:
        words, answer = shows.answer(a_day(day), asked)
        rows = [{"what": r.what, "before": r.before, "after": r.after} for r in answer.rows]
        late = [{"visit": m.visit, "minutes_late_before": m.before, "minutes_late_after": m.after} for m in answer.moved]
        found = {"tried": list(words), "line": answer.line, "figures": rows, "visits": late}
        return JSONResponse(found, headers=saved(f"what-if-{a_day(day)}.json"))

    return routes


class _Shows:
    """The page and what stands behind it."""

    def __init__(self, pages: Pages, desk: Desk, bench: Bench) -> None:
        self._pages, self._desk, self._bench = pages, desk, bench

    def known(self, day: date, asked: dict[str, str]) -> tuple[DayPlan, Basis, Trial]:
        """Return the plan of the files and what is tried on it."""
        self._pages.basis(day)
        first = self._desk.day(day).first
        if first is None or first.basis is None or not first.basis.day.visits:
            raise Mendable(said("nothing is planned on this day"), where=str(day), mend=said("Choose a day with visits."))
        return first, first.basis, trial_of(asked, first.basis)

    def key(self, day: date, asked: dict[str, str]) -> tuple[str, str]:
        """Return under which name the search for a trial goes on, and the trial's address."""
        _, basis, trial = self.known(day, asked)
        query = query_of(trial, basis)
        return f"what if {day} {self._desk.day(day).first_version} {query}", query

    def piece(self, day: date, asked: dict[str, str]) -> Piece | None:
        """Return how the search goes."""
        return self._bench.look(self.key(day, asked)[0])

    def answer(self, day: date, asked: dict[str, str]) -> tuple[tuple[str, ...], Answer]:
        """Return what is tried in words and the best answer so far; the search goes on in the background."""
        first, basis, trial = self.known(day, asked)
        words = trial_words(trial, basis.words.set_name, basis.words.minute)
        changed, solved = first_answer(basis, trial)
        key, _ = self.key(day, asked)

        def better(tell: Tell) -> Solved:
            tell.say(said("looking for a better plan"))
            return solve_apart(changed, limit_s=SEARCH_S, seed=SEED, stop=tell.stopped)

        piece = self._bench.start(key, better, where="quick", group=f"what if {day}")
        found = piece.result if isinstance(piece.result, Solved) else None
        return words, answer_of(first, basis, changed, better_of(solved, found))

    def page(self, day: date, asked: dict[str, str]) -> HTMLResponse:
        """Return the page."""
        _, basis, trial = self.known(day, asked)
        query = query_of(trial, basis)
        more: dict[str, Any] = {"answer": None, "words": (), "stage": "", "trouble": (), "shape": "", "verdict": ""}
        try:
            if not trial.nothing:
                words, answer = self.answer(day, asked)
                piece = self.piece(day, asked)
                more |= {"answer": answer, "words": words, "stage": piece.stage if piece and not piece.ended else ""}
                more |= {"shape": wording.VERDICT_SHAPE[answer.shape], "verdict": wording.VERDICT_WORD[answer.shape]}
        except Mendable as error:  # a slider that can't be, such as a visit on a taken chair: said beside the sliders
            more["trouble"] = error.findings
        return self._pages.show(
            "what_if.html",
            trial=trial,
            query=query,
            groups=sliders(trial, basis),
            hands_from=basis.maps.clock.moment(trial.hands_from).strftime("%H:%M"),
            visits=sorted(basis.day.visits, key=lambda v: (v.booked, v.chair)),
            chairs=basis.day.chairs,
            **more,
            **self._pages.of_day(day, "what-if", said("What if")),
        )
