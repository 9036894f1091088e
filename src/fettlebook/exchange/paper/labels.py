"""Labels for packs: what is in it, which load and machine, packed when, use by when, and codes to scan. On sheets, or one by one.

The use-by is reckoned from the day of packing, by the strictest storage rule in force: never later than the book will say after the cycle.
Where no rule sets a number of days the label says so. A label is no release.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import LoadPacked
from fettlebook.errors import Mendable
from fettlebook.exchange.paper.cards import made_parts
from fettlebook.exchange.paper.gs1 import datamatrix_svg, pack_string, shown
from fettlebook.exchange.paper.qr import ThingCode, code_svg
from fettlebook.exchange.paper.typeset import Voice, typeset
from fettlebook.practice.model import MachineKind, Practice
from fettlebook.said import said, said_date

TEMPLATE: Final = Path(__file__).parent / "labels.typ"
A4_MM: Final = (210, 297)
NO_TERM: Final = said("No term set: look at the pack")
LEAST_MM: Final = (48, 24)  # smaller ones can't carry a code that a scanner reads, beside words that people read


@dataclass(frozen=True, slots=True)
class Paper:
    """The labels as they come: a sheet of columns by rows with its margins, or single labels of one size [mm]."""

    columns: int = 3
    rows: int = 8
    margin_x_mm: float = 0.0
    margin_y_mm: float = 4.5
    single_mm: tuple[float, float] | None = None  # width, height of one label on a roll; None: a sheet

    @property
    def label_mm(self) -> tuple[float, float]:
        """Width and height of one label."""
        if self.single_mm is not None:
            return self.single_mm
        return ((A4_MM[0] - 2 * self.margin_x_mm) / self.columns, (A4_MM[1] - 2 * self.margin_y_mm) / self.rows)


def load_labels(
    practice: Practice,
    load: LoadPacked,
    *,
    packed_at: datetime,
    by: str,
    life_days: tuple[float | None, float | None],
    paper: Paper,
    skip: int = 0,
    voice: Voice | None = None,
) -> bytes:
    """Return the labels of a load as PDF, one for each pack.

    Parameters
    ----------
    practice
        Names, numbers of its own, zone.
    load
        The load as packed.
    packed_at, by
        When, aware, and by whom (id).
    life_days
        How many days a wrapped and an unwrapped pack may be stored; None: no term is set.
    paper
        Sheet or roll.
    skip
        How many labels of the first sheet are used already.
    voice
        The language that they are printed in; None: English.

    Raises
    ------
    Mendable
        Labels are too small, too many are skipped, or nothing in the load is wrapped in a pack.
    """
    width, height = paper.label_mm
    if width < LEAST_MM[0] or height < LEAST_MM[1]:
        mend = f"Take labels of at least {LEAST_MM[0]} x {LEAST_MM[1]} mm."
        raise Mendable(f"labels of {width:.0f} x {height:.0f} mm are too small for a code and the words", where="labels", mend=mend)
    if paper.single_mm is None and not 0 <= skip < paper.columns * paper.rows:
        raise Mendable(f"a sheet has {paper.columns * paper.rows} labels", where="skip", mend="Skip fewer than that.")
    machine = next((one for one in practice.machines if one.id == load.machine), None)
    if machine is None or machine.kind is not MachineKind.STERILIZER:
        raise Mendable("this load is not packed for a sterilizer", where=load.load, mend="Labels are for packs that are sterilized.")
    local = packed_at.astimezone(ZoneInfo(practice.practice.time_zone))
    content = {
        "practice": practice.practice.name,
        "invented": practice.practice.invented,
        "width": width,
        "height": height,
        "columns": 1 if paper.single_mm else paper.columns,
        "rows": 1 if paper.single_mm else paper.rows,
        "margin_x": 0.0 if paper.single_mm else paper.margin_x_mm,
        "margin_y": 0.0 if paper.single_mm else paper.margin_y_mm,
        "single": paper.single_mm is not None,
        "skip": 0 if paper.single_mm else skip,
        "words": {
            "title": said("Labels for packs"),
            "invented": said("invented data"),
            "qr": said("QR code: this one in the book"),
        },
        "made": made_parts(local),
        "labels": _labels(practice, load, local.date(), by, life_days),
    }
    return typeset(TEMPLATE, content, voice)


def _labels(
    practice: Practice, load: LoadPacked, packed: date, by: str, life_days: tuple[float | None, float | None]
) -> Sequence[dict[str, Any]]:
    types = {one.id: one for one in practice.sets}
    found = []
    for item in load.items:
        kind, _, number = item.unit.partition("#")
        known = types.get(kind)
        days = life_days[0 if item.pack is not None else 1]
        use_by = packed + timedelta(days=int(days)) if days is not None else None
        gs1 = pack_string(
            gtin=known.gtin if known else None, giai=known.giai if known else None, number=int(number), load=load.load, use_by=use_by
        )
        found.append(
            {
                "name": known.name if known else kind,
                "number": number,
                "pack": said("Pack {pack}", pack=item.pack) if item.pack else "",
                "load": load.load,
                "load_word": said("Load"),
                "machine": load.machine,
                "cycle": load.cycle or "",
                "packed": said("Packed {day}, {by}", day=said_date(packed), by=by) if by else said("Packed {day}", day=said_date(packed)),
                "use_by": said("Use by {day}", day=said_date(use_by)) if use_by else NO_TERM,
                "qr": code_svg(ThingCode("set", item.unit)),
                "gs1": datamatrix_svg(gs1) if gs1 else "",
                "gs1_words": shown(gs1),
            }
        )
    return found
