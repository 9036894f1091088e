"""Chapters of what was in force, look-backs, people, products, and the seals."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from fettlebook.book.checkpoint import Checkpoint
from fettlebook.book.kinds import PRACTICE, CheckpointStamped
from fettlebook.errors import Mendable
from fettlebook.exchange.evidence.blocks import Chapter, Clock, short
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.exchange.evidence.seals import Seals
from fettlebook.rules.words import FORCE, SURE, limit_in_words, origin_in_words
from fettlebook.standing.facts import FILE, RULES
from fettlebook.standing.look_back import LookBack, since_last_good, water_look_back
from fettlebook.standing.streams import Fact

AS_OF_MS = 1
NO_EARLIER = "None: nothing that left the machine earlier was kept in the book. Compare with the practice's printed day sheets."


def in_force(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of practice files and rulebooks that held, and every duty and limit with its source."""
    chapter = Chapter(
        "What was in force",
        "Verdicts about a day stand on the practice file and rules of that day. How sure a source is: read (seen), secondary (another text "
        "quotes it), memory (unchecked: look it up), common practice.",
    )
    chapter.heading("Practice files")
    files = [(clock.at(f.happened), f.says.name, f.says.digest[:16], short(f.entry)) for f in _versions(found, FILE)]
    chapter.table({"Held from": 1.5, "Name": 2, "SHA-256 begins": 2, "Entry": 2}, files, empty="The book holds no practice file.")
    chapter.heading("Rulebooks")
    layers = [
        (clock.at(f.happened), layer.name, layer.digest[:16], short(f.entry)) for f in _versions(found, RULES) for layer in f.says.layers
    ]
    chapter.table(
        {"Held from": 1.5, "Pack": 2, "SHA-256 begins": 2, "Entry": 2},
        layers,
        empty="The book holds no rulebook: the program's own was used.",
    )
    rulebook = found.look.basis.rulebook
    chapter.heading(f"Duties at the end of these days: {len(rulebook.duties)}")
    duties = [(d.name, str(d.subject), str(d.when), d.origin.source, _sure(d.origin.sure), FORCE[d.origin.force]) for d in rulebook.duties]
    chapter.table({"Duty": 2.2, "Of": 0.9, "When": 1.4, "Source": 3.4, "How sure": 1.3, "Force": 1}, duties, empty="None.")
    chapter.heading(f"Limits at the end of these days: {len(rulebook.limits)}")
    limits = [(m.name, m.role, limit_in_words(m), m.origin.source, _sure(m.origin.sure), FORCE[m.origin.force]) for m in rulebook.limits]
    chapter.table({"Limit": 2.2, "Role": 0.8, "Value": 1.4, "Source": 3.4, "How sure": 1.3, "Force": 1}, limits, empty="None.")
    own = [(d.name, origin_in_words(d.origin), d.origin.reason) for d in rulebook.duties if d.origin.reason]
    own += [(m.name, origin_in_words(m.origin), m.origin.reason) for m in rulebook.limits if m.origin.reason]
    chapter.heading("Where the practice's own rule is looser, and its reason")
    chapter.table({"Rule": 2, "Who": 2, "Reason": 4}, own, empty="Nowhere.")
    return chapter


def _sure(sure: str) -> str:
    return SURE[sure].partition(":")[0]


def _versions(found: Gathered, sort: str) -> Iterator[Fact]:
    """The version that held at the begin, and those that came in these days."""
    before = found.look.latest(PRACTICE, sort, until=found.span.since)
    if before is not None:
        yield before
    yield from found.look.forward(PRACTICE, sort, since=found.span.since + AS_OF_MS, until=found.at)


def look_backs_of(found: Gathered) -> list[LookBack]:
    """Return the look-back of each failed test and each count over a limit of these days, each stretch once."""
    backs: dict[tuple[str, str, int | None, int | None], LookBack] = {}
    for d in found.deviations:
        if d.kind not in ("test", "water count"):
            continue
        name = d.subject.partition(":")[2]
        closed = next((f.at_ms for f in d.followed if f.entry == d.closed_by), found.at - 1)
        look = replace(found.look, moment=max(closed, d.at_ms), memo={})
        try:
            if d.kind == "test":
                test = next(t.fact.says.test for t in found.tests if t.fact.entry == d.entry)
                back = since_last_good(look, name, test)
            else:
                back = water_look_back(look, name)
        except (Mendable, StopIteration, KeyError):
            continue
        backs.setdefault((back.subject, back.what, back.last_good_ms, back.next_good_ms), back)
    return sorted(backs.values(), key=lambda b: (b.bad_ms or 0, b.subject))


