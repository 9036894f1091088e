"""The codes on cards: which chair, duty and step, or which thing, they stand for, to be scanned with the step.

Own compact forms, each part percent-encoded (RFC 3986) because ids hold spaces: `fettlebook:chair/duty/step` for the card of a duty and
its steps, `fettlebook:machine=sterilizer%201` for a thing. A scanner types them as a keyboard: no sign in them needs more than Shift.
"""

import io
from dataclasses import dataclass
from typing import Final, Literal, get_args
from urllib.parse import quote, unquote

import segno

from fettlebook.errors import Mendable

SCHEME: Final = "fettlebook:"
Thing = Literal["chair", "machine", "set", "load", "badge"]
THINGS: Final[tuple[Thing, ...]] = get_args(Thing)


@dataclass(frozen=True, slots=True)
class CardCode:
    """What a code stands for; `step` is empty for a whole card."""

    chair: str
    duty: str
    step: str = ""

    def text(self) -> str:
        """Return the code's content."""
        parts = (self.chair, self.duty, self.step) if self.step else (self.chair, self.duty)
        return SCHEME + "/".join(quote(part, safe="") for part in parts)


@dataclass(frozen=True, slots=True)
class ThingCode:
    """A chair, a machine, a set (`exam` or the third of them, `exam#3`), a load, or a badge's secret."""

    thing: Thing
    id: str

    def text(self) -> str:
        """Return the code's content."""
        return f"{SCHEME}{self.thing}={quote(self.id, safe='')}"


def read_code(text: str) -> CardCode | ThingCode:
    """Return what a scanned text stands for.

    Raises
    ------
    Mendable
        The text is not a card's code.
    """
    rest = text.removeprefix(SCHEME)
    thing, is_thing, id_ = rest.partition("=")
    parts = rest.split("/")
    if text.startswith(SCHEME) and is_thing and id_ and "/" not in rest and "=" not in id_:
        for known in THINGS:
            if thing == known:
                return ThingCode(known, unquote(id_))
    elif text.startswith(SCHEME) and len(parts) in (2, 3) and all(parts):
        return CardCode(*(unquote(part) for part in parts))
    raise Mendable(f'"{text[:60]}" is no code of a card', where="code", mend="Scan the square on a card that fettlebook printed.")


def code_svg(code: CardCode | ThingCode) -> str:
    """Return the QR code as SVG text, error correction M, with its quiet zone."""
    out = io.BytesIO()
    segno.make_qr(code.text(), error="m").save(out, kind="svg", border=4, xmldecl=False, svgns=True, nl=False)
    return out.getvalue().decode("utf-8")
