"""What a set's or handpiece's own instructions for use ask of it: oil before it is packed, and no more cycles than they allow."""

from collections.abc import Iterator
from typing import Final

from fettlebook.practice.model import MachineKind
from fettlebook.rules.model import Origin
from fettlebook.said import said
from fettlebook.standing.again import again
from fettlebook.standing.basis import BOOK
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.ride import set_type_of
from fettlebook.standing.streams import Fact

HANDPIECES: Final = "handpieces between patients"


def _ifu(unit: str) -> Origin:
    return Origin("practice file", unit.partition("#")[0], "its instructions for use, as the practice file holds them", "practice", "own")


def oiled(look: Look, unit: str, sterile: Fact) -> Iterator[Condition]:
    """Yield whether a handpiece was oiled before it was packed, where the practice file says that its IFU asks for it."""
    of_type = set_type_of(look.then(sterile.happened).practice, unit)
    if of_type is None or of_type.kind != "handpiece" or not of_type.lubricate_minutes:
        return
    asked = look.basis.asks(HANDPIECES)
    origin = asked.origin if asked else _ifu(unit)
    if unit in sterile.says.oiled:
        yield Condition(
            said("oiled before it was packed"),
            Verdict.FIT,
            said("with load {load}", load=sterile.says.load),
            origin,
            (sterile.entry,),
            sterile.happened,
        )
    else:
        why = said("not in the book for load {load}", load=sterile.says.load)
        yield Condition(said("oiled before it was packed"), Verdict.UNPROVEN, why, origin, mend=again(look, f"unit:{unit}"))


def cycles_since_service(look: Look, unit: str) -> tuple[int, Fact | None]:
    """Return how many sterilizer cycles a unit has been through since its last repair or service, and the entry of that."""
    served = next((fact for fact in look.back(f"unit:{unit}", "service") if fact.says.sort == "repair"), None)
    since = served.happened if served else 0
    count = 0
    for packed in look.back(f"unit:{unit}", "packed", since=since):
        machine = look.machine(packed.says.machine, packed.happened)
        if machine is not None and machine.kind is MachineKind.STERILIZER:
            count += look.latest(f"load:{packed.says.load}", "cycle") is not None
    return count, served


def within_its_cycles(look: Look, unit: str) -> Iterator[Condition]:
    """Yield whether a unit is within the number of cycles that its IFU allows between services; nothing where none is given."""
    of_type = set_type_of(look.basis.practice, unit)
    if of_type is None or of_type.most_cycles is None:
        return
    count, served = cycles_since_service(look, unit)
    since = said("since its service {served}", served=look.when(served.happened)) if served else said("in the book")
    told = said("{count} of {most_cycles} cycles {since}", count=count, most_cycles=of_type.most_cycles, since=since)
    entries = (served.entry,) if served else ()
    if count <= of_type.most_cycles:
        yield Condition(said("within the cycles that its IFU allows"), Verdict.FIT, told, _ifu(unit), entries)
    else:
        mend = Owed(f"unit:{unit}", "service", said("Have it serviced and enter the repair, or retire it"), BOOK)
        yield Condition(said("within the cycles that its IFU allows"), Verdict.UNFIT, told, _ifu(unit), entries, mend=(mend,))
