"""The form for cup and clock: what was typed as a flow, and everything that is said of it."""

from dataclasses import dataclass
from datetime import date

from fettlebook.errors import Finding, Mendable
from fettlebook.said import said
from fettlebook.science.flow import Flow, Tools, measure_flow
from fettlebook.times.against import Meant, Place, flow_meant
from fettlebook.times.flow_words import aim_words, compared_words, promised_words, result_words
from fettlebook.times.readings import cups, read_cup
from fettlebook.web.forms import Form
from fettlebook.web.measuring_rows import filled_rows

ROWS = 5
AIM_PCT = 5.0


@dataclass(frozen=True, slots=True)
class FlowAnswer:
    """A measured flow in words, and what it would put into the practice file."""

    found: Flow
    meant: Meant
    words: tuple[str, ...]
    may_write: bool  # odd readings need a second word


def flow_answer(form: Form, place: Place, today: date) -> FlowAnswer | None:
    """Return what the form says, or None where a field is wrong; the form then tells which."""
    texts: list[str] = []
    rows: dict[str, str] = {"readings": "ml1"}
    weighed = form.text("unit", "mL") == "g"
    for row, much, time in filled_rows(form, ROWS, ("ml", "s"), _lacks):
        texts.append(f"{much}{'g' if weighed else 'mL'}/{time}")
        rows[f"reading {len(texts)}"] = f"ml{row}"
        if isinstance(read_cup(texts[-1], ""), Finding):
            form.refuse(
                f"ml{row}",
                said("cup {row}: {much} in {time} is no reading", row=row, much=much[:20], time=time[:20]),
                said("Enter digits: 52 and 60, or 52.5 and 1:00."),
            )
    lines = form.number("resolution_ml", said("distance of the lines"), otherwise=1.0)
    watch = form.number("watch_s", said("step of the watch"), otherwise=1.0)
    day = form.day("day", said("day of the measurement"), otherwise=today)
    if day and day > today:
        form.refuse("day", said("{day} is still to come", day=day), said("Enter the day on which you measured."))
    if not form.good or lines is None or watch is None or day is None:
        return None
    try:
        found = measure_flow(cups(texts, place.water_c), Tools(lines, None, watch))
        meant = flow_meant(place, found, day)
    except Mendable as error:
        form.take(error.findings, rows | {"step_ml": "resolution_ml", "cup_ml": "resolution_ml", "watch_s": "watch_s"})
        return None
    words = (
        result_words(found),
        compared_words(found, place),
        *promised_words(meant, by_name=False),
        aim_words(found, Tools(lines, None, watch), AIM_PCT),
    )
    return FlowAnswer(found, meant, tuple(filter(None, words)), not found.odd or form.text("even_so") == "yes")


def _lacks(row: int, first: bool) -> str:
    return said("cup {row}: the {much} is missing", row=row, much=said("amount") if first else said("time"))
