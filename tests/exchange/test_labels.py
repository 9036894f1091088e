"""Labels for packs: codes that a reader of other makers reads, dates by the rule, and the words that people read."""

from datetime import UTC, date, datetime
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from subprocess import run

import pypdf
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from fettlebook.book.kinds import InLoad, LoadPacked
from fettlebook.errors import Mendable
from fettlebook.exchange.paper.gs1 import pack_string, read_package, shown
from fettlebook.exchange.paper.labels import Paper, load_labels
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice

GTIN = "09501101530003"
PACKED = datetime(2026, 11, 25, 11, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo() -> Practice:
    text = files("fettlebook.demo").joinpath("practice.toml").read_text("utf-8")
    practice = read_practice(text.encode(), "practice.toml").practice
    assert practice is not None
    first, second, *others = practice.sets
    numbered = (first.model_copy(update={"gtin": GTIN}), second.model_copy(update={"giai": "95011015300"}), *others)
    return practice.model_copy(update={"sets": numbered})


def load(practice: Practice, *, machine: str = "", packs: bool = True) -> LoadPacked:
    sterilizer = machine or next(m.id for m in practice.machines if m.kind == "sterilizer")
    units = [f"{practice.sets[n].id}#{n + 1}" for n in range(3)]
    items = tuple(InLoad(unit=unit, pack=f"p{n}" if packs else None) for n, unit in enumerate(units))
    return LoadPacked(load="2026-11-25.1", machine=sterilizer, cycle="universal", items=items)


def pdf_of(practice: Practice, paper: Paper = Paper(), *, days: float | None = 180, skip: int = 0) -> bytes:  # noqa: B008
    return load_labels(practice, load(practice), packed_at=PACKED, by="ana", life_days=(days, 1), paper=paper, skip=skip)


def codes(pdf: bytes, folder: Path) -> list[zxingcpp.Barcode]:
    (folder / "labels.pdf").write_bytes(pdf)
    run(["pdftoppm", "-r", "300", "-gray", "-png", "labels.pdf", "page"], cwd=folder, check=True)
    found = []
    for page in sorted(folder.glob("page*.png")):
        found += zxingcpp.read_barcodes(Image.open(page))
    return found


@pytest.mark.published(source="ISO/IEC 16022 and GS1 element strings, read by zxing-cpp, a reader of other makers", sure="computed")
@pytest.mark.parametrize("paper", [Paper(), Paper(single_mm=(62, 29)), Paper(columns=2, rows=7, margin_x_mm=5, margin_y_mm=15)])
def test_a_reader_of_other_makers_reads_every_code(demo: Practice, tmp_path: Path, paper: Paper) -> None:
    found = codes(pdf_of(demo, paper), tmp_path)
    assert sorted(one.text for one in found if "QR" in str(one.format)) == sorted(
        f"fettlebook:set={demo.sets[n].id.replace(' ', '%20')}%23{n + 1}" for n in range(3)
    )
    matrices = {one.symbology_identifier: one for one in found if "Matrix" in str(one.format)}
    assert set(matrices) == {"]d2"}  # a GS1 DataMatrix, not a plain one
    told = sorted(one.bytes.decode("ascii") for one in found if "Matrix" in str(one.format))
    assert told == [f"01{GTIN}17270524102026-11-25.1\x1d211", "8004950110153002"]


@pytest.mark.invented
def test_the_use_by_counts_from_the_day_of_packing_and_no_rule_means_no_day(demo: Practice) -> None:
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(pdf_of(demo))).pages)
    assert text.count("2027-05-24") >= 3  # 180 days after 2026-11-25
    assert "Load 2026-11-25.1" in text
    assert "No term set: look at the pack" in " ".join(
        page.extract_text() for page in pypdf.PdfReader(BytesIO(pdf_of(demo, days=None))).pages
    )


@pytest.mark.invented
def test_used_labels_of_a_sheet_are_left_out_and_a_roll_has_one_to_a_page(demo: Practice) -> None:
    assert len(pypdf.PdfReader(BytesIO(pdf_of(demo, Paper(single_mm=(62, 29))))).pages) == 3
    assert len(pypdf.PdfReader(BytesIO(pdf_of(demo, Paper(), skip=21))).pages) == 1
    assert len(pypdf.PdfReader(BytesIO(pdf_of(demo, Paper(), skip=22))).pages) == 2


@pytest.mark.invented
def test_what_can_t_be_a_label_is_refused_in_words(demo: Practice) -> None:
    with pytest.raises(Mendable, match="too small"):
        pdf_of(demo, Paper(columns=6))
    with pytest.raises(Mendable, match="24 labels"):
        pdf_of(demo, Paper(), skip=24)
    washer = next(m.id for m in demo.machines if m.kind == "washer")
    with pytest.raises(Mendable, match="not packed for a sterilizer"):
        load_labels(demo, load(demo, machine=washer), packed_at=PACKED, by="ana", life_days=(None, 1), paper=Paper())


@pytest.mark.published(source="GS1 General Specifications: 8004 stands alone, 01 with 17, 10 and 21", sure="memory")
def test_lot_and_day_stand_only_beside_the_item_that_they_belong_to() -> None:
    assert pack_string(gtin=None, giai="95011015300", number=7, load="L1", use_by=date(2027, 1, 2)) == "8004950110153007"
    assert pack_string(gtin=None, giai=None, number=7, load="L1", use_by=None) == ""
    assert shown(pack_string(gtin=GTIN, giai=None, number=7, load="L1", use_by=None)) == f"(01){GTIN} (10)L1 (21)7"


@pytest.mark.published(source="biip, a library that reads GS1 element strings", sure="computed")
@given(
    st.integers(1, 9999), st.dates(date(2000, 1, 1), date(2049, 12, 31)) | st.none(),
    st.text(st.characters(min_codepoint=32, max_codepoint=255), min_size=1, max_size=40),
)  # fmt: skip
def test_what_is_written_is_read_back(number: int, use_by: date | None, name: str) -> None:
    found = read_package("]d2" + pack_string(gtin=GTIN, giai=None, number=number, load=name, use_by=use_by))
    assert (found.gtin, found.use_by, found.serial) == (GTIN, use_by, str(number))
    assert found.lot is not None
    assert len(found.lot) == min(20, len(name))


@pytest.mark.published(source="GS1: the example item 09501101530003 with lot and day, as the library's documents show it", sure="memory")
def test_the_code_of_a_package_is_read_with_and_without_brackets() -> None:
    for text in ("]d2010950110153000317140704" + "10AB-123", "(01)09501101530003(17)140704(10)AB-123"):
        found = read_package(text)
        assert (found.gtin, found.lot, found.use_by) == (GTIN, "AB-123", date(2014, 7, 4))
    for text in ("", "hello", "0109501101530004", "(01)1"):
        with pytest.raises(Mendable, match="no GS1 code"):
            read_package(text)


@pytest.mark.invented
def test_a_slip_in_a_number_of_the_practice_file_is_found() -> None:
    text = files("fettlebook.demo").joinpath("practice.toml").read_text("utf-8")
    wrong = text.replace("[[sets]]", '[[sets]]\ngtin = "09501101530004"', 1)
    assert wrong != text
    told = " ".join(str(one) for one in read_practice(wrong.encode(), "practice.toml").errors)
    assert "gtin" in told
    assert "last digit" in told
