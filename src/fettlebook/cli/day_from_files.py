"""One day of one practice from its files: what `day` shows and what `night` works out for each practice of a group."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date
    from pathlib import Path

    from fettlebook.plan.day import DayPlan
    from fettlebook.plan.solve import Progress
    from fettlebook.practice.model import Practice

DAYS_AHEAD = 60


@dataclass(frozen=True, slots=True)
class Planned:
    """A day planned, with the practice that it is of; `today` is the practice's own when it was planned."""

    plan: DayPlan
    practice: Practice
    today: date


def plan_from_files(
    practice_file: Path,
    calendar_file: Path,
    *,
    day: date | None,
    key_file: str | None,
    data: str | None,
    limit_s: float,
    seed: int,
    told: Callable[[Progress], None] | None = None,
) -> Planned:
    """Return a day planned.

    Parameters
    ----------
    practice_file, calendar_file
        The practice file and its appointment book.
    day
        The day; None: today, or the next day with visits.
    key_file
        The practice's key; None: references of this run only.
    data
        The practice's book (a file, or the address of a group's database), for what is due; None: nothing is known of it.
    limit_s, seed, told
        See `plan_day`.

    Raises
    ------
    Mendable
        A file can't be used, or no visit is booked.
    """
    import secrets  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.book_open import group_address, opened  # noqa: PLC0415
    from fettlebook.exchange.calendar import read_book  # noqa: PLC0415
    from fettlebook.exchange.key import KEY_BYTES, load_or_make_key  # noqa: PLC0415
    from fettlebook.exchange.owing import owing_by_book, owing_by_store  # noqa: PLC0415
    from fettlebook.plan.whole_day import plan_day  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.times.running import running_times  # noqa: PLC0415
    from fettlebook.web.source import newest_book, read_whole  # noqa: PLC0415

    practice = load_practice(practice_file)
    calendar_file = newest_book(calendar_file)
    calendar = read_whole(calendar_file)
    key = load_or_make_key(_path(key_file)) if key_file else secrets.token_bytes(KEY_BYTES)
    today = datetime.now(ZoneInfo(practice.practice.time_zone)).date()
    chosen = day or _next_day(calendar, calendar_file.name, practice, today, key)
    booked = read_book(calendar, calendar_file.name, practice, chosen, key)
    rulebook = load_rulebook(practice, on=chosen)
    times = running_times(practice, rulebook)
    asked = (practice, rulebook, times, chosen)
    if data is None:
        owing = None
    elif group_address(data) is None:
        owing = owing_by_book(*asked, _path(data))
    else:
        with opened(data, practice.practice.id, write=False) as store:
            owing = owing_by_store(*asked, store)
    plan = plan_day(
        practice,
        times,
        booked.visits,
        chosen,
        limit_s=limit_s,
        seed=seed,
        findings=booked.findings,
        not_planned=booked.not_planned,
        told=told,
        owing=owing,
    )
    return Planned(plan, practice, today)


def _path(name: str) -> Path:
    from pathlib import Path  # noqa: PLC0415

    return Path(name)


def _next_day(calendar: bytes, name: str, practice: Practice, today: date, key: bytes) -> date:
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.calendar import booked_days  # noqa: PLC0415

    days = booked_days(calendar, name, practice, today, key, days=DAYS_AHEAD)
    if not days:
        raise Mendable(
            f"no visit is booked from {today} on for {DAYS_AHEAD} days",
            where=name,
            mend="Export a newer book, or name the day with --date.",
        )
    return days[0]
