"""Each key path has the line on which a person finds it."""

import tomllib

import pytest

from fettlebook.practice.lines import key_lines, line_of, value_spans


def test_tables_lists_of_tables_and_inline_tables_have_their_lines():
    text = b"""\
top = 1

[practice]
id = "a"        # a comment
rulebooks = [
  "general",

  # not an entry
  "uk",
]

[[chairs]]
id = "chair 1"
supply = { kind = "bottle", bottle_ml = 1000.0 }
outlets = [
  { id = "turbine", flow_ml_min = 50.0 },
  { id = "syringe",
    flow_ml_min = 110.0 },
]

[[chairs]]
id = "chair 2"
[chairs.supply]
kind = "bottle"
[[chairs.outlets]]
id = "scaler"
[[chairs.outlets]]
id = "motor"
"""
    # the grammar also reads a brace table over two lines, which TOML 1.0 does not allow: only positions matter here
    lines = key_lines(text)
    assert lines[("top",)] == 1
    assert lines[("practice",)] == 3
    assert lines[("practice", "rulebooks", 1)] == 9
    assert lines[("chairs", 0)] == 12
    assert lines[("chairs", 0, "supply", "bottle_ml")] == 14
    assert lines[("chairs", 0, "outlets", 1, "id")] == 17
    assert lines[("chairs", 0, "outlets", 1, "flow_ml_min")] == 18
    assert lines[("chairs", 1)] == 21
    assert lines[("chairs", 1, "supply", "kind")] == 24
    assert lines[("chairs", 1, "outlets", 1, "id")] == 28


@pytest.mark.published(source="TOML v1.0.0, sections Keys, Table and Array of Tables: dotted and quoted keys, nested arrays", sure="memory")
def test_dotted_and_quoted_keys_and_nested_lists_lead_where_tomllib_puts_them():
    text = b"""\
name = "Orange"
physical.color = "orange"
site."google.com" = true
'quoted "value"' = 1
"\\u0041b" = 2

[[fruits]]
name = "apple"

[fruits.physical]
color = "red"

[[fruits.varieties]]
name = "red delicious"

[[fruits]]
name = "banana"

[[fruits.varieties]]
name = "plantain"
"""
    data, lines = tomllib.loads(text.decode()), key_lines(text)

    def walk(value: object, path: tuple[str | int, ...]) -> None:
        assert path in lines, path
        inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        for key, below in inside:
            walk(below, (*path, key))

    walk(data, ())
    assert lines[("Ab",)] == 5
    assert lines[("site", "google.com")] == 3
    assert lines[("fruits", 1, "varieties", 0, "name")] == 20


def test_a_key_that_is_missing_is_looked_for_at_the_table_around_it():
    lines = key_lines(b"a = 1\n[b]\nc = 2\n")
    assert line_of(lines, ("b", "d")) == 2
    assert line_of(lines, ("b", "d", 4, "e")) == 2
    assert line_of(lines, ("nowhere", "e")) == 1


def test_windows_line_ends_do_not_shift_lines():
    assert key_lines(b"a = 1\r\n\r\nb = 2\r\n")[("b",)] == 3


def test_a_comment_behind_a_value_is_not_taken_for_it():
    text = b'rooms = [ # all of them\n  { id = "one" },\n  { id = "two" }, # by the window\n] # end\nname = "x" # why\n'
    assert key_lines(text)[("rooms", 1, "id")] == 3
    first, after = value_spans(text)[("name",)]
    assert text[first:after] == b'"x"'
