"""Chapters of what was in force, look-backs, people, products, and the seals."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from fettlebook.book.checkpoint import Checkpoint
from fettlebook.book.kinds import PRACTICE, CheckpointStamped
from fettlebook.errors import Mendable
from fettlebook.exchange.evidence.blocks import Chapter, Clock, many, short
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.exchange.evidence.seals import Seals
from fettlebook.rules.words import FORCE, SURE, limit_in_words, origin_in_words
from fettlebook.said import joined, said, said_date, term
from fettlebook.standing.facts import FILE, RULES
from fettlebook.standing.look_back import LookBack, since_last_good, water_look_back
from fettlebook.standing.streams import Fact
from fettlebook.standing.training import TrainingSays, training_due, trainings

AS_OF_MS = 1
UNCHECKED = said("UNCHECKED")
NO_EARLIER = said("None: nothing that left the machine earlier was kept in the book. Compare with the practice's printed day sheets.")
NONE = said("None.")
NOT_ENTERED = said("not entered")


def in_force(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of practice files and rulebooks that held, and every duty and limit with its source."""
    chapter = Chapter(
        said("What was in force"),
        said(
            "Verdicts about a day stand on the practice file and rules of that day. How sure a source is: read (seen), secondary (another "
            "text quotes it), memory (unchecked: look it up), common practice."
        ),
    )
    chapter.heading(said("Practice files"))
    files = [(clock.at(f.happened), f.says.name, f.says.digest[:16], short(f.entry)) for f in _versions(found, FILE)]
    chapter.table(
        {said("Held from"): 1.5, said("Name"): 2, said("SHA-256 begins"): 2, said("Entry"): 2},
        files,
        empty=said("The book holds no practice file."),
    )
    chapter.heading(said("Rulebooks"))
    layers = [
        (clock.at(f.happened), layer.name, layer.digest[:16], short(f.entry)) for f in _versions(found, RULES) for layer in f.says.layers
    ]
    chapter.table(
        {said("Held from"): 1.5, said("Pack"): 2, said("SHA-256 begins"): 2, said("Entry"): 2},
        layers,
        empty=said("The book holds no rulebook: the program's own was used."),
    )
    rulebook = found.look.basis.rulebook
    chapter.heading(said("Duties at the end of these days: {n}", n=len(rulebook.duties)))
    duties = [
        (term(d.name), term(str(d.subject)), term(str(d.when)), term(d.origin.source), _sure(d.origin.sure), FORCE[d.origin.force])
        for d in rulebook.duties
    ]
    chapter.table(
        {said("Duty"): 2.2, said("Of"): 0.9, said("When"): 1.4, said("Source"): 3.4, said("How sure"): 1.3, said("Force"): 1},
        duties,
        empty=NONE,
    )
    chapter.heading(said("Limits at the end of these days: {n}", n=len(rulebook.limits)))
    limits = [
        (term(m.name), term(m.role), limit_in_words(m), term(m.origin.source), _sure(m.origin.sure), FORCE[m.origin.force])
        for m in rulebook.limits
    ]
    chapter.table(
        {said("Limit"): 2.2, said("Role"): 0.8, said("Value"): 1.4, said("Source"): 3.4, said("How sure"): 1.3, said("Force"): 1},
        limits,
        empty=NONE,
    )
    own = [(term(d.name), origin_in_words(d.origin), d.origin.reason) for d in rulebook.duties if d.origin.reason]
    own += [(term(m.name), origin_in_words(m.origin), m.origin.reason) for m in rulebook.limits if m.origin.reason]
    chapter.heading(said("Where the practice's own rule is looser, and its reason"))
    chapter.table({said("Rule"): 2, said("Who"): 2, said("Reason"): 4}, own, empty=said("Nowhere."))
    return chapter


