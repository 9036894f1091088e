"""Follow every link of the built site: each leads to a page, a place on it or a file of the site; nothing is loaded from elsewhere."""

import re
import sys
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

LOADED = {"script": "src", "img": "src", "link": "href", "iframe": "src", "source": "src", "object": "data"}


@dataclass
class _Seen(HTMLParser):
    places: set[str] = field(default_factory=set)
    links: list[str] = field(default_factory=list)
    loaded: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value for name, value in attrs if value is not None}
        if "id" in given:
            self.places.add(given["id"])
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        if tag in LOADED and LOADED[tag] in given and given.get("rel") not in {"canonical"}:
            self.loaded.append(given[LOADED[tag]])


def faults(site: Path) -> list[str]:
    """Return each link that leads nowhere, and each thing that a page would load from elsewhere."""
    pages = {path.resolve(): _Seen() for path in sorted(site.rglob("*.html"))}
    for path, seen in pages.items():
        seen.feed(path.read_text("utf-8"))
    found = [fault for path, seen in pages.items() for fault in _faults_of(path, seen, pages, site)]
    for sheet in site.rglob("*.css"):
        found += [
            f"{sheet.relative_to(site)} loads {url}"
            for url in re.findall(r"url\(\s*['\"]?((?:https?:)?//[^)'\"]+)", sheet.read_text("utf-8"))
        ]
    return found


def _faults_of(path: Path, seen: _Seen, pages: dict[Path, _Seen], site: Path) -> list[str]:
    name = path.relative_to(site.resolve())
    found = [f"{name} loads {one}" for one in seen.loaded if urlsplit(one).netloc]
    for link in [*seen.links, *(one for one in seen.loaded if not urlsplit(one).netloc)]:
        parts = urlsplit(link)
        if parts.scheme or parts.netloc:
            continue
        to = (path.parent / unquote(parts.path)).resolve() if parts.path else path
        if to.is_dir():
            to /= "index.html"
        if not to.is_file():
            found.append(f"{name}: {link} leads nowhere")
        elif parts.fragment and to in pages and unquote(parts.fragment) not in pages[to].places:
            found.append(f"{name}: no such place on the page: {link}")
    return found


if __name__ == "__main__":
    said = faults(Path(sys.argv[1]))
    print("\n".join(said), end="\n" if said else "")
    sys.exit(bool(said))
