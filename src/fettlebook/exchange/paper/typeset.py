"""A template and its data as a PDF.

Tagged as PDF/UA-1. The data go in as JSON, never as source text, and only the font of this package is used, so the same
data give the same bytes on every machine.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import typst

FONTS: Final = Path(__file__).parent / "fonts"  # the pages use them too


def typeset(template: Path, content: Mapping[str, Any]) -> bytes:
    """Return `template` filled with `content` as PDF.

    Parameters
    ----------
    template
        A typst file; it reads its data from the input "content".
    content
        JSON-able data.

    Raises
    ------
    RuntimeError
        The typesetter warned (a missing font, say): a page that came out wrong is not handed out.
    """
    compiler = typst.Compiler(
        template,
        root=template.parent,
        font_paths=typst.Fonts(include_system_fonts=False, font_paths=[FONTS]),
        sys_inputs={"content": json.dumps(content)},
    )
    pdf, warnings = compiler.compile_with_warnings(format="pdf", pdf_standards=["ua-1"])
    if warnings:
        raise RuntimeError("; ".join(warning.message for warning in warnings))
    if not isinstance(pdf, bytes):
        raise RuntimeError("the typesetter gave several files for one")
    return pdf
