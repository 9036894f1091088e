"""The look-back pack: what a failed test, a failed cycle or a count over a limit touched, what was done, what is open, and a letter draft.

Nothing in it names a patient: visits are opaque references, and the letter has blanks that a person fills in elsewhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from fettlebook import __version__
from fettlebook.errors import Mendable
from fettlebook.exchange.csv_table import csv_of
from fettlebook.exchange.evidence.blocks import Chapter, Clock, short
from fettlebook.exchange.paper.cards import CAUTION, PAGE_OF
from fettlebook.said import joined, said, said_count, term
from fettlebook.standing.asking import name_of, said_at
from fettlebook.standing.deviations import Deviation, decided_words, deviations
from fettlebook.standing.failure import failures
from fettlebook.standing.look import Look
from fettlebook.standing.look_back import LookBack, UsedUnit, cycle_look_back, since_last_good, water_look_back
from fettlebook.standing.machine import cycle_verdict
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact
from fettlebook.standing.water_history import chair_water

if TYPE_CHECKING:
    from fettlebook.exchange.paper.typeset import Voice

TEMPLATE: Final = Path(__file__).parent / "paper" / "look_back.typ"
OWN_LOAD: Final = said("not asked: only its own load is concerned")
WORDS: Final = {
    "look_back": said("Look-back"),
    "of": said("Look-back of"),
    "invented": said("invented data"),
    "what": said("What"),
    "when": said("When and how many"),
    "open": said("Still open"),
    "nothing": said("Nothing that the book shows. Whether that is enough is for the lead and licensed professionals to say."),
    "decide": said("What follows is for the lead and licensed professionals to decide, by local rules."),
    "letter": said("Letter, a draft"),
    "pages": PAGE_OF,
}
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
    title = said(
        "{subject}: {what} of {moment}",
        subject=name_of(back.subject),
        what=_what(look, back),
        moment=Clock(look.basis.zone).at(back.bad_ms),
    )
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
    return term(next((t.name for t in machine.tests if t.id == back.what), back.what) if machine is not None else back.what)


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
    told: list[str] = [said("decide on load {load}: recall it, or release it anew by name", load=load) for load in pack.undecided]
    if back.at_hand:
        units = ", ".join(sorted(unit.unit for unit in back.at_hand))
        told.append(said("put aside what still lies in the cupboard: {units}", units=units))
    if kind == "machine":
        for failure in failures(look, look.basis.machines[name]):
            if failure.entry == back.bad_entry:
                told += [
                    joined("", (term(step.name), " (", step.told, ")"))
                    for step in failure.steps
                    if step.state != "done" and step.id not in ("quarantine", "aside")
                ]
    if pack.deviation is not None and pack.deviation.open:
        told.append(said("what closes it: {closes}", closes=pack.deviation.closes))
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


def letter_of(pack: Pack, voice: "Voice | None" = None) -> str:
    """Return the draft of a letter, with blanks and without anything about a patient, in a language; None: English."""
    from fettlebook.exchange.paper.typeset import in_voice  # noqa: PLC0415 - the typesetter takes long to load

    return str(in_voice(_letter(pack), voice))


def _letter(pack: Pack) -> str:
    practice, clock, back = pack.look.basis.practice.practice, Clock(pack.look.basis.zone), pack.back
    what: str = said("a sample of the water of one of our treatment chairs was above the level that we act on")
    if back.subject.startswith("machine:"):
        what = said(
            "a check of a machine for our instruments ({what}) did not have the result that it should have", what=_what(pack.look, back)
        )
    told: list[str] = [said("on {day} {what}.", day=clock.day(back.bad_ms or 0), what=what)]
    if back.last_good_ms is not None:
        told.append(said("The last good result was of {day}.", day=clock.day(back.last_good_ms)))
    if back.next_good_ms is not None:
        told.append(said("The next good result was of {day}.", day=clock.day(back.next_good_ms)))
    else:
        told.append(said("No good result has followed yet."))
    invented = (said("INVENTED PRACTICE: do not send."), "") if practice.invented else ()
    line = "_" * 80
    return joined(
        "\n",
        (
            *invented,
            said("DRAFT. A licensed professional decides whether a letter is sent, to whom, and in which words, by local rules."),
            said("Fill in the blanks outside this program: it knows no patient and must not."),
            "",
            practice.name,
            joined("", ("_" * 20, " ", said("(date)"))),
            "",
            said("Dear {blank},", blank="_" * 20),
            "",
            joined(" ", told),
            "",
            said("Your visit of {blank} lies between these results. What that means for you:", blank="_" * 20),
            line,
            said("(to be written by a licensed professional; nothing is known from this list alone about harm to anybody)"),
            "",
            said("What we did:"),
            line,
            said("What we ask of you:"),
            line,
            said("Whom to call with questions:"),
            line,
            "",
            joined("", ("_" * 20, " ", said("(name, signature)"))),
            "",
        ),
    )


def document_of(pack: Pack) -> dict[str, Any]:
    """Return the document as plain data for the typesetter."""
    clock, back, practice = Clock(pack.look.basis.zone), pack.back, pack.look.basis.practice.practice
    newest = min(pack.look.known_at, pack.look.state.received)
    return {
        "practice": practice.name,
        "invented": practice.invented,
        "title": pack.title,
        "words": WORDS,
        "made": clock.parts(newest),
        "from": said("By the book as received up to {moment}. fettlebook {version}.", moment=clock.at(newest), version=__version__),
        "caution": CAUTION,
        "facts": [
            [said("Bad result"), said("{moment}, entry {entry}", moment=clock.at(back.bad_ms), entry=short(back.bad_entry))],
            [said("Last good before it"), clock.at(back.last_good_ms) if back.last_good_ms is not None else _none_before(pack)],
            [said("Next good after it"), clock.at(back.next_good_ms) if back.next_good_ms is not None else _none_after(pack)],
            [said("Concerned"), concerned_words(back)],
        ],
        "open": list(pack.open),
        "chapters": [chapter.data() for chapter in (_done(pack, clock), _loads(pack, clock), _visits(pack, clock))],
        "letter": _letter(pack),
    }


def _none_before(pack: Pack) -> str:
    return OWN_LOAD if pack.back.what == "cycle" else said("none in the book: everything before is concerned")


def _none_after(pack: Pack) -> str:
    return OWN_LOAD if pack.back.what == "cycle" else said("none yet")


def concerned_words(back: LookBack) -> str:
    """Return how much a look-back is about."""
    return joined(
        ", ",
        (
            said_count("{n} load", "{n} loads", n=len(back.loads)),
            said_count("{n} visit", "{n} visits", n=len(back.visits)),
            said_count("{n} set still in the cupboard", "{n} sets still in the cupboard", n=len(back.at_hand)),
        ),
    )


def _done(pack: Pack, clock: Clock) -> Chapter:
    chapter = Chapter(said("What was done"), said("What the book shows was done since, with the entry that says so."))
    followed = pack.deviation.followed if pack.deviation is not None else ()
    rows = [(clock.at(f.at_ms), f.what, f.by or "-", short(f.entry)) for f in followed]
    known = {f.entry for f in followed}
    for _, facts in pack.decisions:
        rows += [
            (
                clock.at(f.happened),
                decided_words(f),
                f.says.by,
                short(f.entry),
            )
            for f in facts
            if f.entry not in known and f.happened >= (pack.back.bad_ms or 0)
        ]
    chapter.table(
        {said("When"): 1.4, said("What"): 5, said("By"): 0.8, said("Entry"): 1.5}, sorted(rows), empty=said("Nothing in the book yet.")
    )
    return chapter


def _loads(pack: Pack, clock: Clock) -> Chapter:
    chapter = Chapter(said("Loads and sets"), said("Which loads ran in between, what was in them and where it is now."))
    decided = dict(pack.decisions)
    rows = []
    for load in pack.back.loads:
        last: Sequence[Fact] = decided.get(load.load, ())
        told: str = said("nobody decided")
        if last:
            told = joined(" ", (term(last[-1].says.meaning), clock.at(last[-1].happened), f"({last[-1].says.by})"))
        sets = joined("\n", [_unit_words(unit) for unit in load.units])
        name = said("{load}, with an implant", load=load.load) if load.implant else load.load
        rows.append((name, clock.at(load.at_ms), told, sets))
    chapter.table({said("Load"): 1.2, said("Ran"): 1.3, said("Decision"): 2, said("Sets"): 4.5}, rows, empty=said("No load is concerned."))
    return chapter


def _unit_words(unit: UsedUnit) -> str:
    """Return a set of a load, and where it is now."""
    name = said("{unit}, pack {pack}", unit=unit.unit, pack=unit.pack) if unit.pack else unit.unit
    if unit.at_hand:
        return said("{unit}: STILL IN THE CUPBOARD", unit=name)
    if unit.visits:
        return said("{unit}: used at {visits}", unit=name, visits=", ".join(v for v, _, _ in unit.visits))
    return said("{unit}: processed since", unit=name)


def _visits(pack: Pack, clock: Clock) -> Chapter:
    chapter = Chapter(said("Visits"), said("By opaque references. Who the patient was is known to the practice's appointment book alone."))
    rows = [(visit, chair, clock.at(ms)) for visit, chair, ms in pack.back.visits]
    chapter.table(
        {said("Visit"): 3, said("Chair"): 1.5, said("When"): 1.5}, rows, empty=said("No visit is concerned, as far as the book shows.")
    )
    return chapter


def pdf_pack(pack: Pack, voice: "Voice | None" = None) -> bytes:
    """Return the pack as PDF, in a language; None: English."""
    from fettlebook.exchange.paper.typeset import typeset  # noqa: PLC0415 - the typesetter takes long to load

    return typeset(TEMPLATE, document_of(pack), voice)