def _sure(sure: str) -> str:
    return UNCHECKED if sure == "memory" else SURE[sure]


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
        said("Look-backs"),
        said(
            "What lay between the good results around each bad one: which loads ran and which visits are concerned (by opaque references; "
            "who the patient was is known to the practice alone). What follows is for licensed professionals, by local rules."
        ),
    )
    backs = look_backs_of(found)
    rows = [
        (
            b.subject.partition(":")[2],
            term(b.what),
            clock.at(b.last_good_ms),
            clock.at(b.bad_ms),
            clock.at(b.next_good_ms),
            len(b.loads),
            len(b.visits),
            len(b.at_hand),
        )
        for b in backs
    ]
    head = {
        said("Of what"): 1.2,
        said("By"): 1.6,
        said("Last good"): 1.3,
        said("Bad"): 1.3,
        said("Next good"): 1.3,
        said("Loads"): 0.7,
        said("Visits"): 0.7,
        said("Sets not used"): 0.8,
    }
    chapter.table(head, rows, empty=said("No test failed and no count was over a limit in these days."))
    for b in backs:
        if b.loads or b.visits:
            chapter.heading(joined(", ", (b.subject.partition(":")[2], term(b.what), clock.at(b.bad_ms))))
            if b.loads:
                ran = joined(", ", [joined("", (one.load, " (", clock.at(one.at_ms), ")")) for one in b.loads])
                chapter.text(said("Loads: {loads}.", loads=ran))
            concerned = ", ".join(f"{v} ({c})" for v, c, _ in b.visits) or said("none")
            chapter.text(said("Visits: {visits}.", visits=concerned))
    return chapter


def people(found: Gathered, kinds_by: Counter[tuple[str, str]], clock: Clock) -> Chapter:
    """Return the chapter of the staff: who may do what by the practice file, who entered what, and whose training is due."""
    chapter = Chapter(
        said("Staff and training"),
        said(
            "By initials or short names that people chose, as the practice file of the end of these days has them. What somebody may do is "
            "what the practice says; the book holds no certificates, and training that is not in the book is not proven here."
        ),
    )
    did: Counter[str] = Counter()
    released: Counter[str] = Counter()
    for (by, kind), n in kinds_by.items():
        did[by] += n
        released[by] += n if kind in ("load.released", "load.released_early", "load.rejected") else 0
    rows: list[tuple[str, ...]] = [
        (p.id, p.name, joined(", ", [term(str(skill)) for skill in p.skills]), many(did[p.id]), many(released[p.id]))
        for p in found.practice.people
    ]
    known = {p.id for p in found.practice.people}
    rows += [(by, said("not in the practice file"), "", many(n), many(released[by])) for by, n in sorted(did.items()) if by not in known]
    chapter.table(
        {said("Id"): 1, said("Name"): 2, said("May do"): 3.5, said("Entries"): 1, said("Decisions on loads"): 1.2},
        rows,
        empty=said("The practice file names nobody."),
    )
    _training(chapter, found)
    return chapter


def _training(chapter: Chapter, found: Gathered) -> None:
    """Add what was held and what is due, as of the end of these days: an entry shows that it was entered, not what anybody can do."""
    due = training_due(found.look)
    chapter.heading(said("Training due or over at the end of these days: {n}", n=len(due)))
    head = {said("Who"): 1.5, said("What"): 3.5, said("Held"): 1.2, said("Held by"): 1.6, said("Wanted again by"): 1.6, said("Entry"): 1.5}
    chapter.table(head, [_training_row(one) for one in due], empty=said("None within 60 days."))
    rest = [one for one in trainings(found.look) if one not in due]
    chapter.heading(said("Other training: {n}", n=len(rest)))
    chapter.table(head, [_training_row(one) for one in rest], empty=NONE)


def _training_row(one: TrainingSays) -> tuple[str, ...]:
    held = said_date(one.held_on) if one.held_on is not None else said("no entry")
    until: str = said_date(one.until) if one.until is not None else said("no day named")
    if one.over:
        until = said("{day}, over", day=until)
    return one.name, one.topic, held, one.held_by or "-", until, short(one.entry or "")


