"""What was done, to whom: from a visit to its sets, loads, cycles and tests, and back; from water, products and people likewise.

A trace is a list of links, each with its entry. It goes by entries as they stand at the moment known; it judges nothing.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.practice.model import MachineKind
from fettlebook.said import joined, said, term
from fettlebook.standing.facts import Trained
from fettlebook.standing.look import Look
from fettlebook.standing.streams import Fact

MOST_LINKS: Final = 2000


@dataclass(frozen=True, slots=True)
class Link:
    """One step of a trace: what was found, from what, by which entry. `depth` is how many steps away from the start it lies."""

    depth: int
    of: str
    to: str
    how: str
    at_ms: int
    entry: str


@dataclass(frozen=True, slots=True)
class Trace:
    """All links from a subject, in reading order: each is followed by what was found from it."""

    subject: str
    links: tuple[Link, ...]
    cut: bool = False  # there is more than `MOST_LINKS`

    def of_kind(self, kind: str) -> tuple[str, ...]:
        """Return the subjects of a kind that were found, each once."""
        return tuple(dict.fromkeys(link.to for link in self.links if link.to.startswith(f"{kind}:")))


def trace(look: Look, subject: str, *, since: int = 0) -> Trace:
    """Return what hangs together with a subject.

    Parameters
    ----------
    look
        The book as known at a moment, up to another.
    subject
        As the book writes it: `visit:v_1`, `unit:exam#3`, `pack:P1`, `load:L1`, `machine:sterilizer 1`, `chair:chair 1`,
        `outlet:chair 1/turbine`, `sample:W1`, `product:line h2o2/L1`, `solution:m1`, `person:ana`.
    since
        Leave out what happened before this moment, for a chair, machine or person with years of entries.

    Raises
    ------
    Mendable
        Nothing of this kind can be traced.
    """
    finder = _FINDERS.get(subject.partition(":")[0])
    if finder is None:
        raise Mendable(
            said('"{subject}" can\'t be traced', subject=subject),
            where="subject",
            mend=said("Begin with one of: {FINDERS}.", FINDERS=joined(", ", (f"{k}:" for k in _FINDERS))),
        )
    links: list[Link] = []
    for link in finder(look, subject, 1, since):
        if len(links) == MOST_LINKS:
            return Trace(subject, tuple(links), cut=True)
        links.append(link)
    return Trace(subject, tuple(links))


def _link(depth: int, of: str, to: str, how: str, fact: Fact) -> Link:
    return Link(depth, of, to, how, fact.happened, fact.entry)


def _visit(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    facts = list(look.forward(subject, "visit"))
    if not facts:
        return
    chair, units = facts[0].says.chair, dict[str, Fact]()
    for fact in facts:
        yield _link(depth, subject, chair, "ended" if fact.says.ended else "began", fact)
        for unit in fact.says.units:
            units.setdefault(unit, fact)
        if fact.says.water is not None:
            yield _link(depth, subject, f"product:{fact.says.water[0]}/{fact.says.water[1]}", "sterile water", fact)
    for fact in look.forward(subject, "pack"):
        units.setdefault(fact.says[0], fact)
    for unit, fact in units.items():
        yield _link(depth, subject, f"unit:{unit}", "used", fact)
        yield from _unit_before(look, f"unit:{unit}", fact.happened, depth + 1)
    for fact in look.forward(subject, "steps"):
        yield _link(depth, subject, chair, f"{fact.says.step} {fact.says.outcome or 'begun'} by {fact.says.by}", fact)
    yield from _water_around(look, chair, facts[0].happened, depth)


def _unit_before(look: Look, unit: str, moment: int, depth: int) -> Iterator[Link]:
    """Yield the loads that a unit was in before a moment: back to its sterilizer load and the washer load before that."""
    sterile = False
    for fact in look.back(unit, "packed", until=moment):
        kind = _kind(look, fact)
        if sterile and kind is MachineKind.STERILIZER:
            return  # an earlier round of the same unit
        yield _link(depth, unit, f"load:{fact.says.load}", "in load", fact)
        yield from _load_inside(look, f"load:{fact.says.load}", depth + 1)
        sterile = sterile or kind is MachineKind.STERILIZER
        if kind in (MachineKind.WASHER, MachineKind.ULTRASONIC):
            return


def _kind(look: Look, packed: Fact) -> MachineKind | None:
    machine = look.machine(packed.says.machine, packed.happened)
    return machine.kind if machine else None


def _load_inside(look: Look, load: str, depth: int) -> Iterator[Link]:
    """Yield the cycles of a load, how they were judged, who decided, and the tests before and after."""
    ran = None
    for ran in look.forward(load, "cycle"):
        yield _link(depth, load, ran.says.machine, said("cycle {cycle}: {says}", cycle=ran.says.cycle, says=term(ran.says.said)), ran)
    for judged in look.forward(load, "judged"):
        yield _link(
            depth,
            load,
            f"cycle:{judged.says.cycle_entry}",
            said("judged {verdict}: {reasons}", verdict=term(judged.says.verdict), reasons=judged.says.reasons),
            judged,
        )
    for decided in look.forward(load, "decided"):
        yield _link(depth, load, f"person:{decided.says.by}", decided.says.meaning, decided)
    if ran is not None:
        yield from _tests_around(look, ran, load, depth)


def _tests_around(look: Look, ran: Fact, load: str, depth: int) -> Iterator[Link]:
    machine = ran.says.machine
    tests = {
        fact.says.test
        for fact in (*_some(look.back(machine, "tests", until=ran.happened)), *_some(look.forward(machine, "tests", since=ran.happened)))
    }
    for test in sorted(tests):
        before = look.latest(machine, f"test:{test}", until=min(ran.says.began, ran.happened))
        after = look.first(machine, f"test:{test}", since=ran.happened)
        for word, fact in (("before", before), ("after", after)):
            if fact is not None:
                yield _link(depth, load, machine, f"{test} {word}: {fact.says.outcome}", fact)


def _some(facts: Iterator[Fact], most: int = 40) -> Iterator[Fact]:
    for _, fact in zip(range(most), facts, strict=False):
        yield fact


def _unit(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    for fact in sorted((*look.forward(subject, "packed", since=since), *look.forward(subject, "use", since=since))):
        if hasattr(fact.says, "visit"):
            yield _link(depth, subject, f"visit:{fact.says.visit}", f"used at {fact.says.chair.partition(':')[2]}", fact)
        else:
            yield _link(depth, subject, f"load:{fact.says.load}", "in load", fact)
            yield from _load_inside(look, f"load:{fact.says.load}", depth + 1)


def _pack(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    for fact in look.forward(subject, "packed"):
        yield _link(depth, subject, f"load:{fact.says.load}", "in load", fact)
        yield from _load_inside(look, f"load:{fact.says.load}", depth + 1)
    for fact in look.forward(subject, "use"):
        yield _link(depth, subject, f"visit:{fact.says.visit}", "opened", fact)


def _load(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    yield from _load_inside(look, subject, depth)
    for packed in look.forward(subject, "packed"):
        yield _link(depth, subject, packed.says.machine, "packed for", packed)
        for unit, pack in packed.says.items:
            yield _link(depth, subject, f"unit:{unit}", f"holds{f' as pack {pack}' if pack else ''}", packed)
            yield from _uses_after(look, f"unit:{unit}", packed, depth + 1)


def _uses_after(look: Look, unit: str, packed: Fact, depth: int) -> Iterator[Link]:
    """Yield the visits that used a unit as it came out of a load: before it went into the next one."""
    following = _next_load(look, unit, packed)
    for use in look.forward(unit, "use", since=packed.happened, until=following.happened if following else None):
        yield _link(depth, unit, f"visit:{use.says.visit}", said("used at {chair}", chair=use.says.chair.partition(":")[2]), use)


def _next_load(look: Look, unit: str, packed: Fact) -> Fact | None:
    """Return the next load of a unit in a machine of the same kind: what came out of the one before is gone then."""
    kind = _kind(look, packed)
    return next((f for f in look.forward(unit, "packed", since=packed.happened) if f > packed and _kind(look, f) is kind), None)


def _machine(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    sorts = ("tests", "cycles", "service")
    for fact in sorted(fact for sort in sorts for fact in look.forward(subject, sort, since=since)):
        says = fact.says
        if hasattr(says, "outcome"):
            yield _link(depth, subject, subject, f"{says.test}: {says.outcome}", fact)
        elif hasattr(says, "cycle"):
            yield _link(depth, subject, f"load:{says.load}" if says.load else subject, f"cycle {says.cycle}: {says.said}", fact)
        else:
            yield _link(depth, subject, subject, f"{says.sort}: {says.words}", fact)


def _chair(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    chair, _, outlet = subject.partition(":")[2].partition("/")
    of = f"chair:{chair}"
    sorts = ("visit", "sample", "steps", "service")
    for fact in sorted(fact for sort in sorts for fact in look.forward(of, sort, since=since)):
        says = fact.says
        outlets = getattr(says, "outlets", None)
        if outlet and outlets is not None and outlet not in outlets:
            continue
        if hasattr(says, "sample"):
            yield _link(depth, subject, f"sample:{says.sample}", "sampled" if hasattr(says, "what") else "counted", fact)
            yield from _results(look, f"sample:{says.sample}", depth + 1) if hasattr(says, "what") else ()
        elif hasattr(says, "step"):
            yield _link(depth, subject, f"person:{says.by}", f"{says.step} {says.outcome or 'begun'}", fact)
        elif hasattr(says, "ref"):
            yield _link(depth, subject, f"visit:{says.ref}", "visit ended" if says.ended else "visit began", fact)
        else:
            yield _link(depth, subject, subject, f"{says.sort}: {says.words}", fact)


def _results(look: Look, sample: str, depth: int) -> Iterator[Link]:
    for fact in look.state.stream(sample, "result").forward(0, look.known_at):
        mark = {"above": said("more than "), "below": said("less than "), None: ""}[fact.says.mark]
        yield _link(depth, sample, sample, f"{fact.says.quantity}: {mark}{fact.says.value:g} {fact.says.unit}", fact)


def _sample(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    for fact in look.forward(subject, "taken"):
        yield _link(depth, subject, fact.says.subject, f"taken from {', '.join(fact.says.outlets or ()) or 'the chair'}", fact)
        yield from _treatments(look, fact.says.subject, fact.happened, depth + 1)
    yield from _results(look, subject, depth)


def _water_around(look: Look, chair: str, moment: int, depth: int) -> Iterator[Link]:
    """Yield the sample before a moment and the one after, with their results, and the treatment before."""
    for word, fact in (("before", look.latest(chair, "sample", until=moment)), ("after", look.first(chair, "sample", since=moment + 1))):
        if fact is not None:
            yield _link(depth, chair, f"sample:{fact.says.sample}", said("sample {word}", word=term(word)), fact)
            yield from _results(look, f"sample:{fact.says.sample}", depth + 1)
    yield from _treatments(look, chair, moment, depth)


def _treatments(look: Look, chair: str, moment: int, depth: int) -> Iterator[Link]:
    """Yield the last contact and rinse of line disinfectant before a moment."""
    for _, step in look.basis.steps.values():
        if step.computes is not None and step.computes.value in ("contact", "rinse"):
            fact = look.latest(chair, f"done:{step.id}", until=moment)
            if fact is not None:
                yield _link(depth, chair, f"person:{fact.says.by}", f"{step.id} {fact.says.outcome}", fact)


def _lot(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    for sort, how in (("opened", "opened"), ("mixed", said("made up"))):
        for fact in look.forward(subject, sort):
            yield _link(depth, subject, fact.says.subject, how, fact)
    for fact in look.forward(subject, "visits", since=since):
        yield _link(depth, subject, f"visit:{fact.says.ref}", "sterile water of the visit", fact)
    for fact in look.forward(subject, "steps", since=since):
        yield _link(depth, subject, fact.says.subject, f"{fact.says.step} {fact.says.outcome} by {fact.says.by}", fact)
        if fact.says.visit is not None:
            yield _link(depth + 1, fact.says.subject, f"visit:{fact.says.visit}", "of the visit", fact)


def _person(look: Look, subject: str, depth: int, since: int) -> Iterator[Link]:
    sorts = ("steps", "decided", "trained")
    for fact in sorted(fact for sort in sorts for fact in look.forward(subject, sort, since=since)):
        if isinstance(fact.says, Trained):
            told = {"what": fact.says.what, "day": date.fromisoformat(fact.says.held_on), "who": fact.says.held_by}
            yield _link(depth, subject, subject, said("trained on {day}: {what}, held by {who}", **told), fact)
        elif hasattr(fact.says, "meaning"):
            yield _link(depth, subject, f"load:{fact.says.load}", fact.says.meaning, fact)
        else:
            yield _link(depth, subject, fact.says.subject, f"{fact.says.step} {fact.says.outcome or 'begun'}", fact)


_FINDERS: Final[dict[str, Callable[[Look, str, int, int], Iterator[Link]]]] = {
    "visit": _visit,
    "unit": _unit,
    "pack": _pack,
    "load": _load,
    "machine": _machine,
    "chair": _chair,
    "outlet": _chair,
    "sample": _sample,
    "product": _lot,
    "solution": _lot,
    "person": _person,
}
