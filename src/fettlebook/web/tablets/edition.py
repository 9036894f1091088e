"""Which edition of the program the pages are of: a tablet that kept another one takes the new one as soon as it hears of it."""

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Final

from fettlebook import __version__

HERE: Final = Path(__file__).parents[1]
FONTS: Final = Path(__file__).parents[2] / "exchange" / "paper" / "fonts"
HEADER: Final = "Fettlebook-Edition"
LEFT_OUT: Final = ("sw.js",)
LOADED: Final = frozenset({".css", ".js", ".svg", ".png", ".ttf", ".woff2"})


@cache
def program() -> tuple[str, ...]:
    """Return the addresses of all files that a page may load."""
    static = [f"/static/{path.relative_to(HERE / 'static').as_posix()}" for path in _loaded(HERE / "static")]
    fonts = [f"/fonts/{path.name}" for path in _loaded(FONTS)]
    return tuple(sorted([*static, *fonts, "/minutes.css", "/manifest.webmanifest"]))


@cache
def edition() -> str:
    """Return the edition: a digest of all that pages are made of."""
    digest = hashlib.sha256(__version__.encode())
    for path in sorted([*_loaded(HERE / "static"), *_loaded(FONTS), *(HERE / "templates").glob("*"), HERE / "static/sw.js"]):
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


@cache
def worker() -> str:
    """Return the service worker's text for this edition."""
    text = (HERE / "static/sw.js").read_text("utf-8")
    return text.replace("@edition@", edition()).replace('["@program@"]', json.dumps(program()))


def _loaded(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.suffix in LOADED and path.name not in LEFT_OUT)
