"""The page for the assistant says what the program does: its limits, and the messages in the program's own words."""

import re
from pathlib import Path

import pytest

from fettlebook.exchange import calendar_day, calendar_lines, calendar_repeat
from fettlebook.exchange.key import KEY_BYTES

pytestmark = pytest.mark.invented

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "assistant" / "appointment-book.md").read_text()
SOURCE = "\n".join(path.read_text() for path in (ROOT / "src" / "fettlebook" / "exchange").glob("*.py"))


@pytest.mark.parametrize(
    "words",
    [
        f"{calendar_lines.MAX_BYTES // 1_000_000} MB",
        f"{calendar_lines.MAX_ENTRIES:,} entries",
        f"at most {calendar_day.LONGEST_VISIT.total_seconds() / 3600:g} hours",
        f"at most {calendar_repeat.STARTS_A_DAY} times on one day",
        f"at most {calendar_day.MAX_A_DAY:,} entries",
        f"{KEY_BYTES} bytes",
    ],
)
def test_the_page_names_the_limits_in_force(words: str) -> None:
    assert words in " ".join(PAGE.split())


def test_each_message_that_the_page_explains_is_one_of_the_program() -> None:
    table = PAGE[PAGE.index("| message |") : PAGE.index("Warnings are entries")]
    messages = [row.split("|")[1].strip() for row in table.splitlines()[2:] if row.startswith("|")]
    assert len(messages) > 10
    filled_in = r"…|, (?=has|lasts|the)|chair \d(?: and chair \d)?|\d+ hours|DTSTART"
    phrases = [phrase.strip() for message in messages for phrase in re.split(filled_in, message) if phrase.strip()]
    assert [phrase for phrase in phrases if phrase not in SOURCE] == []
