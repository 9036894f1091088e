"""The languages of the pages: whose language, whose days and decimals, and catalogs that lack nothing and promise nothing."""

import ast
import pickle
import re
from datetime import UTC, date, datetime
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.catalog import Catalog
from fastapi.testclient import TestClient
from jinja2 import Environment

from fettlebook.said import joined, listed, said, said_count, said_moment, said_number, speak, term
from fettlebook.web.languages import catalogs
from fettlebook.web.languages.tongue import ENGLISH, LANGUAGES, Tongue, catalog, tongue_of

GERMAN, SWISS, SPANISH, FRENCH = Tongue("de", "de_DE"), Tongue("de", "de_CH"), Tongue("es", "es_ES"), Tongue("fr", "fr_FR")


class Turned(Tongue):
    """A made-up language: each template stands in brackets, numbers have a comma."""

    __slots__ = ()

    def look_up(self, template: str) -> str:
        return f"[{template}]" if template else ""

    def look_up_count(self, one: str, many: str, n: int) -> str:
        return f"[{one if n == 1 else many}]"


TURNED = Turned("xx", "de_DE")


def test_a_said_text_is_the_english_text_and_can_be_said_in_another_language() -> None:
    text = said("{what}: {n} min, {share:.1f} %", what=term("rinse"), n=3, share=1.25)
    assert text == "rinse: 3 min, 1.2 %"
    assert speak(text, TURNED) == "[[rinse]: 3 min, 1,2 %]"
    assert speak("plain", TURNED) == "plain"


def test_what_is_put_together_stays_sayable() -> None:
    assert speak("rinsed " + said("now"), TURNED) == "rinsed [now]"
    assert speak(said("now") + "; " + said("then"), TURNED) == "[now]; [then]"
    assert speak(joined("; ", [said("a"), "b"]), TURNED) == "[a]; b"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert speak(listed([term("a"), term("b")]), TURNED) == "[[a] and [b]]"
    assert speak(said_count("{n} cycle", "{n} cycles", n=1), TURNED) == "[1 cycle]"
    assert said_count("{n} cycle", "{n} cycles", n=2) == "2 cycles"


@pytest.mark.parametrize(
    "text",
    [
        said("{n} min", n=3),
        said_count("{n} cycle", "{n} cycles", n=2),
        joined("; ", [term("a"), "b"]),
        said_moment(date(2026, 11, 25), "day", "Wed 25 Nov 2026"),
        said_number(0.5, ".2f"),
    ],
)
def test_a_said_text_comes_back_from_another_process_as_it_was(text: str) -> None:
    back = pickle.loads(pickle.dumps(text))
    assert back == text
    assert speak(back, TURNED) == speak(text, TURNED)


def test_braces_of_a_text_without_anything_to_put_in_stay() -> None:
    assert said("as {written}") == "as {written}"


def test_a_translation_that_names_what_is_not_there_falls_back_to_english() -> None:
    class Wrong(Turned):
        __slots__ = ()

        def look_up(self, template: str) -> str:
            return "{nothing}"

    assert speak(said("{n} min", n=3), Wrong("xx", "de_DE")) == "3 min"


@pytest.mark.parametrize(
    ("kept", "preferred", "language", "region"),
    [
        ("", "", "en", "en_GB"),
        ("", "de-CH,de;q=0.9,en;q=0.8", "de", "de_CH"),
        ("", "nl,fr;q=0.5", "fr", "fr_FR"),
        ("", "en;q=0.3,es-MX;q=0.7", "es", "es_MX"),
        ("fr", "de", "fr", "fr_FR"),
        ("xx", "de", "de", "de_DE"),
        ("", "de;q=0,en", "en", "en_GB"),
        ("", "../../etc;q=1,*;q=zero,de-ZZ", "de", "de_DE"),
        ("", "d" * 9000, "en", "en_GB"),
    ],
)
def test_the_device_s_own_choice_comes_first_then_what_the_browser_prefers(kept: str, preferred: str, language: str, region: str) -> None:
    assert tongue_of(kept, preferred) == Tongue(language, region)


