"""Every text of the pages that one works with by the day passes through the catalogs: in a made-up language nothing stays English."""

import re
import sys
from collections.abc import Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day
from test_standing_pages import book  # noqa: F401 - the fixture: an invented week in a book, and its pages

from fettlebook.said import Form
from fettlebook.web.languages import asked
from fettlebook.web.languages.tongue import Tongue
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
DAILY = (
    "/standing", "/standing/chair:chair 1", "/standing/machine:washer 1", "/standing/practice:all", "/due", "/loads", "/loads/pack",
    "/machines", "/failures", "/water", "/water/of/chair 1", "/water/diary", "/water/enter", "/water/treatments",
    "/water/treatments/of/chair 1", "/water/suction", "/water/strips", "/water/taps", "/water/parts", "/water/stock",
    "/water/enter/treatment-strip", "/water/enter/spot", f"/day/{made_up_day.DAY}",
    f"/day/{made_up_day.DAY}?by=person", f"/day/{made_up_day.DAY}?by=machine", f"/day/{made_up_day.DAY}/otherwise", "/chair/chair 1",
    "/times/chair 1",
)  # fmt: skip
# Signs of units and of the trade's formulas, the program's own name, and parts of addresses that a page shows.
SAME = {"min", "mL", "RLU", "mg", "CFU", "kPa", "degC", "fettlebook", "tau", "steril", "book", "sample", "LOT"}
# Words and references of the made-up life itself.
INVENTED = re.compile(r"\(invented\)|c0ffee|Room 9|calendar rule|flow of motor|cup and a clock")


class Turned(Tongue):
    """A made-up language: whatever is looked up becomes signs that are no letters."""

    __slots__ = ()

    def look_up(self, template: str) -> str:
        return _turned(template)

    def look_up_count(self, one: str, many: str, n: int) -> str:
        return _turned(one if n == 1 else many)

    def moment(self, moment: date, form: Form) -> str:
        return "25.11."


def _turned(template: str) -> str:
    """Replace each letter that is not part of what is put in, of a tag or of an entity."""
    kept = re.split(r"(%\(\w+\)s|\{[^{}]*\}|<[^<>]+>|&\w+;|%%)", template)
    return "".join(part if n % 2 else re.sub(r"[A-Za-z]", "·", part) for n, part in enumerate(kept))


class Texts(HTMLParser):
    """What people see or hear of a page, without what says that it is not translated."""

    VOID = frozenset({"meta", "link", "input", "br", "img", "hr", "path", "circle", "rect", "line", "polyline", "use"})

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._open: list[tuple[str, bool]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = dict(attrs)
        left = tag in ("style", "script", "code", "pre", "svg") or known.get("translate") == "no" or (tag != "html" and "lang" in known)
        if tag not in self.VOID:
            self._open.append((tag, left))
        if not left and not any(hidden for _, hidden in self._open):
            self.texts += [value for name in ("aria-label", "title", "placeholder", "alt") if (value := known.get(name))]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take an element that ends at once, as in drawings: it holds no text."""

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and not any(hidden for _, hidden in self._open):
            self.texts.append(" ".join(data.split()))


def _names(value: Any) -> Iterator[str]:
    """Yield all texts of the practice file and of the rules: they stay as they are written."""
    if isinstance(value, str):
        yield str(value)
    elif isinstance(value, dict):
        for key, one in value.items():
            yield str(key)
            yield from _names(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _names(one)


@pytest.fixture
def client(book: tuple[TestClient, Record], monkeypatch: pytest.MonkeyPatch) -> TestClient:  # noqa: F811
    monkeypatch.setattr(asked, "tongue_of", lambda *_: Turned("xx", "de_DE"))
    return book[0]


@pytest.fixture(scope="module")
def names(book: tuple[TestClient, Record]) -> re.Pattern[str]:  # noqa: F811
    from fettlebook.rules.load import load_rulebook

    practice = made_up_day.practice()
    rulebook = load_rulebook(practice)
    sources = {limit.origin.source for limit in rulebook.limits}
    sources |= {one.source for duty in rulebook.duties for one in (duty.origin, *(step.origin for step in duty.steps))}
    layers = {limit.origin.layer for limit in rulebook.limits}
    plan = made_up_day.plan()
    told = {
        plan.line,
        plan.method,
        *(v.why for v in plan.visits),
        *(word for s in plan.shortages for word in (s.what, s.where, s.when, s.mend)),
    }
    found = {name for name in (*_names(practice.model_dump(mode="json")), *sources, *layers, *told) if re.search("[A-Za-z]{2}", name)}
    known = sorted((re.escape(name) for name in found), key=len, reverse=True)
    return re.compile(rf"(?<![A-Za-z])(?:{'|'.join(known)})(?![A-Za-z])", re.I)


@pytest.mark.parametrize("address", DAILY)
def test_no_text_of_a_daily_page_stays_english(client: TestClient, names: re.Pattern[str], address: str) -> None:
    answer = client.get(address, follow_redirects=True)
    assert '<html lang="xx">' in answer.text, answer.text[:200]
    english = []
    for text in Texts(answer.text).texts:
        words = [word for word in re.findall(r"[A-Za-z][A-Za-z'’]+", names.sub(" ", text)) if word not in SAME]
        if words and not INVENTED.search(text) and not re.fullmatch(r"[…\w:#/ .,-]*\d[\w:#/ .,-]*", text):  # ids of loads, visits, entries
            english.append(f"{words}: {text[:150]}")
    assert not english
