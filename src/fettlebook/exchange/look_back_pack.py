"""The look-back pack: what a failed test, a failed cycle or a count over a limit touched, what was done, what is open, and a letter draft.

Nothing in it names a patient: visits are opaque references, and the letter has blanks that a person fills in elsewhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Literal

from fettlebook import __version__
from fettlebook.errors import Mendable
from fettlebook.exchange.csv_table import csv_of
from fettlebook.exchange.evidence.blocks import Chapter, Clock, short
from fettlebook.exchange.paper.cards import CAUTION
from fettlebook.standing.asking import name_of, said_at
from fettlebook.standing.deviations import Deviation, deviations
from fettlebook.standing.failure import failures
from fettlebook.standing.look import Look
from fettlebook.standing.look_back import LookBack, cycle_look_back, since_last_good, water_look_back
from fettlebook.standing.machine import cycle_verdict
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact
from fettlebook.standing.water_history import chair_water

TEMPLATE: Final = Path(__file__).parent / "paper" / "look_back.typ"
Where = Literal["machine", "chair", "cycle"]


@dataclass(frozen=True, slots=True)
class Pack:
    """A look-back with what the book shows was done about it, and what is still to do."""

    look: Look
    back: LookBack
    title: str
    deviation: Deviation | None
    decisions: tuple[tuple[str, tuple[Fact, ...]], ...]  # load -> decisions on it since it ran, oldest first
    open: tuple[str, ...]

    @property
    def undecided(self) -> tuple[str, ...]:
        """Loads that nobody decided on since the bad result."""
        bad = self.back.bad_ms or 0
        return tuple(load for load, facts in self.decisions if not any(f.happened >= bad for f in facts))


def pack_of(look: Look, subject: str, *, test: str | None = None) -> Pack:
    """Return the pack of a machine's newest failed test, a chair's newest count over a limit, or a load's failed cycle.

    Parameters
    ----------
    subject
        `machine:steam`, `chair:chair 1`, or `load:L12`, whose last cycle it is then about.
    test
        Of a machine: the test to go by; left out: the one that failed last.

    Raises
    ------
    Mendable
        There is no such subject, or nothing bad in the book about it.
    """
    back = _back(look, subject, test)
    if back.bad_ms is None:
        mend = "There is nothing to look back on: no such test failed, and no count was over a limit. See `fettlebook trace`."
        raise Mendable(f"nothing bad about {name_of(subject)} in the book", where="SUBJECT", mend=mend)
    about = _deviation(look, back)
    decisions = tuple((one.load, tuple(look.forward(f"load:{one.load}", "decided", since=one.at_ms))) for one in back.loads)
    title = f"{name_of(back.subject)}: {_what(look, back)} of {Clock(look.basis.zone).at(back.bad_ms)}"
    pack = Pack(look, back, title, about, decisions, ())
    return replace(pack, open=tuple(_open(pack)))


def _back(look: Look, subject: str, test: str | None) -> LookBack:
    kind, _, name = subject.partition(":")
    if kind == "machine" and name in look.basis.machines:
        return since_last_good(look, name, test)
    if kind == "chair" and name in look.basis.chairs:
        return water_look_back(look, name)
    ran = look.latest(subject, "cycle") if kind == "load" else None
    if ran is not None:
        if cycle_verdict(look, ran)[0] is Verdict.FIT:
            mend = "There is nothing to look back on. Name the machine for a test that failed."
            raise Mendable(f"the cycle of {name_of(subject)} was good", where="SUBJECT", mend=mend)
        return cycle_look_back(look, ran.says.machine.removeprefix("machine:"), ran)
    mend = "Name a machine or a chair of the practice file, or a load that ran."
    raise Mendable(f'nothing to look back on is called "{name_of(subject):.60}"', where="SUBJECT", mend=mend)


def _what(look: Look, back: LookBack) -> str:
    """What was bad, as people call it."""
    machine = look.basis.machines.get(back.subject.partition(":")[2])
    return next((t.name for t in machine.tests if t.id == back.what), back.what) if machine is not None else back.what


def _deviation(look: Look, back: LookBack) -> Deviation | None:
    assert back.bad_ms is not None
    kind, _, name = back.subject.partition(":")
    waters = [chair_water(look, look.basis.chairs[name])] if kind == "chair" else []
    found = deviations(look, back.bad_ms, back.bad_ms + 1, waters)
    return next((one for one in found if one.entry == back.bad_entry), None)


def _open(pack: Pack) -> list[str]:
    """What is still to do, in words."""
    look, back = pack.look, pack.back
    kind, _, name = back.subject.partition(":")
    told = [f"decide on load {load}: recall it, or release it anew by name" for load in pack.undecided]
    if back.at_hand:
        told.append("put aside what still lies in the cupboard: " + ", ".join(sorted(unit.unit for unit in back.at_hand)))
    if kind == "machine":
        for failure in failures(look, look.basis.machines[name]):
            if failure.entry == back.bad_entry:
                told += [
                    f"{step.name} ({step.told})"
                    for step in failure.steps
                    if step.state != "done" and step.id not in ("quarantine", "aside")
                ]
    if pack.deviation is not None and pack.deviation.open:
        told.append(f"what closes it: {pack.deviation.closes}")
    return told


def rows_of(pack: Pack) -> list[dict[str, Any]]:
    """Return the lists as rows of one table: visits, loads, sets."""
    zone, back = pack.look.basis.zone, pack.back
    decided = dict(pack.decisions)
    rows: list[dict[str, Any]] = [_row("visit", visit=visit, chair=chair, at=said_at(ms, zone)) for visit, chair, ms in back.visits]
    for load in back.loads:
        last = decided[load.load][-1] if decided.get(load.load) else None
        told = f"{last.says.meaning} by {last.says.by} {said_at(last.happened, zone)}" if last is not None else "nobody decided"
        rows.append(_row("load", load=load.load, at=said_at(load.at_ms, zone), told=told))
        for unit in load.units:
            state = "still in the cupboard" if unit.at_hand else "used" if unit.visits else "processed since"
            visits = " ".join(visit for visit, _, _ in unit.visits)
            rows.append(
                _row("set", visit=visits, at=said_at(load.at_ms, zone), load=load.load, set=unit.unit, pack=unit.pack or "", told=state)
            )
    return rows


def _row(what: str, **said: str | None) -> dict[str, Any]:
    return {"what": what} | {name: said.get(name) or "" for name in ("visit", "chair", "at", "load", "set", "pack", "told")}


def csv_pack(pack: Pack) -> str:
    """Return the lists as CSV."""
    return csv_of(rows_of(pack))


def letter_of(pack: Pack) -> str:
    """Return the draft of a letter, with blanks and without anything about a patient."""
    practice, clock, back = pack.look.basis.practice.practice, Clock(pack.look.basis.zone), pack.back
    invented = "INVENTED PRACTICE: do not send.\n\n" if practice.invented else ""
    what = "a sample of the water of one of our treatment chairs was above the level that we act on"
    if back.subject.startswith("machine:"):
        what = f"a check of a machine for our instruments ({_what(pack.look, back)}) did not have the result that it should have"
    last = f"The last good result was of {clock.day(back.last_good_ms)}. " if back.last_good_ms is not None else ""
    following = "No good result has followed yet."
    if back.next_good_ms is not None:
        following = f"The next good result was of {clock.day(back.next_good_ms)}."
    return f"""{invented}DRAFT. A licensed professional decides whether a letter is sent, to whom, and in which words, by local rules.
