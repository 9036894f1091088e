"""What a form about a happening already knows: the visit that runs at this chair, the newest load. One touch then plans again."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fettlebook.plan.follow import Course
from fettlebook.web.happenings import Question


def prefilled(asked: Sequence[Question], course: Course, at: int, known: Mapping[str, str]) -> tuple[Question, ...]:
    """Return the questions with what is most likely chosen; whoever answers can choose otherwise.

    Parameters
    ----------
    asked
        The questions of one happening.
    course, at
        How the day goes, and the minute asked about.
    known
        What the page before knew: `chair`, `machine`; empty where it didn't.
    """
    return tuple(
        question if question.chosen or question.many else replace(question, chosen=_likely(question, course, at, known))
        for question in asked
    )


def _likely(question: Question, course: Course, at: int, known: Mapping[str, str]) -> str:
    offered = [choice.value for choice in question.choices]
    if question.name == "visit":
        starts = {v.id: v.start for v in course.plan.visits}
        chairs = {v.id: v.chair for v in course.day.visits}
        running = [visit for visit in offered if starts.get(visit, at) < at]
        here = [visit for visit in running if chairs.get(visit) == known.get("chair")]
        return next(iter(here or running), "")
    if question.name == "machine":
        loads = sorted((b for b in course.plan.batches if b.load_start < at), key=lambda b: -b.load_start)
        newest = next((b.machine for b in loads if b.machine in offered), "")
        return known["machine"] if known.get("machine") in offered else newest
    return ""
