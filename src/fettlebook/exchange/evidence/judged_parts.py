"""Chapters with drawings: the water of each chair, and the graphs of cycles and tests whose logs are kept."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from fettlebook.book.kinds import CycleJudged, CycleRecorded, MachineTest
from fettlebook.book.received import Received
from fettlebook.errors import Mendable
from fettlebook.exchange.cycle_kept import judge_kept
from fettlebook.exchange.evidence.blocks import Chapter, Clock, short, sign
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.exchange.laboratory.from_book import limit_cfu_ml
from fettlebook.exchange.water_chart import interval_of, water_chart
from fettlebook.rules.words import limit_in_words, origin_in_words
from fettlebook.said import joined, said, said_count, said_date, said_number, term
from fettlebook.standing.facts import happened_ms
from fettlebook.standing.model import Verdict
from fettlebook.standing.water_history import WaterResult

GRAPHS_MOST: Final = 120


def water(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the water: limits in force, and each chair's results with interval, verdict, trend and chart."""
    chapter = Chapter(
        said("Water"),
        said(
            "Results with their exact 95 % interval (Poisson), held against the limits in force. The band of a chart is where the level "
            "lies nine times in ten by a model of all chairs together; single samples scatter more. A model forecasts, it proves nothing."
        ),
    )
    chapter.heading(said("Limits in force"))
    rows = [(term(m.name), term(m.role), limit_in_words(m), origin_in_words(m.origin)) for m in found.water.limits]
    chapter.table(
        {said("Limit"): 2.5, said("Role"): 0.8, said("Value"): 1.4, said("Who sets it"): 4},
        rows,
        empty=said("The rules in force name no limit for the water."),
    )
    for history in found.water.chairs:
        chapter.heading(history.chair)
        mine = [r for r in history.results if found.span.since <= r.taken_ms < found.at]
        over = sum(r.verdict is Verdict.UNFIT for r in mine)
        told = said_count(
            "{n} result in these days, {over} over a limit.", "{n} results in these days, {over} over a limit.", n=len(mine), over=over
        )
        chapter.text(joined(" ", (told, _trend(found, history.chair))))
        if history.results:
            chapter.chart(
                water_chart(found.look, found.water, history.chair),
                said("Water of {chair}: the values stand in the table below", chair=history.chair),
            )
        head = {
            said("Taken"): 1.2,
            said("Sample"): 1.1,
            said("Outlets"): 1.4,
            said("CFU/mL"): 0.9,
            said("95 % interval"): 1.3,
            said("Verdict"): 1.5,
            said("Why"): 2.9,
            said("Entry"): 1.3,
        }
        chapter.table(head, [_result(r, clock) for r in mine], empty=said("No result of these days is in the book."))
    for finding in found.water.judged.findings:
        chapter.text(joined("", (finding.where, ": ", finding.what, ".")))
    return chapter


def _result(one: WaterResult, clock: Clock) -> tuple[str, ...]:
    mark = {"below": "< ", "above": "> "}.get(one.mark or "", "")
    ends = interval_of(one)
    value = joined("", (mark, said_number(one.per_ml, "g"))) if one.per_ml is not None else said("not of a volume")
    interval = said("{low:.3g} to {high:.3g}", low=ends[0], high=ends[1]) if ends is not None else "-"
    why = joined("; ", one.doubts) if one.doubts else one.why
    outlets = ", ".join(one.outlets) if one.outlets else said("not said")
    return clock.at(one.taken_ms), one.sample, outlets, value, interval, sign(one.verdict), why, short(one.evidence[0])


def _trend(found: Gathered, chair: str) -> str:
    today = found.water.today(chair)
    if not today.proven or not found.water.judged.trusted:
        return said("Too few results for a trend.")
    low, middle, high = (today.cfu_per_ml(share) for share in (0.05, 0.5, 0.95))
    told = [
        said(
            "At the end of these days the level is about {middle:.2g} CFU/mL (nine times in ten {low:.2g} to {high:.2g})",
            middle=middle,
            low=low,
            high=high,
        )
    ]
    if found.water.limits:
        level = limit_cfu_ml(found.water.limits[0])
        if level == found.water.judged.limit_cfu_ml:
            told.append(said("the chance that it is above {level:g} is {p:.0f} %", level=level, p=100 * today.p_above_limit))
    if today.passes_on is not None and today.days is not None:
        risk = 100 * found.water.judged.risk
        told.append(said("untreated, that chance reaches {risk:.0f} % on {day}", risk=risk, day=said_date(today.passes_on)))
    return joined("", (joined("; ", told), "."))


@dataclass(frozen=True, slots=True)
class Kept:
    """A run whose log is kept, with the newest judgement in the book."""

    received: Received
    data: CycleRecorded | MachineTest
    verdict: str
    judged_with: str

    @property
    def ran_ms(self) -> int:
        """When it ran."""
        data = self.data
        moment = data.ended_ms if isinstance(data, CycleRecorded) else data.ran_ms
        return moment if moment is not None else happened_ms(self.received)


