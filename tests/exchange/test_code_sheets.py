"""Sheets of codes: one for each chair, machine, set, step and person; what a square holds is what it stands for."""

from datetime import UTC, date, datetime
from importlib.resources import files
from io import BytesIO
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from fettlebook.cli.cards import cards
from fettlebook.exchange.paper.codes import _cells, code_sheets, sheets_content
from fettlebook.exchange.paper.qr import CardCode, ThingCode, code_svg, read_code
from fettlebook.practice.load import load_practice
from fettlebook.rules.load import load_rulebook

pytestmark = pytest.mark.invented
DEMO = Path(str(files("fettlebook.demo") / "practice.toml"))
AT = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo():
    practice = load_practice(DEMO)
    return practice, load_rulebook(practice, on=date(2026, 11, 25))


def test_everything_that_can_be_scanned_has_its_own_code(demo):
    practice, rulebook = demo
    secrets = {person.id: f"{n:032x}" for n, person in enumerate(practice.people)}
    codes = [
        code for sheet in ("chairs", "machines", "sets", "steps", "badges") for _, _, code in _cells(sheet, practice, rulebook, secrets)
    ]
    assert len({code.text() for code in codes}) == len(codes)
    assert all(read_code(code.text()) == code for code in codes)
    things = {(code.thing, code.id) for code in codes if isinstance(code, ThingCode)}
    assert {("chair", "chair 4"), ("machine", "sterilizer 1"), ("set", "exam#1"), ("badge", secrets["ana"])} <= things
    assert sum(thing == "set" for thing, _ in things) == sum(kind.owned for kind in practice.sets)
    steps = {(code.chair, code.duty, code.step) for code in codes if isinstance(code, CardCode)}
    wanted = {(c.id, d.id, s.id) for c in practice.chairs for d in rulebook.duties if d.subject == "chair" for s in d.steps_on(c)}
    assert steps == wanted


def test_the_sheet_is_a_tagged_a4_and_says_what_scanning_does(demo):
    reader = PdfReader(BytesIO(code_sheets(*demo, ["chairs", "steps"], made_at=AT)))
    assert {tuple(round(float(side)) for side in page.mediabox[2:]) for page in reader.pages} == {(595, 842)}
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    assert "Codes: chairs" in text
    assert "chair 4" in text
    assert "starts the step, or says that it is done" in text
    assert "invented data" in text


def test_a_square_on_the_sheet_is_the_code_of_its_thing(demo):
    part = sheets_content(*demo, ["chairs"], made_at=AT, badges={})["parts"][0]
    assert [cell["code"] for cell in part["cells"]] == [code_svg(ThingCode("chair", cell["name"])) for cell in part["cells"]]


def test_badges_are_new_with_every_print_and_stand_nowhere_in_words(tmp_path):
    seen = []
    for name in ("one.pdf", "two.pdf"):
        done = CliRunner().invoke(cards, [str(DEMO), "--codes", "badges", "-o", str(tmp_path / name)])
        assert done.exit_code == 0, done.output
        seen.append("".join(page.extract_text() for page in PdfReader(tmp_path / name).pages))
    assert "Ana" in seen[0]
    assert "fettlebook:badge" not in seen[0]
    assert (tmp_path / "one.pdf").read_bytes() != (tmp_path / "two.pdf").read_bytes()
