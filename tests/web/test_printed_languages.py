"""Papers in each language: nothing of the program's own texts stays English, the document bears its language and stays tagged."""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from io import BytesIO

import made_up_day as made_up
import pytest
from pypdf import PdfReader

from fettlebook.book.checkpoint import Checkpoint
from fettlebook.book.kinds import InLoad, LoadPacked
from fettlebook.demo import practice_text
from fettlebook.exchange.laboratory.sampling_diary import DueSample
from fettlebook.exchange.paper.cards import chair_cards
from fettlebook.exchange.paper.codes import SHEETS, code_sheets
from fettlebook.exchange.paper.labels import Paper, load_labels
from fettlebook.exchange.paper.sampling_sheet import sampling_sheet
from fettlebook.exchange.paper.typeset import Voice
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Language, Practice, PracticeHead
from fettlebook.rules.load import load_rulebook
from fettlebook.said import said
from fettlebook.times.running import running_times
from fettlebook.web.languages.printed import tongue_printed
from fettlebook.web.languages.tongue import LANGUAGES, Tongue, catalog
from fettlebook.web.sheet import day_sheet

pytestmark = pytest.mark.invented

TONGUES = (Tongue("de", "de_DE"), Tongue("es", "es_ES"), Tongue("fr", "fr_FR"))
AT = datetime(2026, 11, 25, 7, 30, tzinfo=UTC)
ON = date(2026, 11, 25)
Paperwork = Callable[[Practice, Voice], bytes]


def _day(practice: Practice, voice: Voice) -> bytes:
    return day_sheet(made_up.plan(), made_up.practice(), made_up.at(7, 30), Checkpoint("invented", 3, bytes(32)), voice=voice)


def _cards(practice: Practice, voice: Voice) -> bytes:
    rulebook = load_rulebook(practice, on=ON)
    times = tuple(running_times(practice, rulebook))
    return chair_cards(practice, rulebook, times, on=ON, made_at=AT, voice=voice)


def _codes(practice: Practice, voice: Voice) -> bytes:
    badges = {practice.people[0].id: "0" * 32}
    return code_sheets(practice, load_rulebook(practice, on=ON), SHEETS, made_at=AT, badges=badges, voice=voice)


def _labels(practice: Practice, voice: Voice) -> bytes:
    units = tuple(InLoad(unit=f"exam#{n}", pack=f"p{n}", form="solid") for n in (1, 2))
    load = LoadPacked(load="L1", machine="sterilizer 1", cycle="B134", items=units)
    return load_labels(practice, load, packed_at=AT, by="AB", life_days=(180, None), paper=Paper(), voice=voice)


def _sampling(practice: Practice, voice: Voice) -> bytes:
    chair = practice.chairs[0]
    why = said("no valid sample in the book")
    due = [DueSample(chair.id, chair.outlets[0].id, ON + timedelta(days=3), None, why, None, 0.0, None)]
    return sampling_sheet(practice, load_rulebook(practice, on=ON), due, made_at=AT, voice=voice)


PAPERS: dict[str, Paperwork] = {"day sheet": _day, "cards": _cards, "codes": _codes, "labels": _labels, "sampling sheet": _sampling}


@pytest.fixture(scope="module")
def practice() -> Practice:
    found = read_practice(practice_text(), "practice.toml").practice
    assert found is not None
    return found


def plain(text: str) -> str:
    return re.sub(r"\W+", " ", text.replace("\xad", "")).strip()


def left_in_english(text: str, tongue: Tongue) -> Iterator[str]:
    """Each text of the catalog, of three words or more, that stands in a paper in English and is something else in its language."""
    flat = f" {plain(text)} "
    for english, told in catalog(tongue.language)._catalog.items():  # type: ignore[attr-defined] # gettext tells its texts no other way
        one = english if isinstance(english, str) else english[0]
        pieces = [plain(piece) for piece in re.split(r"[{%<].*?[}>s)]", one)]
        longest = max(pieces, key=len, default="")
        if len(longest.split()) >= 3 and longest not in plain(told) and f" {longest} " in flat:
            yield longest


@pytest.mark.parametrize("tongue", TONGUES, ids=lambda tongue: tongue.language)
@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_of_a_paper_stays_english(paper: str, tongue: Tongue, practice: Practice) -> None:
    reader = PdfReader(BytesIO(PAPERS[paper](practice, tongue)))
    root = reader.trailer["/Root"]
    assert root["/Lang"] == tongue.region.replace("_", "-")
    assert root["/MarkInfo"]["/Marked"]
    text = " ".join(page.extract_text() for page in reader.pages)
    own = plain(f"{made_up.plan().line} {practice.model_dump_json()}")  # what the practice wrote stays as it is
    assert not [one for one in left_in_english(text, tongue) if one not in own]
    assert "2026-11-25" not in re.sub(r"2026-11-25 \d\b", "", text), "a date that is no sample's name"


def test_the_check_for_english_finds_english(practice: Practice) -> None:
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(PAPERS["cards"](practice, Tongue("en", "en_GB")))).pages)
    assert len(list(left_in_english(text, TONGUES[0]))) > 20


def head(practice: Practice, **changed: object) -> PracticeHead:
    return practice.practice.model_copy(update=changed)


@pytest.mark.parametrize(
    ("zone", "books", "chosen", "tongue"),
    [
        ("Europe/London", ("general", "uk"), (None, None), Tongue("en", "en_GB")),
        ("Europe/Berlin", ("general", "de"), (None, None), Tongue("de", "de_DE")),
        ("Europe/Vienna", ("general",), (None, None), Tongue("de", "de_AT")),
        ("Europe/Madrid", ("general", "eu"), (None, None), Tongue("es", "es_ES")),
        ("Europe/Paris", ("general",), (None, None), Tongue("fr", "fr_FR")),
        ("Europe/Zurich", ("general",), (None, None), Tongue("en", "en_GB")),  # several of ours are official: the practice says which
        ("Europe/Zurich", ("general",), ("fr", None), Tongue("fr", "fr_CH")),
        ("Europe/Berlin", ("general", "de"), ("en", None), Tongue("en", "en_GB")),
        ("Europe/London", ("general", "uk"), (None, "de"), Tongue("de", "de_DE")),
        ("UTC", ("general",), (None, None), Tongue("en", "en_GB")),
    ],
)
def test_a_paper_is_in_the_language_asked_for_else_the_practice_s_else_its_country_s(
    practice: Practice, zone: str, books: tuple[str, ...], chosen: tuple[str | None, str | None], tongue: Tongue
) -> None:
    language, asked = chosen
    assert tongue_printed(head(practice, time_zone=zone, rulebooks=books, language=language), asked) == tongue


def test_the_languages_of_the_practice_file_are_those_of_the_pages() -> None:
    assert set(Language.__args__) == set(LANGUAGES)  # type: ignore[attr-defined] # of the literal


def test_an_unknown_language_is_refused_with_the_nearest_one() -> None:
    text = practice_text().replace(b"invented = true", b'invented = true\nlanguage = "fra"', 1)
    loaded = read_practice(text, "practice.toml")
    assert loaded.practice is None
    assert [one.mend for one in loaded.errors] == ['Is it "fr"?']
