"""The board: each subject as one card with its verdict, the first reason, until when it holds, and the way to fit in minutes."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from fettlebook.said import joined, said
from fettlebook.standing.asking import name_of
from fettlebook.standing.model import Standing, Verdict, WayToFit
from fettlebook.standing.standings import PRACTICE, View
from fettlebook.web.moments import short

SIGN: Final = {Verdict.FIT: "full", Verdict.UNPROVEN: "peak", Verdict.UNFIT: "broken"}


@dataclass(frozen=True, slots=True)
class Part:
    """A line of a chair, in small."""

    name: str
    subject: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Tile:
    """One subject on the board."""

    subject: str
    name: str
    verdict: Verdict
    reason: str
    more: int  # reasons beside the first
    until: str
    way: WayToFit
    parts: tuple[Part, ...] = ()

    @property
    def sign(self) -> str:
        """The shape beside the word."""
        return SIGN[self.verdict]


@dataclass(frozen=True, slots=True)
class SetRow:
    """The sets of one type, counted by verdict, each with its own link."""

    name: str
    units: tuple[Part, ...]

    def count(self, verdict: str) -> int:
        """Return how many are so."""
        return sum(one.verdict.value == verdict for one in self.units)


@dataclass(frozen=True, slots=True)
class Board:
    """All subjects, by what they are."""

    practice: Tile
    chairs: tuple[Tile, ...]
    machines: tuple[Tile, ...]
    products: tuple[Tile, ...]
    loads: tuple[Tile, ...]  # only those that aren't fit
    sets: tuple[SetRow, ...]


def board_of(view: View) -> Board:
    """Return the board of a moment."""
    basis = view.look.basis
    names = {chair.id: next((r.name for r in basis.practice.rooms if r.id == chair.room), "") for chair in basis.practice.chairs}
    subjects = tuple(view.subjects())
    return Board(
        practice=_tile(view, PRACTICE, basis.practice.practice.name),
        chairs=tuple(_chair(view, chair.id, names[chair.id]) for chair in basis.practice.chairs),
        machines=tuple(_tile(view, f"machine:{machine.id}") for machine in basis.practice.machines),
        products=tuple(_tile(view, subject) for subject in subjects if subject.startswith("product:")),
        loads=tuple(tile for s in subjects if s.startswith("load:") and (tile := _tile(view, s)).verdict is not Verdict.FIT),
        sets=tuple(_sets(view)),
    )


def tile_of(view: View, standing: Standing, name: str = "", parts: tuple[Part, ...] = ()) -> Tile:
    """Return one card."""
    failing, until = standing.failing, standing.valid_until_ms
    reason: str = said("all conditions hold")
    if failing:  # as people say it, else what must hold as the open question
        reason = failing[0].failed or said("{what}? {why}", what=failing[0].what, why=failing[0].why)
    told = short(until, view.look.basis.zone, view.look.at) if until is not None else ""
    return Tile(
        standing.subject, name or name_of(standing.subject), standing.verdict, reason, max(0, len(failing) - 1), told, standing.way_to_fit,
        parts,
    )  # fmt: skip


def _tile(view: View, subject: str, name: str = "") -> Tile:
    return tile_of(view, view.standing(subject), name)


def _chair(view: View, chair: str, room: str) -> Tile:
    outlets = view.look.basis.chairs[chair].outlets
    parts = tuple(Part(o.id, f"outlet:{chair}/{o.id}", view.standing(f"outlet:{chair}/{o.id}").verdict) for o in outlets)
    return tile_of(view, view.standing(f"chair:{chair}"), joined(", ", (chair, room)) if room else chair, parts)


def _sets(view: View) -> Iterator[SetRow]:
    for one in view.look.basis.practice.sets:
        units = [f"{one.id}#{number}" for number in range(1, one.owned + 1)]
        yield SetRow(one.name, tuple(Part(u.partition("#")[2], f"unit:{u}", view.standing(f"unit:{u}").verdict) for u in units))