Fill in the blanks outside this program: it knows no patient and must not.

{practice.name}
____________________ (date)

Dear ____________________,

on {clock.day(back.bad_ms or 0)} {what}. {last}{following}

Your visit of ____________________ lies between these results. What that means for you:
________________________________________________________________________________
(to be written by a licensed professional; nothing is known from this list alone about harm to anybody)

What we did: ____________________________________________________________________
What we ask of you: _____________________________________________________________
Whom to call with questions: ____________________________________________________

____________________ (name, signature)
"""


def document_of(pack: Pack) -> dict[str, Any]:
    """Return the document as plain data for the typesetter."""
    clock, back, practice = Clock(pack.look.basis.zone), pack.back, pack.look.basis.practice.practice
    newest = min(pack.look.known_at, pack.look.state.received)
    return {
        "practice": practice.name,
        "invented": practice.invented,
        "title": pack.title,
        "made": clock.parts(newest),
        "from": f"By the book as received up to {clock.at(newest)}. fettlebook {__version__}.",
        "caution": CAUTION,
        "facts": [
            ["Bad result", f"{clock.at(back.bad_ms)}, entry {short(back.bad_entry)}"],
            ["Last good before it", clock.at(back.last_good_ms) if back.last_good_ms is not None else _none_before(pack)],
            ["Next good after it", clock.at(back.next_good_ms) if back.next_good_ms is not None else _none_after(pack)],
            ["Concerned", f"{len(back.loads)} loads, {len(back.visits)} visits, {len(back.at_hand)} sets still in the cupboard"],
        ],
        "open": list(pack.open),
        "chapters": [chapter.data() for chapter in (_done(pack, clock), _loads(pack, clock), _visits(pack, clock))],
        "letter": letter_of(pack),
    }


def _none_before(pack: Pack) -> str:
    return "not asked: only its own load is concerned" if pack.back.what == "cycle" else "none in the book: everything before is concerned"


def _none_after(pack: Pack) -> str:
    return "not asked: only its own load is concerned" if pack.back.what == "cycle" else "none yet"


def _done(pack: Pack, clock: Clock) -> Chapter:
    chapter = Chapter("What was done", "What the book shows was done since, with the entry that says so.")
    followed = pack.deviation.followed if pack.deviation is not None else ()
    rows = [(clock.at(f.at_ms), f.what, f.by or "-", short(f.entry)) for f in followed]
    known = {f.entry for f in followed}
    for load, facts in pack.decisions:
        rows += [
            (
                clock.at(f.happened),
                f"load {load} {f.says.meaning}{f': {f.says.reason}' if f.says.reason else ''}",
                f.says.by,
                short(f.entry),
            )
            for f in facts
            if f.entry not in known and f.happened >= (pack.back.bad_ms or 0)
        ]
    chapter.table({"When": 1.4, "What": 5, "By": 0.8, "Entry": 1.5}, sorted(rows), empty="Nothing in the book yet.")
    return chapter


def _loads(pack: Pack, clock: Clock) -> Chapter:
    chapter = Chapter("Loads and sets", "Which loads ran in between, what was in them and where it is now.")
    decided = dict(pack.decisions)
    rows = []
    for load in pack.back.loads:
        last: Sequence[Fact] = decided.get(load.load, ())
        told = f"{last[-1].says.meaning} {clock.at(last[-1].happened)} ({last[-1].says.by})" if last else "nobody decided"
        sets = "\n".join(
            f"{u.unit}{f', pack {u.pack}' if u.pack else ''}: "
            + (
                "STILL IN THE CUPBOARD"
                if u.at_hand
                else f"used at {', '.join(v for v, _, _ in u.visits)}"
                if u.visits
                else "processed since"
            )
            for u in load.units
        )
        rows.append((load.load + (", with an implant" if load.implant else ""), clock.at(load.at_ms), told, sets))
    chapter.table({"Load": 1.2, "Ran": 1.3, "Decision": 2, "Sets": 4.5}, rows, empty="No load is concerned.")
    return chapter


def _visits(pack: Pack, clock: Clock) -> Chapter:
    chapter = Chapter("Visits", "By opaque references. Who the patient was is known to the practice's appointment book alone.")
    rows = [(visit, chair, clock.at(ms)) for visit, chair, ms in pack.back.visits]
    chapter.table({"Visit": 3, "Chair": 1.5, "When": 1.5}, rows, empty="No visit is concerned, as far as the book shows.")
    return chapter


def pdf_pack(pack: Pack) -> bytes:
    """Return the pack as PDF."""
    from fettlebook.exchange.paper.typeset import typeset  # noqa: PLC0415 - the typesetter takes long to load

    return typeset(TEMPLATE, document_of(pack))