@pytest.mark.published(source="Unicode CLDR 47, as Babel carries it: skeletons yMMMEd and MMMEd, decimal and grouping signs", sure="memory")
def test_days_and_numbers_are_written_as_people_write_them() -> None:
    day, moment = date(2026, 11, 25), datetime(2026, 11, 25, 8, 5, tzinfo=UTC)
    assert ENGLISH.moment(day, "day") == "Wed 25 Nov 2026"
    assert GERMAN.moment(day, "day") == "Mi., 25. Nov. 2026"
    assert FRENCH.moment(moment, "moment") == "mer. 25 nov. 2026 08:05"
    assert SPANISH.moment(day, "short day") == "mié, 25 nov"
    assert [tongue.number(1234.5, ",.1f") for tongue in (ENGLISH, GERMAN, SWISS, SPANISH)] == ["1,234.5", "1.234,5", "1'234.5", "1.234,5"]
    assert GERMAN.number(1500, "") == "1500"
    assert GERMAN.moment(moment, "clock") == "08:05"


def test_a_page_speaks_the_language_of_its_reader(client: TestClient) -> None:
    page = client.get("/rules", headers={"Accept-Language": "de"}).text
    assert '<html lang="de">' in page
    assert '<html lang="en">' in client.get("/rules", headers={"Accept-Language": "nl"}).text
    assert '<html lang="fr">' in client.get("/rules", headers={"Accept-Language": "de", "Cookie": "language=fr"}).text


def test_a_device_chooses_its_language_and_comes_back_to_the_page_it_left(client: TestClient) -> None:
    own = {"Origin": "http://127.0.0.1", "Referer": "http://127.0.0.1/rules?a=b"}
    answer = client.post("/language", data={"language": "es"}, headers=own)
    assert (answer.status_code, answer.headers["location"]) == (303, "/rules?a=b")
    assert "httponly" in answer.headers["set-cookie"].lower()
    assert '<html lang="es">' in client.get("/rules").text
    for elsewhere in ("http://bad.example/rules", "http://127.0.0.1//bad.example", ""):
        assert client.post("/language", data={"language": "es"}, headers={**own, "Referer": elsewhere}).headers["location"] == "/"
    assert "set-cookie" not in client.post("/language", data={"language": "../de"}, headers=own).headers
    assert client.post("/language", data={"language": "de"}).status_code == 403


@pytest.fixture(scope="module")
def found() -> Catalog:
    return catalogs.texts()


@pytest.mark.parametrize("language", catalogs.LANGUAGES_KEPT)
def test_every_text_of_the_pages_stands_in_the_catalog(language: str, found: Catalog) -> None:
    kept = {message.id for message in catalogs.kept(language)}
    lacking = sorted(str(message.id) for message in found if message.id and message.id not in kept)
    assert not lacking, "run scripts/languages, which writes new texts into the catalogs"


def _holes(text: str) -> set[str]:
    """Return what is put into a text: `%(name)s` of templates, `{name:spec}` of code."""
    percent = set(re.findall(r"%\((\w+)\)[sd]", text))
    try:
        return percent | {f"{name}:{spec}" for _, name, spec, _ in Formatter().parse(text) if name}
    except ValueError:
        return percent


@pytest.mark.parametrize("language", catalogs.LANGUAGES_KEPT)
def test_a_translation_puts_in_what_the_english_text_puts_in(language: str) -> None:
    for message in catalogs.kept(language):
        wanted = _holes(" ".join(message.id) if isinstance(message.id, tuple) else str(message.id))
        for one in message.string if isinstance(message.string, tuple) else (message.string,):
            if one and message.id:
                left_out = {"n:", "n", "num"} if isinstance(message.id, tuple) else set()  # "one cycle" needs no number
                assert wanted - left_out <= _holes(one) <= wanted, (message.id, one)


@pytest.mark.parametrize("language", catalogs.LANGUAGES_KEPT)
def test_a_catalog_of_the_server_is_that_of_the_file(language: str) -> None:
    texts = catalog(language)
    for message in catalogs.kept(language):
        if message.id and isinstance(message.id, str) and message.string:
            assert texts.gettext(message.id) == message.string


