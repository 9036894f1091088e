"""A log judged by what a book holds (practice file, rules, load, past cycles), and written into it."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import LoadPacked, PracticeFileVersion, to_ms
from fettlebook.book.stores import Store
from fettlebook.cli.book_open import now_ms, opened
from fettlebook.cli.judge_read import Judged, judged_file, read_log_file
from fettlebook.errors import Mendable
from fettlebook.exchange.cycle_entries import Ran, past_values, write_cycle, write_test
from fettlebook.exchange.cycle_judging import load_form
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.science.cycles.load_types import LoadForm


def judged_into_book(path: Path, options: Mapping[str, Any]) -> tuple[Judged, tuple[str, ...]]:
    """Judge a log and write it; return the judgement and the ids of its entries.

    Raises
    ------
    Mendable
        Something is missing or wrong; nothing was written then.
    """
    for name, option in (("by", "--by"), ("machine", "--machine")):
        if options[name] is None:
            raise Mendable("not given", where=option, mend="A book says who wrote it and which machine ran: --by ana --machine NAME.")
    if options["practice_file"] is not None:
        raise Mendable("the book holds the practice file", where="--practice", mend="Leave it out; --whose names a book among several.")
    if options["from_s"] is not None or options["to_s"] is not None:
        raise Mendable("a book keeps a cycle's log whole", where="--from, --to", mend="Export the one cycle by itself, then judge it.")
    with opened(options["book_at"], options["whose"], write=True) as store:
        practice = _practice(store)
        zone = practice.practice.time_zone
        now = now_ms()
        ended = options["ended"]
        ended_ms = to_ms(ended.replace(tzinfo=ZoneInfo(zone))) if ended is not None else now
        if ended_ms > now:
            raise Mendable("the run would end after now", where="--ended", mend="Enter it once it is over, by the practice's clock.")
        rulebook = load_rulebook(practice, on=datetime.now(ZoneInfo(zone)).date())
        machine, cycle = options["machine"], options["cycle"] or _only_cycle(practice, options["machine"])
        form = _form(store, practice, options["load"])
        past = past_values(store, machine, cycle) if cycle else []
        judged = judged_file(path, options, (practice, rulebook), form, past)
        log = (read_log_file(path), path.name)
        ran = Ran(judged.machine, judged.cycle or cycle or "", options["said"] or "nothing", ended_ms, options["load"])
        told: dict[str, Any] = {"moment": Moment(now, zone), "by": options["by"], "now": now}
        door = Door(store)
        if options["test"] is not None:
            return judged, (write_test(store, door, ran, log, judged.judgement, test=options["test"], **told).id,)
        if not ran.cycle:
            raise Mendable("which cycle it was is not said", where="--cycle", mend="Name it as the practice file does.")
        return judged, tuple(receipt.id for receipt in write_cycle(store, door, ran, log, judged.judgement, **told))


def _practice(store: Store) -> Practice:
    last = store.latest(PracticeFileVersion.KIND)
    data = last.entry.data if last is not None else None
    if isinstance(data, PracticeFileVersion):
        practice = read_practice(data.text.encode("utf-8", "surrogatepass"), data.name or "practice.toml").practice
        if practice is not None:
            return practice
    raise Mendable(
        "it holds no practice file that can be read", where="--book", mend="Take one in: fettlebook book renew BOOK PRACTICE.toml."
    )


def _only_cycle(practice: Practice, machine: str) -> str | None:
    cycles = next((m.cycles for m in practice.machines if m.id == machine), ())
    return cycles[0].id if len(cycles) == 1 else None


def _form(store: Store, practice: Practice, load: str | None) -> LoadForm | None:
    if load is None:
        return None
    packed = store.latest(LoadPacked.KIND, f"load:{load}")
    data = packed.entry.data if packed is not None else None
    if not isinstance(data, LoadPacked):
        raise Mendable(
            f'no load "{load}" was packed', where="--in-load", mend="Pack it first (page of loads, or fettlebook note load.packed)."
        )
    return load_form(practice, ((item.unit, item.pack is not None, item.form) for item in data.items))
