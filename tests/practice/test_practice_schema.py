"""The published JSON Schema is the model's, and the documentation knows every key."""

import json
import re
from datetime import date, time
from enum import Enum
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin

import pytest
from pydantic import BaseModel

from fettlebook.practice import model
from fettlebook.practice.load import read_practice
from fettlebook.practice.schema import practice_schema, schema_at, schema_text

DOCS = Path(__file__).parents[2] / "docs"
PARTS = [part for part in vars(model).values() if isinstance(part, type) and issubclass(part, model.Part) and part is not model.Part]


def test_the_published_schema_is_the_model_s():
    published = (DOCS / "practice.schema.json").read_text("utf-8")
    assert published == schema_text(), "write it again: fettlebook check --schema > docs/practice.schema.json"


@pytest.mark.published(source="JSON Schema draft 2020-12, core section 8.1.1: the value of $schema", sure="memory")
def test_the_schema_names_its_draft_and_every_reference_leads_somewhere():
    schema = json.loads(schema_text())
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    for name in re.findall(r'"#/\$defs/(\w+)"', schema_text()):
        assert name in schema["$defs"]


def test_the_schema_refuses_unknown_keys_everywhere_and_describes_every_key():
    for name, part in {**practice_schema()["$defs"], "the file": practice_schema()}.items():
        if part.get("type") == "object":
            assert part["additionalProperties"] is False, name
            for key, field in part["properties"].items():
                described = (
                    field.get("description") or field.get("$ref") or any("description" in choice for choice in field.get("anyOf", ()))
                )
                assert described, f"{name}.{key}"


def test_the_schema_of_a_key_path_is_found_through_references():
    assert schema_at(("chairs", 3, "segments", 0, "bore_mm"))["maximum"] == 10
    assert schema_at(("people", 0, "skills", 1))["enum"] == ["chairs", "instruments", "release", "lead"]
    assert schema_at(("people", 0, "shifts", 0, "breaks", 0, 1))["format"] == "time"
    assert schema_at(("no", 1, "such", "path")) == {}


def test_ranges_of_the_schema_are_those_of_the_reader(small: str):
    wrong = small.replace("length_m = 2.0", "length_m = 30.1").replace("bore_mm = 4.0", "bore_mm = 0.49")
    assert [entry.path[-1] for entry in read_practice(wrong.encode(), "p").located] == ["bore_mm", "length_m"]
    right = small.replace("length_m = 2.0", "length_m = 30").replace("bore_mm = 4.0", "bore_mm = 0.5")
    assert read_practice(right.encode(), "p").practice is not None


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_the_documentation_explains_every_key_and_every_choice(part: type[BaseModel]):
    page = (DOCS / "assistant/practice-file.md").read_text("utf-8")
    for name, field in part.model_fields.items():
        assert f"`{field.alias or name}`" in page, f"{part.__name__}.{field.alias or name}"
        for choice in _choices(field.annotation):
            assert f"`{choice}`" in page, f"{part.__name__}.{name}: {choice}"


def _choices(annotation: Any) -> list[str]:
    if isinstance(annotation, type) and issubclass(annotation, Enum):
        return [member.value for member in annotation]
    if get_origin(annotation) in (Union, UnionType, tuple) or hasattr(annotation, "__metadata__"):
        return [choice for inner in get_args(annotation) for choice in _choices(inner)]
    if annotation in (date, time) or isinstance(annotation, type | str):
        return []
    return [choice for choice in get_args(annotation) if isinstance(choice, str)]


def test_the_worked_example_of_the_documentation_is_in_order(small: str):
    page = (DOCS / "assistant/practice-file.md").read_text("utf-8")
    (example,) = re.findall(r"```toml\n(# A worked example.*?)```", page, re.DOTALL)
    chair = small[small.index("[[chairs]]") : small.index("[[machines]]")]
    loaded = read_practice(small.replace(chair, example + "\n").encode(), "practice.toml")
    assert loaded.findings == ()