def test_what_is_said_has_a_literal_template() -> None:
    for path in sorted(catalogs.PACKAGE.rglob("*.py")):
        text = path.read_text("utf-8")
        if "from fettlebook.said import" not in text:
            continue
        for call in ast.walk(ast.parse(text)):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in ("said", "said_count"):
                for template in call.args[: 1 if call.func.id == "said" else 2]:
                    assert isinstance(template, ast.Constant), f"{path.name} line {call.lineno}: a template must be a literal"


TEMPLATES = sorted((catalogs.PACKAGE / "web/templates").glob("*.html"))
DAILY = (
    "base",
    "work",
    "sign_in",
    "standing",
    "subject",
    "due",
    "day",
    "heat_",
    "water",
    "held",
    "offline",
    "sending",
    "measure",
    "otherwise",
)


@pytest.mark.parametrize("language", catalogs.LANGUAGES_KEPT)
def test_no_text_of_a_daily_page_lacks_its_translation(language: str, found: Catalog) -> None:
    kept = catalogs.kept(language)
    for message in found:
        places = [place.rpartition("/")[2] for place, _ in message.locations]
        if message.id and any(place.startswith(DAILY) for place in places):
            strings = kept[message.id].string
            assert all(strings if isinstance(strings, tuple) else (strings,)), f"{places}: {message.id}"


@pytest.mark.parametrize("language", catalogs.LANGUAGES_KEPT)
def test_a_translation_brings_no_markup_and_no_straight_quotes_of_its_own(language: str) -> None:
    """What is put in is escaped, the translation itself is not: a tag in it would be one, a quote would end an attribute."""
    for message in catalogs.kept(language):
        english = " ".join(message.id) if isinstance(message.id, tuple) else str(message.id)
        for one in message.string if isinstance(message.string, tuple) else (message.string,):
            if one and message.id:
                assert sorted(re.findall(r"<[^>]*>", one)) == sorted(re.findall(r"<[^>]*>", english)) or isinstance(message.id, tuple), one
                assert '"' not in one or '"' in english, one


def bare(source: str) -> list[str]:
    """Return the words of a template that stand in no `_()` and no `{% trans %}`."""
    env = Environment(autoescape=True, extensions=["jinja2.ext.i18n"])
    page, in_trans, begins = "", False, False
    for _, kind, value in env.lex(source):
        if begins and kind == "name":
            in_trans, begins = (value == "trans", False) if value in ("trans", "endtrans") else (in_trans, False)
        elif kind == "block_begin":
            begins, page = True, page + "\0"
        elif kind == "variable_begin":
            page += "\0"
        elif kind == "data" and not in_trans:
            page += value
    page = re.sub(r"<(code|style|script)\b.*?</\1>", "", page, flags=re.S)
    said_aloud = re.findall(r'\b(?:aria-label|title|placeholder|alt)="([^"]*)"', page)
    texts = [re.sub(r"&\w+;", " ", text) for text in (*re.split(r"<[^>]*>", page), *said_aloud)]
    return [word for text in texts for word in re.findall(r"[A-Za-z]{2,}", text)]


UNITS = {"min", "mL", "mg", "CFU", "kPa", "fettlebook", "pH", "log", "degC"}
BY_NAME = {
    "Android",
    "Chrome",
    "Chromium",
    "Edge",
    "Firefox",
    "Linux",
    "Safari",
    "Windows",
    "and",
    "iOS",
    "iPad",
    "iPadOS",
    "iPhone",
    "macOS",
}


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_a_template_holds_no_bare_text(path: Path) -> None:
    assert [word for word in bare(path.read_text("utf-8")) if word not in UNITS | BY_NAME] == []


def test_bare_text_is_found() -> None:
    page = '<p class="x" title="told">{{ _("said") }} bare {% trans %}well said{% endtrans %} <a href="/y">too</a> {{ x }} mL</p>'
    assert bare(page) == ["bare", "too", "mL", "told"]


def test_each_language_is_called_by_its_own_name(client: TestClient) -> None:
    page = client.get("/rules").text
    for code, name in LANGUAGES.items():
        assert f'value="{code}" lang="{code}"' in page
        assert f">{name}</button>" in page