def kept_runs(entries: Iterator[Received]) -> list[Kept]:
    """Return the runs with a log among entries of cycles, judgements and tests, in the order of receipt; newest judgement each."""
    judged: dict[str, CycleJudged] = {}
    runs: list[tuple[Received, CycleRecorded | MachineTest]] = []
    for received in entries:
        data = received.entry.data
        if isinstance(data, CycleJudged) and received.entry.refers_to:
            judged[received.entry.refers_to] = data
        elif isinstance(data, CycleRecorded | MachineTest) and data.log is not None:
            runs.append((received, data))
    found = []
    for received, data in runs:
        said = judged.get(received.entry.id)
        if isinstance(data, MachineTest):
            found.append(Kept(received, data, {"passed": "fit", "failed": "unfit"}.get(data.outcome, "unproven"), data.judged_with or ""))
        else:
            found.append(Kept(received, data, said.verdict if said else "unproven", said.judged_with if said else ""))
    return found


def chosen_graphs(found: Gathered, kept: list[Kept]) -> tuple[list[Kept], int]:
    """Return whose graph is printed, and how many logs there are: all that aren't fit; of the others each machine's first of a month."""
    inside = [one for one in kept if found.span.since <= one.ran_ms < found.at]
    seen: set[tuple[str, str, str]] = set()
    chosen = []
    for one in inside:
        what = one.data.cycle if isinstance(one.data, CycleRecorded) else one.data.test
        key = (one.data.machine, str(what), found.look.basis.day_of(one.ran_ms).strftime("%Y-%m"))
        if one.verdict != "fit" or key not in seen:
            chosen.append(one)
        if one.verdict == "fit":
            seen.add(key)
    return sorted(chosen, key=lambda one: one.verdict == "fit")[:GRAPHS_MOST], len(inside)


def cycles(found: Gathered, kept: list[Kept], read_file: Callable[[str], bytes], clock: Clock) -> Chapter:
    """Return the chapter of the graphs."""
    chosen, inside = chosen_graphs(found, kept)
    logged = {one.received.entry.id for one in kept}
    failed = [r for r in found.runs if r.verdict is Verdict.UNFIT and r.fact.entry not in logged]
    chapter = Chapter(
        said("Cycle graphs"),
        said(
            "Of {inside} runs with a kept log, graphs of {drawn} (at most {most}): all that failed or are not proven, and of the others "
            "the first one of each month for each machine and cycle. Every log is in the bundle, as the machine wrote it. Each is judged "
            "again here, by the criteria and rules of its day.",
            inside=inside,
            drawn=len(chosen),
            most=GRAPHS_MOST,
        ),
    )
    for one in chosen:
        _graph(chapter, found, one, read_file, clock)
    if not chosen:
        chapter.text(said("No log is kept of any run in these days: what a machine said stands alone, and there is nothing to draw."))
    chapter.heading(said("Failed cycles without a kept log: {n}", n=len(failed)))
    rows = [(clock.at(r.fact.happened), r.machine, r.fact.says.load or "-", r.reason, short(r.fact.entry)) for r in failed]
    chapter.table(
        {said("When"): 1.3, said("Machine"): 1.4, said("Load"): 1.2, said("What the book says"): 4, said("Entry"): 1.4},
        rows,
        empty=said("None."),
    )
    return chapter


def _graph(chapter: Chapter, found: Gathered, one: Kept, read_file: Callable[[str], bytes], clock: Clock) -> None:
    data = one.data
    assert data.log is not None
    what = data.cycle if isinstance(data, CycleRecorded) else data.test
    title = joined(", ", (data.machine, term(str(what)), clock.at(one.ran_ms)))
    load = joined("", (said("Load {load}.", load=data.load), " ")) if data.load else ""
    chapter.heading(title, listed=False)
    try:
        judged = judge_kept(found.look, data, one.ran_ms, read_file(data.log.digest), one.judged_with)
    except Mendable as error:
        chapter.text(joined("", (load, said("Entry {entry}. Not drawn: {why}.", entry=short(one.received.entry.id), why=error.what))))
        return
    now = judged.judgement.verdict
    told = [said("Judged {verdict} by {criteria}.", verdict=sign(Verdict(now)), criteria=term(judged.judgement.criteria_name))]
    if now != one.verdict:
        told.append(said("In the book it stands as {verdict}.", verdict=term(one.verdict)))
    told.append(said("Entry {entry}, file {digest}.", entry=short(one.received.entry.id), digest=data.log.digest[:16]))
    chapter.text(joined("", (load, joined(" ", told))))
    chapter.chart(judged.chart(title), joined("", (title, ": ", term(now), ". ", joined("; ", judged.judgement.reasons[:6]))))
