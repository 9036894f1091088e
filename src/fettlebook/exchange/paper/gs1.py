"""GS1 codes: the DataMatrix of a pack where the practice has numbers of its own, and the code on a package that came in.

A pack's code is an element string: with a trade item number `(01) GTIN (17) use by (10) load (21) number`, else `(8004)` the asset's
own identifier. GS1 lets lot and use-by stand only beside an item that they belong to, so with the asset's identifier they are not in
the code; they stand on the label in words.

Sources
-------
[G] GS1 General Specifications: application identifiers 01, 10, 17, 21, 8004, their formats, separators and which need which. memory
    (the formats are those of the library biip, which reads back what is written here)
[D] ISO/IEC 16022, FNC1 in first position: codeword 232. memory (a DataMatrix reader that is not ours confirms it in the tests)
"""

import codecs
import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

from fettlebook.errors import Mendable

if TYPE_CHECKING:
    from biip.gs1_messages import GS1Message

FNC1: Final = 232  # [D]
SEPARATOR: Final = "\x1d"  # ends a field of open length where another follows [G]
PLAIN: Final = re.compile(r"[^!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]")  # what is outside GS1's 82 characters [G]
NO_CODE: Final = "this is no GS1 code, or one of its fields is broken"
AGAIN: Final = "Scan again; where it stays so, type lot and use-by from the package."
CODEC: Final = "datamatrix.gs1"


@dataclass(frozen=True, slots=True)
class Package:
    """What the code on a package says."""

    gtin: str | None  # 14 digits
    lot: str | None
    use_by: date | None
    serial: str | None
    giai: str | None


def pack_string(*, gtin: str | None, giai: str | None, number: int, load: str, use_by: date | None) -> str:
    """Return the element string of one pack; empty where the practice has no number for it.

    Parameters
    ----------
    gtin
        Trade item number, 8 to 14 digits.
    giai
        Asset identifier without its end; used where there is no trade item number.
    number
        Which one of its type.
    load
        The load, as lot: signs that GS1 doesn't know become hyphens, at most 20.
    use_by
        Last day; None where no term is set.
    """
    if gtin:
        day = f"17{use_by:%y%m%d}" if use_by else ""
        return f"01{gtin.zfill(14)}{day}10{PLAIN.sub('-', load)[:20]}{SEPARATOR}21{number}"
    return f"8004{giai}{number}" if giai else ""


def shown(element_string: str) -> str:
    """Return an element string as people read it, with its identifiers in brackets."""
    return " ".join(f"({one.ai.ai}){one.value}" for one in _read(element_string).element_strings) if element_string else ""


def datamatrix_svg(element_string: str) -> str:
    """Return the GS1 DataMatrix as SVG with a quiet zone of one module."""
    from ppf.datamatrix import DataMatrix  # noqa: PLC0415 - only labels need it

    codecs.register(_search)
    code = DataMatrix(element_string)
    code.codecs = [CODEC]
    return str(code.svg())


def read_package(text: str) -> Package:
    """Return what a scanned GS1 code says (element string, with or without symbology identifier).

    Raises
    ------
    Mendable
        It is no GS1 code, or one of its fields is broken.
    """
    found = {one.ai.ai: one for one in _read(text).element_strings}
    if not found or ("01" in found and found["01"].gtin is None):
        raise Mendable(NO_CODE, where="code", mend=AGAIN)
    day = found["17"].date if "17" in found else None
    return Package(
        gtin=found["01"].value if "01" in found else None,
        lot=found["10"].value if "10" in found else None,
        use_by=day,
        serial=found["21"].value if "21" in found else None,
        giai=found["8004"].value if "8004" in found else None,
    )


def _read(text: str) -> "GS1Message":
    from biip import ParseConfig, ParseError  # noqa: PLC0415 - 0.16 s
    from biip.gs1_messages import GS1Message  # noqa: PLC0415

    plain = text.strip().removeprefix("]d2").removeprefix("]C1").removeprefix("]Q3")
    try:
        if plain.startswith("("):
            return GS1Message.parse_hri(plain)
        return GS1Message.parse(plain, config=ParseConfig(separator_chars=(SEPARATOR,)))
    except ParseError as error:
        raise Mendable(NO_CODE, where="code", mend=AGAIN) from error


def _encode(text: str, _errors: str = "strict") -> tuple[bytes, int]:
    plain, _ = codecs.lookup("datamatrix.ascii").encode(text)
    return bytes([FNC1]) + plain, len(text)


def _search(name: str) -> codecs.CodecInfo | None:
    return codecs.CodecInfo(_encode, lambda code, _errors="strict": (str(code), len(code)), name=CODEC) if name == CODEC else None
