"""What chairs share that could let their water rise together: the mains, lots of a product that came in between, the laboratory."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from fettlebook.exchange.laboratory.from_book import BookWater
from fettlebook.practice.model import SupplyKind
from fettlebook.science.trends import Sample
from fettlebook.standing.look import Look

Sort = Literal["supply", "lot", "laboratory"]
LINES: Final = ("line intensive", "line continuous")


@dataclass(frozen=True, slots=True)
class Shared:
    """One thing with the chairs that it touches; chairs by their names in the practice file."""

    sort: Sort
    name: str
    chairs: frozenset[str]


def shared_things(look: Look, water: BookWater, before: date, held: Sequence[Sample]) -> tuple[Shared, ...]:
    """Return what the chairs of a round share.

    Parameters
    ----------
    before
        The day of the newest result before the round: a lot that was opened later is new.
    held
        The round's results.
    """
    here = frozenset(sample.chair for sample in held)
    mains = frozenset(name for name in here if look.basis.chairs[name].supply.kind is not SupplyKind.BOTTLE)
    found = [Shared("supply", "the mains water", mains)] if mains else []
    return (*found, *_laboratories(water, here), *_lots(look, before, here))


def _laboratories(water: BookWater, here: frozenset[str]) -> Iterator[Shared]:
    """Yield each laboratory of the round; one that no entry names did all of them."""
    newest = {name: next((r.laboratory for r in reversed(water.chair(name).results) if not r.doubts), None) for name in here}
    for name in sorted(set(newest.values()), key=str):
        chairs = frozenset(chair for chair, laboratory in newest.items() if laboratory == name)
        yield Shared("laboratory", "the laboratory" if name is None else f"the laboratory {name}", chairs)


def _lots(look: Look, before: date, here: frozenset[str]) -> Iterator[Shared]:
    """Yield each lot of the lines' products opened since the round before: the chairs whose entries name it, all where none names any."""
    since = look.basis.day_begins(before)
    for product in dict.fromkeys((look.basis.practice.in_use.line_intensive, look.basis.practice.in_use.line_continuous)):
        if product is None:
            continue
        used = _used(look, product, since, here)
        for fact in look.forward(f"product:{product}", "opened", since=since):
            lot = fact.says.subject.partition("/")[2]
            chairs = used.get(lot, frozenset()) if used else here
            if lot and chairs:
                yield Shared("lot", f"lot {lot} of {product}", chairs)


def _used(look: Look, product: str, since: int, here: frozenset[str]) -> dict[str, frozenset[str]]:
    """Return the chairs that were treated with each lot by their own entries."""
    steps = [step.id for _, step in look.basis.steps.values() if step.product in LINES]
    found: dict[str, set[str]] = {}
    for chair in here:
        for step in steps:
            for fact in look.forward(f"chair:{chair}", f"done:{step}", since=since):
                if fact.says.lot is not None and fact.says.lot[0] == product and fact.says.lot[1] is not None:
                    found.setdefault(fact.says.lot[1], set()).add(chair)
    return {lot: frozenset(chairs) for lot, chairs in found.items()}
