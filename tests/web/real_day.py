"""The invented practice's day, really planned (first answer only), for pages that need to know what a timetable was made of."""

from datetime import date
from functools import cache

import made_up_day as made_up

from fettlebook.demo import book_ics, practice_text
from fettlebook.exchange.calendar import read_book
from fettlebook.plan.day import DayPlan
from fettlebook.plan.whole_day import plan_day
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times

DAY: date = made_up.DAY


@cache
def plan(exam_sets: int = 14) -> DayPlan:
    """Return the plan of the day's first half; with few examination sets visits wait for them."""
    text = practice_text().replace(b"owned = 14", f"owned = {exam_sets}".encode())
    practice = read_practice(text, "practice.toml").practice
    assert practice
    book = read_book(book_ics(), "book.ics", practice, DAY, b"k" * 32)
    times = running_times(practice, load_rulebook(practice, on=DAY))
    visits = tuple(v for v in book.visits if v.start.hour < 13)
    return plan_day(practice, times, visits, DAY, limit_s=0.0, seed=1)
