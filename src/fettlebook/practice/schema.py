"""The JSON Schema of the practice file, for editors that check and complete while one types."""

import json
from functools import cache
from typing import Any

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import Practice


@cache
def practice_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a practice file, as made from the model. Not to be changed by the caller."""
    schema = Practice.model_json_schema(by_alias=True, mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "fettlebook practice file"}


def schema_text() -> str:
    """Return the schema as it is published: indented JSON with a newline at the end."""
    return json.dumps(practice_schema(), indent=2, ensure_ascii=False) + "\n"


def schema_at(path: KeyPath) -> dict[str, Any]:
    """Return what the schema says of one key path, with references followed; empty where the path leads nowhere."""
    here = _resolve(practice_schema())
    for part in path:
        if isinstance(part, str):
            here = here.get("properties", {}).get(part) or here.get("additionalProperties") or {}
        else:
            first = here.get("prefixItems", [])
            here = first[part] if part < len(first) else here.get("items") or {}
        here = _resolve(here if isinstance(here, dict) else {})
    return here


def _resolve(node: dict[str, Any]) -> dict[str, Any]:
    own = {key: value for key, value in node.items() if key in ("description", "default", "title")}
    while True:
        if "$ref" in node:
            node = practice_schema()["$defs"][node["$ref"].rsplit("/", 1)[1]]
        elif "anyOf" in node:
            node = next(choice for choice in node["anyOf"] if choice.get("type") != "null")
        else:
            return {**node, **own}
