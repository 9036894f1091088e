"""The printable day sheet, read back with pypdf."""

from dataclasses import replace
from io import BytesIO

import made_up_day as made_up
import pytest
from pypdf import PdfReader

from fettlebook.book.checkpoint import Checkpoint, parse_checkpoint
from fettlebook.plan.day import DayVerdict
from fettlebook.web.sheet import day_sheet

pytestmark = pytest.mark.invented


def read(pdf: bytes) -> tuple[PdfReader, list[str]]:
    reader = PdfReader(BytesIO(pdf))
    return reader, [page.extract_text() for page in reader.pages]


def test_the_sheet_is_a4_tagged_titled_and_in_a_language():
    reader, _ = read(day_sheet(made_up.plan(), made_up.practice(), made_up.at(7, 30)))
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en-GB"
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert reader.metadata.title == "Day sheet, Wed 25 Nov 2026"
    assert [round(float(side)) for side in reader.pages[0].mediabox[2:]] == [595, 842]
    assert b"pdfuaid" in reader.xmp_metadata.stream.get_data()


def test_every_page_has_its_number_the_caution_and_that_the_data_are_invented():
    _, pages = read(day_sheet(made_up.plan(), made_up.practice(), made_up.at(7, 30)))
    for number, text in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in text
        assert "releases nothing by itself" in text
        assert "invented data" in text
        assert "Made Wed 25 Nov 2026 07:30" in text


def test_a_practice_that_is_not_invented_does_not_say_so():
    real = made_up.practice().model_copy(update={"practice": made_up.practice().practice.model_copy(update={"invented": False})})
    _, pages = read(day_sheet(made_up.plan(), real, made_up.at(7, 30)))
    assert "invented" not in "".join(pages).lower()


def test_each_person_has_a_list_on_a_page_of_their_own_and_each_chair_its_visits():
    _, pages = read(day_sheet(made_up.plan(), made_up.practice(), made_up.at(7, 30)))
    for name in ("Ana", "Ben", "Chloe", "Dev"):
        assert sum(name in text.splitlines() for text in pages) == 1
    everything = "\n".join(pages)
    assert "Turnover (6 min)" in everything
    assert "starts 10:20, 4 min late" in everything
    assert "Own 3 sets" in everything
    assert "12c0ffee" in everything


def test_the_same_plan_and_moment_give_the_same_bytes():
    assert day_sheet(made_up.plan(), made_up.practice(), made_up.at(7)) == day_sheet(made_up.plan(), made_up.practice(), made_up.at(7))


def test_text_of_the_files_is_set_as_it_stands_and_never_run():
    plan = made_up.plan()
    odd = '#panic("x") *not bold* $x$ \\ <label> #read("/etc/passwd")'
    changed = replace(plan, line=odd, tasks=(replace(plan.tasks[0], what=odd), *plan.tasks[1:]))
    _, pages = read(day_sheet(changed, made_up.practice(), made_up.at(7)))
    assert odd in " ".join(pages[0].split())


def test_a_day_with_nothing_booked_still_makes_a_sheet():
    _, pages = read(day_sheet(made_up.empty(made_up.DAY), made_up.practice(), made_up.at(7)))
    assert DayVerdict.NOTHING_BOOKED.value.capitalize() in pages[0]


def test_the_sheet_says_where_the_book_stands_so_that_the_book_can_be_held_against_it():
    stands = Checkpoint("invented", 12_345, bytes(range(32)))
    _, pages = read(day_sheet(made_up.plan(), made_up.practice(), made_up.at(7, 30), stands))
    everything = "\n".join(pages)
    assert stands.text() in everything + "\n"
    assert parse_checkpoint(stands.text()) == stands
    assert stands.short() in everything
    _, without = read(day_sheet(made_up.plan(), made_up.practice(), made_up.at(7, 30), Checkpoint("invented", 0, bytes(32))))
    assert "The book when this was made" not in "\n".join(without)
