"""The code on a card: which chair, duty and step it stands for, to be scanned with the step.

Own compact form `fettlebook:chair/duty/step`, each part percent-encoded (RFC 3986): ids hold spaces.
"""

import io
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote, unquote

import segno

from fettlebook.errors import Mendable

SCHEME: Final = "fettlebook:"


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


def read_code(text: str) -> CardCode:
    """Return what a scanned text stands for.

    Raises
    ------
    Mendable
        The text is not a card's code.
    """
    parts = text.removeprefix(SCHEME).split("/")
    if not text.startswith(SCHEME) or len(parts) not in (2, 3) or not all(parts):
        raise Mendable(f'"{text[:60]}" is no code of a card', where="code", mend="Scan the square on the chair's card.")
    return CardCode(*(unquote(part) for part in parts))


def code_svg(code: CardCode) -> str:
    """Return the QR code as SVG text, error correction M, with its quiet zone."""
    out = io.BytesIO()
    segno.make_qr(code.text(), error="m").save(out, kind="svg", border=4, xmldecl=False, svgns=True, nl=False)
    return out.getvalue().decode("utf-8")
