"""The form for one result as the laboratory wrote it: read like a line of its table, refused field by field."""

from fettlebook.book.kinds import SampleResult
from fettlebook.errors import Mendable
from fettlebook.exchange.laboratory.into_book import intake_of
from fettlebook.exchange.laboratory.notation import read_count
from fettlebook.exchange.laboratory.sheet import SheetWays, read_sheet
from fettlebook.standing.look import Look
from fettlebook.web.forms import Form
from fettlebook.web.people.visit import here

FIELDS = {"chair": "chair", "sampled_on": "sampled", "result": "count", "colonies": "count", "volume_ml": "volume", "report": "report"}


def read_result(form: Form, look: Look) -> tuple[SampleResult | None, str | None]:
    """Return the entry that a form means and who says it; None, and the form tells why, where it can't be read for sure."""
    people = [person.id for person in look.basis.practice.people]
    who = here().who
    by = who.person if who is not None else form.text("by")
    if by not in people:
        form.refuse("by", "nobody was chosen", "Say who enters it.")
    if form.text("chair") not in look.basis.chairs:
        form.refuse("chair", "no chair was chosen", "Choose the chair whose water it is.")
    today = look.basis.day_of(look.at)
    sampled = form.day("sampled", "taken on")
    if sampled is None and "sampled" not in form.wrong:
        form.refuse("sampled", "the day is missing", "Enter the day on which the sample was taken.")
    elif sampled is not None and sampled > today:
        form.refuse("sampled", f"{sampled} is still to come", "Enter the day on which the sample was taken.")
    form.number("volume", "volume plated")
    told = read_count(form.text("count"), None)
    if isinstance(told, str):
        form.refuse("count", f"the count is {told}", "Write it as the laboratory does: 40, <10, >300.")
    if not form.good or sampled is None:
        return None, None
    colonies = form.text("unit") == "colonies"
    head = f"chair;sampled_on;{'colonies' if colonies else 'result (CFU/mL)'};volume_ml;report"
    cells = (form.text("chair"), f"{sampled}", form.text("count"), form.text("volume").replace(",", "."), form.text("report"))
    line = ";".join('"' + cell.replace('"', "") + '"' for cell in cells)
    try:
        sheet = read_sheet(f"{head}\n{line}\n".encode(), "form", SheetWays(), today)
    except Mendable as error:
        form.take(error.findings, {})
        return None, None
    intake = intake_of(look, sheet, "form")
    for finding in intake.findings:
        field = FIELDS.get(finding.where.rpartition(", ")[2])
        if field is None:
            form.take([finding], {})
        else:
            form.refuse(field, finding.what, finding.mend)
    if intake.known:
        form.refuse("count", "the book has this result already", "Two samples on one day: give each its report number.")
    if not form.good or not intake.to_write:
        return None, None
    neutral = intake.to_write[0].data
    return neutral, by
