"""A template and its data as a PDF.

Tagged as PDF/UA-1, with the language that it is said in: texts that can be said in it (`said`) are, all others stay as they are. The data
go in as JSON, never as source text, and only the font of this package is used, so the same data give the same bytes on every machine.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, Protocol

import typst

from fettlebook.said import Said, Speaker, speak

FONTS: Final = Path(__file__).parent / "fonts"  # the pages use them too


class Voice(Speaker, Protocol):
    """A language that a paper is said in."""

    @property
    def language(self) -> str:
        """Its tag: de."""

    @property
    def region(self) -> str:
        """The tag with its country: de_AT."""


def typeset(template: Path, content: Mapping[str, Any], voice: Voice | None = None) -> bytes:
    """Return `template` filled with `content` as PDF.

    Parameters
    ----------
    template
        A typst file; it reads its data from the input "content", `lang` and `region` among them.
    content
        JSON-able data; texts in it may be `said`.
    voice
        The language to say them in; None: English.

    Raises
    ------
    RuntimeError
        The typesetter warned (a missing font, say): a page that came out wrong is not handed out.
    """
    told = {**in_voice(content, voice), **_tag(voice)}
    compiler = typst.Compiler(
        template,
        root=template.parent,
        font_paths=typst.Fonts(include_system_fonts=False, font_paths=[FONTS]),
        sys_inputs={"content": json.dumps(told)},
    )
    pdf, warnings = compiler.compile_with_warnings(format="pdf", pdf_standards=["ua-1"])
    if warnings:
        raise RuntimeError("; ".join(warning.message for warning in warnings))
    if not isinstance(pdf, bytes):
        raise RuntimeError("the typesetter gave several files for one")
    return pdf


def in_voice(content: Any, voice: Voice | None) -> Any:
    """Return data with each text said in a language; in English, as it is."""
    if voice is None or voice.language == "en":
        return content
    if isinstance(content, Mapping):
        return {name: in_voice(one, voice) for name, one in content.items()}
    if isinstance(content, list | tuple):
        return [in_voice(one, voice) for one in content]
    return speak(content, voice) if isinstance(content, Said) else content


def _tag(voice: Voice | None) -> dict[str, str]:
    language, _, country = (voice.region if voice is not None else "en_GB").partition("_")
    return {"lang": language, "region": (country or language).lower()}