def look_backs(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the look-backs."""
    chapter = Chapter(
        "Look-backs",
        "What lay between the good results around each bad one: which loads ran and which visits are concerned (by opaque references; who "
        "the patient was is known to the practice alone). What follows is for licensed professionals, by local rules.",
    )
    backs = look_backs_of(found)
    rows = [
        (
            b.subject.partition(":")[2],
            b.what,
            clock.at(b.last_good_ms),
            clock.at(b.bad_ms),
            clock.at(b.next_good_ms),
            len(b.loads),
            len(b.visits),
            len(b.at_hand),
        )
        for b in backs
    ]
    head = {"Of what": 1.2, "By": 1.6, "Last good": 1.3, "Bad": 1.3, "Next good": 1.3, "Loads": 0.7, "Visits": 0.7, "Sets not used": 0.8}
    chapter.table(head, rows, empty="No test failed and no count was over a limit in these days.")
    for b in backs:
        if b.loads or b.visits:
            chapter.heading(f"{b.subject.partition(':')[2]}, {b.what}, {clock.at(b.bad_ms)}")
            if b.loads:
                chapter.text("Loads: " + ", ".join(f"{one.load} ({clock.at(one.at_ms)})" for one in b.loads) + ".")
            chapter.text("Visits: " + (", ".join(f"{v} ({c})" for v, c, _ in b.visits) or "none") + ".")
    return chapter


def people(found: Gathered, kinds_by: Counter[tuple[str, str]]) -> Chapter:
    """Return the chapter of the staff: who may do what by the practice file, and who entered what."""
    chapter = Chapter(
        "Staff",
        "By initials or short names that people chose, as the practice file of the end of these days has them. What somebody may do is "
        "what the practice says; the book holds no certificates, and training that is not in the book is not proven here.",
    )
    did: Counter[str] = Counter()
    released: Counter[str] = Counter()
    for (by, kind), n in kinds_by.items():
        did[by] += n
        released[by] += n if kind in ("load.released", "load.released_early", "load.rejected") else 0
    rows = [(p.id, p.name, ", ".join(p.skills), f"{did[p.id]:,}", f"{released[p.id]:,}") for p in found.practice.people]
    known = {p.id for p in found.practice.people}
    rows += [(by, "not in the practice file", "", f"{n:,}", f"{released[by]:,}") for by, n in sorted(did.items()) if by not in known]
    chapter.table(
        {"Id": 1, "Name": 2, "May do": 3.5, "Entries": 1, "Decisions on loads": 1.2}, rows, empty="The practice file names nobody."
    )
    return chapter


def products(found: Gathered, opened: Iterable[tuple[int, Any, str]], clock: Clock) -> Chapter:
    """Return the chapter of products and lots: opened packages, solutions, test kits, sterile water."""
    chapter = Chapter("Products and lots", "What was opened, mixed or used up with a lot, as entered.")
    lots: dict[tuple[str, str, str], list[tuple[int, Any, str]]] = {}
    for one in sorted(opened, key=lambda one: (one[0], one[2])):
        what = "opened" if one[1].subject.startswith("product:") else "mixed"
        lots.setdefault((one[1].product, one[1].lot or "not entered", what), []).append(one)
    rows = [
        (product, lot, what, len(some), clock.day(some[0][0]), clock.day(some[-1][0]), _use_by(some[-1][1], clock), short(some[-1][2]))
        for (product, lot, what), some in sorted(lots.items())
    ]
    names = {p.id: p.name for p in found.practice.products}
    chapter.text("Chosen in the practice file: " + "; ".join(f"{names[p.id]} ({p.active})" for p in found.practice.products) + ".")
    head = {"Product": 2, "Lot": 1.3, "What": 0.9, "Times": 0.7, "First": 1.1, "Last": 1.1, "Use by (last)": 1.6, "Entry (last)": 1.5}
    chapter.table(head, rows, empty="No package was opened and no solution mixed in these days, as far as it was entered.")
    return chapter


def _use_by(says: Any, clock: Clock) -> str:
    return clock.at(says.use_by) if isinstance(says.use_by, int) else says.use_by or "not entered"


def seals(held: Seals, head: dict[str, Any], clock: Clock, *, newest_ms: int) -> Chapter:
    """Return the chapter of the seals: what the book held, who signed it, and how to check it without this program."""
    checkpoint: Checkpoint = held.checkpoint
    chapter = Chapter(
        "Seals and how to check them",
        "Run check.py of the bundle with any Python 3.9 or later (python3 check.py), on your own computer. It needs nothing else and "
        "connects to nothing.",
    )
    chapter.table(
        {"What": 1.2, "Value": 4},
        [
            ("Book", checkpoint.origin),
            ("Entries", f"{checkpoint.size:,}, the newest received {clock.at(newest_ms)}"),
            ("Root", checkpoint.root.hex()),
            ("Short form", f"{checkpoint.short()} (compare with a day sheet of that size)"),
            ("Signed by", ", ".join(key.short for key in held.keys) if held.signed else "NOT SIGNED"),
            ("Verification", "whole, no fault found" if held.whole else f"NOT WHOLE, {len(held.faults)} faults"),
            ("figures.json", f"SHA-256 {head['figures']}"),
            ("Entries in this document", "named by the last twelve characters of their id, as in entries.jsonl"),
        ],
        empty="",
    )  # fmt: skip
    if held.faults:
        chapter.heading("Faults that the verification found")
        chapter.table({"Fault": 1}, [(fault,) for fault in held.faults[:200]], empty="")
    chapter.heading(f"Earlier checkpoints that the book was held against: {len(held.earlier)}")
    some = held.earlier if len(held.earlier) <= 60 else (*held.earlier[:10], *held.earlier[-50:])
    left = f" The first 10 and the last 50 of {len(held.earlier)}; all are in the bundle." if len(held.earlier) > 60 else ""
    if left:
        chapter.text(left.strip())
    chapter.table(
        {"Entries": 1, "Short form": 4},
        [(f"{c.size:,}", c.short()) for c, _ in some],
        empty=NO_EARLIER,
    )
    for doubt in held.doubted:
        chapter.text(f"Left out: {doubt}.")
    chapter.heading("Time-stamps of outside authorities")
    stamps = [
        (clock.at(r.entry.data.stamped_ms), f"{r.entry.data.size:,}", r.entry.data.authority, short(r.entry.id))
        for r in held.stamps
        if isinstance(r.entry.data, CheckpointStamped)
    ]
    chapter.table({"Stamped": 1.5, "Entries": 1, "Authority": 3, "Entry": 1.5}, stamps, empty="None.")
    chapter.text(
        "What this can't show: that something was never entered. The numbers of each device run on without gaps, so an entry that was made "
        "and held back shows. And whoever owns the machine could have rewritten the whole book before the first checkpoint left it: "
        "compare the short form with paper, tablets or backups of earlier days."
    )
    return chapter
