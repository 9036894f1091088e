"""Text that must never pass the door: each property of a calendar entry that can hold a person, with a mark in it.

Used here on what the reader returns, and by whoever tests pages and databases: write `entry_with_marks(...)` into a
book, do the day, and look for any of `MARKS` in what came out.
"""

PERSONAL = (
    "SUMMARY",
    "DESCRIPTION",
    "ATTENDEE",
    "ORGANIZER",
    "CONTACT",
    "COMMENT",
    "ATTACH",
    "URL",
    "UID",
    "X-ALT-DESC",
    "X-PATIENT-NUMBER",
    "RELATED-TO",
    "REQUEST-STATUS",
    "CONFERENCE",
    "STYLED-DESCRIPTION",
    "GEO",
    "CLASS",
    "IMAGE",
)


def mark(name: str) -> str:
    """Return the mark of a property: a word that stands nowhere else."""
    return f"Zq{name.replace('-', '').title()}Zq"


ALARM_MARK, TODO_MARK, FOLDED_MARK, CALENDAR_MARK, COMMON_NAME_MARK = (
    "ZqAlarmZq",
    "ZqTodoZq",
    "ZqFoldedZq",
    "ZqCalendarZq",
    "ZqCommonNameZq",
)
MARKS = (*map(mark, PERSONAL), ALARM_MARK, TODO_MARK, FOLDED_MARK, CALENDAR_MARK, COMMON_NAME_MARK)


def entry_with_marks(dtstart: str, dtend: str, location: str, *, extra: str = "") -> str:
    """Return a calendar with one entry and every personal property marked; the entry is a proper visit otherwise."""
    lines = [f"{name}:mailto:{mark(name)}@example.org" for name in PERSONAL]
    lines[PERSONAL.index("ATTENDEE")] = f'ATTENDEE;CN="{COMMON_NAME_MARK}, Jo":mailto:{mark("ATTENDEE")}@example.org'
    return "\r\n".join(
        [
            "BEGIN:VCALENDAR",
            "VERSION:2.0",
            f"PRODID:{CALENDAR_MARK}",
            f"X-WR-CALDESC:{CALENDAR_MARK}",
            f"X-WR-CALNAME:{CALENDAR_MARK}",
            "BEGIN:VTODO",
            f"UID:{TODO_MARK}",
            f"SUMMARY:{TODO_MARK}",
            "END:VTODO",
            "BEGIN:VEVENT",
            *lines,
            "X-LONG-NOTE:a note that is folded over two lines and goes on there with",
            f"  {FOLDED_MARK}",
            f"DTSTART:{dtstart}",
            f"DTEND:{dtend}",
            f"LOCATION:{location}",
            *([extra] if extra else []),
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            "TRIGGER:-PT15M",
            f"DESCRIPTION:{ALARM_MARK}",
            "END:VALARM",
            "END:VEVENT",
            "END:VCALENDAR",
            "",
        ]
    )
