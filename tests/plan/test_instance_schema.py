"""The published form of the day instance is the program's own, and its page names every field that version 2 adds."""

import json
from pathlib import Path

import pytest

from fettlebook.plan.instance import Chair, Instance, Machine, SetType, Visit
from fettlebook.plan.schema import schema_text

DOCS = Path(__file__).parents[2] / "docs" / "carry-on"
WRITE = (
    "python -c \"from fettlebook.plan.schema import schema_text; print(schema_text(), end='')\" > docs/carry-on/day-instance.schema.json"
)


@pytest.mark.invented
def test_the_published_schema_is_the_model_s() -> None:
    assert (DOCS / "day-instance.schema.json").read_text("utf-8") == schema_text(), f"write it again: {WRITE}"


@pytest.mark.published(source="JSON Schema draft 2020-12, core section 8.1.1: the value of $schema", sure="memory")
def test_the_schema_names_its_draft() -> None:
    assert json.loads(schema_text())["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.invented
@pytest.mark.parametrize(
    ("part", "first"), [(Instance, "baths"), (Chair, "room"), (Visit, "may_move"), (SetType, "bath"), (Machine, "cycles")]
)
def test_the_page_explains_every_field_that_version_2_adds(part: type[Instance], first: str) -> None:
    page = (DOCS / "day-instance.md").read_text("utf-8")
    names = list(part.model_fields)
    for name in names[names.index(first) :]:
        assert f"`{name}`" in page, name
