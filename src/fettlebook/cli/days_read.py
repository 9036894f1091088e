"""The days that a command lives through: one neutral instance, or some days of a practice file and its appointment book."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date
    from pathlib import Path

    from fettlebook.errors import Finding
    from fettlebook.plan.instance import Instance
    from fettlebook.plan.overruns import Overruns

DAYS_AHEAD = 60


def read_days(files: tuple[str, ...], first: date | None, days: int) -> tuple[list[Instance], Callable[[int], str], tuple[Finding, ...]]:
    """Return the instances, how to say a minute, and what the files need a look at.

    Raises
    ------
    Mendable
        The files are no instance and no practice file with a book, or no visit is booked.
    """
    from pathlib import Path  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.plan.instance import instance_findings, read_instance  # noqa: PLC0415
    from fettlebook.web.source import read_whole  # noqa: PLC0415

    if len(files) == 1:
        path = Path(files[0])
        instance = read_instance(read_whole(path), path.name)
        return [instance], lambda minute: f"{minute // 60:02}:{minute % 60:02}", instance_findings(instance, path.name)
    if len(files) != 2:
        raise Mendable(
            f"{len(files)} files",
            where="command line",
            mend="Name a day instance (JSON), or a practice file and its appointment book.",
        )
    return _booked(Path(files[0]), Path(files[1]), first, days)


def _booked(
    practice_file: Path, book_file: Path, first: date | None, days: int
) -> tuple[list[Instance], Callable[[int], str], tuple[Finding, ...]]:
    import secrets  # noqa: PLC0415
    from datetime import datetime  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.calendar import booked_days, read_book  # noqa: PLC0415
    from fettlebook.exchange.key import KEY_BYTES  # noqa: PLC0415
    from fettlebook.plan.tasks import day_instance  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.times.running import running_times  # noqa: PLC0415
    from fettlebook.web.source import newest_book, read_whole  # noqa: PLC0415

    practice, book_file = load_practice(practice_file), newest_book(book_file)
    data, name, key = read_whole(book_file), book_file.name, secrets.token_bytes(KEY_BYTES)
    begin = first or datetime.now(ZoneInfo(practice.practice.time_zone)).date()
    found = booked_days(data, name, practice, begin, key, days=DAYS_AHEAD)[:days]
    if not found:
        raise Mendable(
            f"no visit is booked from {begin} on for {DAYS_AHEAD} days", where=name, mend="Export a newer book, or name a day with --date."
        )
    out, findings = [], []
    for day in found:
        book = read_book(data, name, practice, day, key)
        instance, maps = day_instance(practice, running_times(practice, load_rulebook(practice, on=day)), book.visits, day)
        out.append(_readable(instance))
        findings += [*book.findings, *maps.findings]
        shown = maps.clock.shown
    return out, shown, tuple(dict.fromkeys(findings))


def _readable(day: Instance) -> Instance:
    """Name each visit by its chair and place in the chair's day: a reference of one run says nothing to anybody."""
    names = {v.id: f"{c.id} no. {k}" for c in day.chairs for k, v in enumerate(day.visits_of(c.id), 1)}
    duties = tuple(d.model_copy(update={"after": names.get(d.after or "")}) for d in day.duties)
    return day.model_copy(update={"visits": tuple(v.model_copy(update={"id": names[v.id]}) for v in day.visits), "duties": duties})


def stated_overruns(cv: float | None, table: str | None) -> Overruns:
    """Return the spread that the options state: measured visits (CSV), a coefficient of variation, or the usual one."""
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.plan.overruns import USUAL_CV, Overruns, fit_overruns  # noqa: PLC0415
    from fettlebook.web.source import read_whole  # noqa: PLC0415

    if table is None:
        return Overruns(USUAL_CV if cv is None else cv)
    from fettlebook.errors import Mendable  # noqa: PLC0415

    if cv is not None:
        raise Mendable("--cv and --measured together", where="command line", mend="Give one of the two.")
    try:
        text = read_whole(Path(table)).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Mendable("is no text in UTF-8", where=Path(table).name, mend="Save the table as CSV in UTF-8.") from None
    return fit_overruns(text, Path(table).name)
