"""Which line of a TOML text each key path stands on, and between which bytes its value.

tomllib decides what is valid, but tells no positions; tree-sitter tells positions, but is no judge. So this table is made
only of text that tomllib has accepted, and a path that the grammar could not place falls back to the table around it.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

KeyPath = tuple[str | int, ...]  # ("chairs", 1, "outlets", 0, "flow_ml_min"), counted from 0
Span = tuple[int, int]  # first byte, and the byte after the last


@dataclass(frozen=True, slots=True)
class _Places:
    lines: dict[KeyPath, int] = field(default_factory=dict)
    spans: dict[KeyPath, Span] = field(default_factory=dict)


@cache
def _parser() -> Parser:
    return Parser(Language(tree_sitter_toml.language()))


def key_lines(text: bytes) -> dict[KeyPath, int]:
    """Return the line, counted from 1, of every key and list entry in a TOML text.

    Parameters
    ----------
    text
        TOML as UTF-8, without byte order mark, already accepted by tomllib and not nested deeper than a practice file.
    """
    return _places(text).lines


def value_spans(text: bytes) -> dict[KeyPath, Span]:
    """Return where the value of every key and list entry stands in a TOML text, in bytes counted from 0.

    Parameters
    ----------
    text
        As for `key_lines`. A table that is written under a heading in brackets has no span.
    """
    return _places(text).spans


def line_of(lines: Mapping[KeyPath, int], path: KeyPath) -> int:
    """Return the line of `path`, or of the nearest table around it (a key that is missing has no line of its own)."""
    while path not in lines and path:
        path = path[:-1]
    return lines.get(path, 1)


def _places(text: bytes) -> _Places:
    places = _Places(lines={(): 1})
    newest: dict[KeyPath, int] = {}  # list of tables -> index of its newest entry
    for node in _parser().parse(text).root_node.children:
        if node.type == "pair":
            _pair((), node, places)
        elif node.type in ("table", "table_array_element"):
            _table(node, places, newest)
    return places


def _table(node: Node, places: _Places, newest: dict[KeyPath, int]) -> None:
    key = next((child for child in node.children if child.type in ("bare_key", "quoted_key", "dotted_key")), None)
    if key is None:
        return
    parts = _parts(key)
    here: KeyPath = ()
    for number, part in enumerate(parts):
        here = (*here, part)
        places.lines.setdefault(here, _line(node))
        if number < len(parts) - 1 and here in newest:
            here = (*here, newest[here])
    if node.type == "table_array_element":
        newest[here] = newest.get(here, -1) + 1
        here = (*here, newest[here])
        places.lines[here] = _line(node)
    for child in node.children:
        if child.type == "pair":
            _pair(here, child, places)


def _pair(around: KeyPath, node: Node, places: _Places) -> None:
    key, value = node.children[0], [child for child in node.children if child.type != "comment"][-1]
    here = around
    for part in _parts(key):
        here = (*here, part)
        places.lines.setdefault(here, _line(key))
    _value(here, value, places)


def _value(here: KeyPath, node: Node, places: _Places) -> None:
    places.spans[here] = (node.start_byte, node.end_byte)
    if node.type == "inline_table":
        for child in node.children:
            if child.type == "pair":
                _pair(here, child, places)
    elif node.type == "array":
        entries = (child for child in node.children if child.is_named and child.type != "comment")
        for number, child in enumerate(entries):
            places.lines[(*here, number)] = _line(child)
            _value((*here, number), child, places)


def _parts(key: Node) -> list[str]:
    if key.type == "dotted_key":
        return [part for child in key.children if child.is_named for part in _parts(child)]
    text = (key.text or b"").decode()
    return [next(iter(tomllib.loads(f"{text} = 0")))] if key.type == "quoted_key" else [text]


def _line(node: Node) -> int:
    return node.start_point[0] + 1
