"""Running times on a terminal of 80 columns: a block for each chair, and beneath it what is unknown and what to mind."""

from collections.abc import Sequence
from datetime import date

from rich.console import Console
from rich.padding import Padding
from rich.table import Table

from fettlebook.practice.model import Chair, Practice
from fettlebook.rules.model import Rulebook
from fettlebook.said import listed
from fettlebook.science.circuits import Method
from fettlebook.times.findings import stray_measurements
from fettlebook.times.model import DutyTotal, RunningTime
from fettlebook.times.order import order_hint
from fettlebook.times.words import METHOD, clock, millilitres

WIDTHS = (33, 8, 8, 14, 8)  # with the gaps 79, so that a terminal of 80 never breaks a row

MEANINGS: dict[str, str] = {
    "rule": "the shortest time that the rules in force allow.",
    "label": "what the product's label asks; it holds at the label's strength and temperature only.",
    "usual": "the rulebook's usual figure, not measured here. Time the step, and give it as [[measured]] in the practice file.",
}


def show_times(
    practice: Practice,
    rulebook: Rulebook,
    found: Sequence[RunningTime],
    totals: Sequence[DutyTotal],
    *,
    day: date,
    explain: bool,
    every_step: bool,
    method: Method = "exact",
) -> None:
    """Print running times as a person reads them."""
    console = Console(highlight=False, markup=False, emoji=False, soft_wrap=False)
    head = practice.practice
    console.print(f"{head.name}{' (invented)' if head.invented else ''}: running times")
    console.print(f"Rules of {day:%Y-%m-%d}: {', '.join(rulebook.layers)}")
    rooms = {r.id: r.name for r in practice.rooms}
    for chair in practice.chairs:
        mine = [t for t in found if t.chair == chair.id]
        if mine:
            _heading(console, chair, rooms.get(chair.room, chair.room))
            for total in (t for t in totals if t.chair == chair.id):
                _duty(console, total, [t for t in mine if t.duty_id == total.duty_id], every_step=every_step)
    shown = [t for t in found if every_step or _goes_by_itself(t)]
    if explain:
        for time in [t for t in shown if _goes_by_itself(t)] or shown:
            _explain(console, time, order_hint(practice, rulebook, time))
    _gaps(console, found)
    if not explain:
        _cautions(console, shown)
    for finding in stray_measurements(practice, rulebook):
        console.print(f"\n{finding.where}: {finding.what}. {finding.mend}")
    console.print()
    kinds = {c.set_by for t in found for c in t.candidates}
    for kind, meaning in (MEANINGS | {"line": METHOD[method]}).items():
        if kind in kinds and not (explain and kind == "line"):  # each derivation has said it
            console.print(f"{kind}: {meaning}")
    console.print("Labels, instructions for use and local rules come first." + ("" if explain else " Why each time: --explain."))


def _goes_by_itself(time: RunningTime) -> bool:
    """Whether rule, label or line decide the step, or nothing can be said of it: what the reader came for."""
    return time.seconds is None or time.waste_ml > 0 or any(c.set_by in {"rule", "label", "line"} for c in time.candidates)


def _heading(console: Console, chair: Chair, room: str) -> None:
    bottle = f" of {millilitres(chair.supply.bottle_ml)}" if chair.supply.bottle_ml else ""
    console.print()
    console.print(
        f"{chair.id}, {room}. Water: {chair.supply.kind}{bottle}{'. OUT OF SERVICE' if chair.out_of_service else ''}", style="bold"
    )
    _row(console, "", "time", "set by", "next below", "attended")


def _duty(console: Console, total: DutyTotal, steps: Sequence[RunningTime], *, every_step: bool) -> None:
    bound = "" if total.complete else "at least "
    console.print(f"{total.duty_name}: attended {bound}{clock(total.attended_s)}, unattended {bound}{clock(total.unattended_s)}")
    rest = [t for t in steps if not every_step and not _goes_by_itself(t)]
    for time in (t for t in steps if t not in rest):
        _row(
            console,
            time.name,
            "unknown" if time.seconds is None else clock(time.seconds),
            time.set_by or "",
            _next_below(time),
            "yes" if time.attended else "no",
        )
        notes = [n for n in time.notes if not n.startswith("usual,")]  # the word stands in the row, its meaning at the foot
        for note in (*_line_notes(time), *notes, *(["unchecked source"] if time.unchecked else [])):
            console.print(Padding(note, (0, 0, 0, 6)))
    if rest:
        _rest(console, rest)
    if total.waste_ml:
        console.print(Padding(f"Volumes: {takes(total)}.", (0, 0, 0, 2)))


