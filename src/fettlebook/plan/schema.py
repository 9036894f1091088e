"""The JSON Schema of the day instance and its plan, versions 1 and 2, for programs that write or read them."""

import json

from pydantic.json_schema import models_json_schema

from fettlebook.plan.instance import Instance, Plan


def schema_text() -> str:
    """Return the schema as it is published: one document, a file being either an instance or a plan of it."""
    forms, schema = models_json_schema([(Instance, "validation"), (Plan, "validation")], by_alias=True)
    whole = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "fettlebook day instance, or a plan of it",
        "oneOf": [forms[Instance, "validation"], forms[Plan, "validation"]],
        **schema,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"
