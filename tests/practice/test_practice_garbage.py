"""Whatever stands in a file, reading it ends in findings: never in an exception, never without a line that exists."""

import random
import re
import tomllib

from hypothesis import example, given, settings
from hypothesis import strategies as st

from fettlebook.demo import practice_text
from fettlebook.practice.load import Loaded, read_practice

DEMO = practice_text()
_VALUES = re.compile(rb"(?<== )[^\n,}\]]+")
_OTHER_VALUES = (b"nan", b"-1", b"inf", b"1e999", b"9" * 500, b'""', b'"x"', b"[]", b"[[1]]", b"{}", b"{ a = 1 }", b"true", b"2026-01-01",
                 b"2026-01-01T00:00:00Z", b"08:00:00", b"0", b"1e-320", b"0x10", b"'\\'")  # fmt: skip


def _judge(text: bytes) -> Loaded:
    loaded = read_practice(text, "practice.toml")
    assert (loaded.practice is None) == bool(loaded.errors)
    rows = text.count(b"\n") + 1
    for entry in loaded.located:
        assert entry.finding.what
        assert entry.finding.mend
        assert entry.finding.where.startswith("practice.toml")
        assert all(part.isprintable() for part in (entry.finding.what, entry.finding.where, entry.finding.mend))
        if loaded.readable:
            assert entry.line is not None
            assert 1 <= entry.line <= rows
        elif line := re.match(r"practice\.toml line (\d+)", entry.finding.where):
            assert 1 <= int(line[1]) <= rows
    assert loaded.readable or not loaded.practice
    return loaded


@given(st.binary(max_size=400))
@settings(max_examples=150, deadline=None)
@example(b"a = {}\n[a]\n")
@example(b"[a]\n[a.b]\n[a]")
@example(b"a.b = 1\n[a]\nb = 2")
@example(b"\r")
@example(b'"" = 1')
def test_random_bytes_give_findings(text: bytes):
    _judge(text)


@given(st.text(alphabet="ab=[]{}\",.'\n #1-:\\xT", max_size=120))
@settings(max_examples=200, deadline=None)
def test_random_text_of_the_signs_of_toml_gives_findings(text: str):
    loaded = _judge(text.encode())
    assert loaded.errors


@given(st.integers(0, 2**32), st.integers(1, 4))
@settings(max_examples=80, deadline=None)
def test_a_demo_file_with_other_values_in_it_gives_findings(seed: int, number: int):
    text, dice = DEMO, random.Random(seed)
    for _ in range(number):
        places = list(_VALUES.finditer(text))
        place = dice.choice(places)
        text = text[: place.start()] + dice.choice(_OTHER_VALUES) + text[place.end() :]
    _judge(text)


@given(st.integers(0, 2**32))
@settings(max_examples=80, deadline=None)
def test_a_demo_file_cut_doubled_or_with_other_bytes_gives_findings(seed: int):
    dice = random.Random(seed)
    start, end = sorted(dice.randrange(len(DEMO)) for _ in range(2))
    change = dice.choice((b"", DEMO[start:end] * 2, bytes(dice.randrange(256) for _ in range(dice.randrange(1, 6)))))
    _judge(DEMO[:start] + change + DEMO[end:])


@given(st.integers(0, 2**32))
@settings(max_examples=60, deadline=None)
def test_every_single_line_taken_out_keeps_all_other_findings_honest(seed: int):
    rows = DEMO.split(b"\n")
    del rows[random.Random(seed).randrange(len(rows))]
    _judge(b"\n".join(rows))


def test_a_file_of_the_right_shape_with_everything_wrong_gives_findings():
    data = tomllib.loads(DEMO.decode())
    for key in data:
        for value in _OTHER_VALUES:
            loaded = _judge(b"%s = %s\n" % (key.encode(), value))
            assert loaded.errors


def test_of_many_thousand_errors_a_thousand_are_told_and_the_others_counted():
    loaded = _judge(b"[[rooms]]\nnam = 1\n" * 5000)
    assert len(loaded.findings) <= 1001
    assert any(re.fullmatch(r"\d{4,} more errors are not listed", finding.what) for finding in loaded.findings)