def takes(total: DutyTotal) -> str:
    """Say what a duty takes of water, product and trips to the bottle."""
    parts = [f"{millilitres(total.water_ml)} of water"] if total.water_ml else []
    parts += [f"{millilitres(total.product_ml)} of mixed solution"] if total.product_ml else []
    if total.bottle_fills:
        parts.append(f"{total.bottle_fills} bottle filling{'s' * (total.bottle_fills > 1)}")
    drain = f"{millilitres(total.waste_ml)} go down the drain"
    return f"{listed(tuple(parts))}; {drain}" if parts else drain


def _line_notes(time: RunningTime) -> list[str]:
    if time.p95_s is None or time.nominal_s is None:
        return []
    notes = [f"line {clock(time.p95_s)}, best estimate {clock(time.nominal_s)}"]
    if time.set_by == "line":
        notes.append(f"measure first: {time.measure_first}")
    return notes


def _next_below(time: RunningTime) -> str:
    if time.margin_s is None:
        return ""
    return f"{time.runner_up}, by {clock(time.margin_s)}" if time.margin_s else f"{time.runner_up}, same"


def _rest(console: Console, rest: Sequence[RunningTime]) -> None:
    measured = sum(t.set_by == "measured" for t in rest)
    open_ = sum(t.set_by == "usual" for t in rest)
    how = "" if not measured + open_ else ", none measured" if not measured else ", all measured" if not open_ else f", {measured} measured"
    kinds = list(dict.fromkeys(t.set_by or "" for t in rest))
    attended = {t.attended for t in rest}
    _row(
        console,
        f"{len(rest)} other step{'s' * (len(rest) > 1)}{how}",
        clock(sum(t.seconds or 0 for t in rest)),
        kinds[0] if len(kinds) == 1 else "mixed",
        "",
        "yes" if attended == {True} else "no" if attended == {False} else "in part",
    )


def _row(console: Console, step: str, *cells: str) -> None:
    table = Table.grid(padding=(0, 2, 0, 0))
    for number, width in enumerate(WIDTHS):
        table.add_column(width=width, justify="right" if number == 1 else "left", overflow="fold")
    table.add_row(Padding(step, (0, 0, 0, 2)), *cells)
    console.print(table)


def _explain(console: Console, time: RunningTime, hint: str) -> None:
    said = "unknown" if time.seconds is None else f"{clock(time.seconds)}, set by {time.set_by}"
    console.print()
    console.print(f"{time.chair}: {time.name} [{time.step_id}]: {said}", style="bold")
    gap = [f"Unknown: {time.missing}"] if time.missing else []
    for line in (*time.derivation, *([hint] if hint else []), *gap, *(f"Caution: {c}" for c in time.cautions)):
        console.print(Padding(line, (0, 0, 0, 2)))


def _gaps(console: Console, found: Sequence[RunningTime]) -> None:
    gaps: dict[str, dict[str, None]] = {}
    for t in found:
        if t.seconds is None:
            gaps.setdefault(t.missing, {})[f"{t.chair} {t.step_id}"] = None
    if gaps:
        console.print("\nUnknown, and so never to be taken as done", style="bold")
    for why, steps in gaps.items():
        console.print(Padding(f"{listed(tuple(steps))}: {why}", (0, 0, 0, 2)))


def _cautions(console: Console, shown: Sequence[RunningTime]) -> None:
    chairs = dict.fromkeys(t.chair for t in shown)
    cautions: dict[str, dict[str, None]] = {}
    for t in shown:
        for caution in t.cautions:
            cautions.setdefault(caution, {})[t.chair] = None
    if cautions:
        console.print("\nCautions", style="bold")
    for caution, of in cautions.items():
        console.print(Padding(caution if len(of) == len(chairs) else f"{listed(tuple(of))}: {caution}", (0, 0, 0, 2)))