def products(found: Gathered, opened: Iterable[tuple[int, Any, str]], clock: Clock) -> Chapter:
    """Return the chapter of products and lots: opened packages, solutions, test kits, sterile water."""
    chapter = Chapter(said("Products and lots"), said("What was opened, mixed or used up with a lot, as entered."))
    lots: dict[tuple[str, str, str], list[tuple[int, Any, str]]] = {}
    for one in sorted(opened, key=lambda one: (one[0], one[2])):
        what = said("opened (package)") if one[1].subject.startswith("product:") else said("mixed (solution)")
        lots.setdefault((one[1].product, one[1].lot or NOT_ENTERED, what), []).append(one)
    rows = [
        (product, lot, what, len(some), clock.day(some[0][0]), clock.day(some[-1][0]), _use_by(some[-1][1], clock), short(some[-1][2]))
        for (product, lot, what), some in sorted(lots.items())
    ]
    names = {p.id: p.name for p in found.practice.products}
    chosen = "; ".join(f"{names[p.id]} ({p.active})" for p in found.practice.products)
    chapter.text(said("Chosen in the practice file: {products}.", products=chosen))
    head = {
        said("Product"): 2,
        said("Lot"): 1.3,
        said("What"): 0.9,
        said("Times"): 0.7,
        said("First"): 1.1,
        said("Last"): 1.1,
        said("Use by (last)"): 1.6,
        said("Entry (last)"): 1.5,
    }
    chapter.table(head, rows, empty=said("No package was opened and no solution mixed in these days, as far as it was entered."))
    return chapter


def _use_by(says: Any, clock: Clock) -> str:
    return clock.at(says.use_by) if isinstance(says.use_by, int) else says.use_by or NOT_ENTERED


def seals(held: Seals, head: dict[str, Any], clock: Clock, *, newest_ms: int) -> Chapter:
    """Return the chapter of the seals: what the book held, who signed it, and how to check it without this program."""
    checkpoint: Checkpoint = held.checkpoint
    chapter = Chapter(
        said("Seals and how to check them"),
        said(
            "Run check.py of the bundle with any Python 3.9 or later (python3 check.py), on your own computer. It needs nothing else and "
            "connects to nothing."
        ),
    )
    chapter.table(
        {said("What"): 1.2, said("Value"): 4},
        [
            (said("Book"), checkpoint.origin),
            (said("Entries"), said("{size:,}, the newest received {newest}", size=checkpoint.size, newest=clock.at(newest_ms))),
            (said("Root"), checkpoint.root.hex()),
            (said("Short form"), said("{short} (compare with a day sheet of that size)", short=checkpoint.short())),
            (said("Signed by"), ", ".join(key.short for key in held.keys) if held.signed else said("NOT SIGNED")),
            (said("Verification"), said("whole, no fault found") if held.whole else said("NOT WHOLE, {n} faults", n=len(held.faults))),
            ("figures.json", f"SHA-256 {head['figures']}"),
            (said("Entries in this document"), said("named by the last twelve characters of their id, as in entries.jsonl")),
        ],
        empty="",
    )  # fmt: skip
    if held.faults:
        chapter.heading(said("Faults that the verification found"))
        chapter.table({said("Fault"): 1}, [(fault,) for fault in held.faults[:200]], empty="")
    chapter.heading(said("Earlier checkpoints that the book was held against: {n}", n=len(held.earlier)))
    some = held.earlier if len(held.earlier) <= 60 else (*held.earlier[:10], *held.earlier[-50:])
    if len(held.earlier) > 60:
        chapter.text(said("The first 10 and the last 50 of {n}; all are in the bundle.", n=len(held.earlier)))
    chapter.table(
        {said("Entries"): 1, said("Short form"): 4},
        [(many(c.size), c.short()) for c, _ in some],
        empty=NO_EARLIER,
    )
    for doubt in held.doubted:
        chapter.text(said("Left out: {doubt}.", doubt=doubt))
    chapter.heading(said("Time-stamps of outside authorities"))
    stamps = [
        (clock.at(r.entry.data.stamped_ms), many(r.entry.data.size), r.entry.data.authority, short(r.entry.id))
        for r in held.stamps
        if isinstance(r.entry.data, CheckpointStamped)
    ]
    chapter.table({said("Stamped"): 1.5, said("Entries"): 1, said("Authority"): 3, said("Entry"): 1.5}, stamps, empty=NONE)
    chapter.text(
        said(
            "What this can't show: that something was never entered. The numbers of each device run on without gaps, so an entry that was "
            "made and held back shows. And whoever owns the machine could have rewritten the whole book before the first checkpoint left "
            "it: compare the short form with paper, tablets or backups of earlier days."
        )
    )
    return chapter
