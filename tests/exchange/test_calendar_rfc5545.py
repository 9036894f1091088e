"""The recurrence examples of RFC 5545 section 3.8.5.3, each with the dates that the RFC prints.

Left out: "Every 3 hours from 9:00 AM to 5:00 PM", whose UNTIL (17:00 UTC, 13:00 in New York) contradicts the printed
15:00; and the examples that differ from one here only in spelling. A length of half an hour is ours: the RFC's
examples have none, and a visit needs one.
"""

import re
from datetime import date, timedelta

import pytest
from book_reading import KEY, Reader

from fettlebook.exchange.calendar import booked_days

RFC = pytest.mark.published(source="RFC 5545 section 3.8.5.3, pages 123 to 132", sure="read")
MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"]

# name: (DTSTART in New York, further lines, dates as printed; "..." where the RFC goes on)
EXAMPLES = {
    "daily for 10": ("19970902T090000", "RRULE:FREQ=DAILY;COUNT=10", "1997 EDT September 2-11"),
    "daily until December 24": (
        "19970902T090000",
        "RRULE:FREQ=DAILY;UNTIL=19971224T000000Z",
        "1997 EDT September 2-30;October 1-25|1997 EST October 26-31;November 1-30;December 1-23",
    ),
    "every other day": (
        "19970902T090000",
        "RRULE:FREQ=DAILY;INTERVAL=2",
        "1997 EDT September 2,4,6,8,10,12,14,16,18,20,22,24,26,28,30;October 2,4,6,8,10,12,14,16,18,20,22,24|1997 EST October 26,28,30 ...",
    ),
    "every 10 days, 5 times": ("19970902T090000", "RRULE:FREQ=DAILY;INTERVAL=10;COUNT=5", "1997 EDT September 2,12,22;October 2,12"),
    "every day in January, by year": (
        "19980101T090000",
        "RRULE:FREQ=YEARLY;UNTIL=20000131T140000Z;\n BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA",
        "1998 EST January 1-31|1999 EST January 1-31|2000 EST January 1-31",
    ),
    "every day in January, by day": (
        "19980101T090000",
        "RRULE:FREQ=DAILY;UNTIL=20000131T140000Z;BYMONTH=1",
        "1998 EST January 1-31|1999 EST January 1-31|2000 EST January 1-31",
    ),
    "weekly for 10": (
        "19970902T090000",
        "RRULE:FREQ=WEEKLY;COUNT=10",
        "1997 EDT September 2,9,16,23,30;October 7,14,21|1997 EST October 28;November 4",
    ),
    "weekly until December 24": (
        "19970902T090000",
        "RRULE:FREQ=WEEKLY;UNTIL=19971224T000000Z",
        "1997 EDT September 2,9,16,23,30;October 7,14,21|1997 EST October 28;November 4,11,18,25;December 2,9,16,23",
    ),
    "every other week": (
        "19970902T090000",
        "RRULE:FREQ=WEEKLY;INTERVAL=2;WKST=SU",
        "1997 EDT September 2,16,30;October 14|1997 EST October 28;November 11,25;December 9,23|1998 EST January 6,20;February 3,17 ...",
    ),
    "Tuesday and Thursday for five weeks": (
        "19970902T090000",
        "RRULE:FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH",
        "1997 EDT September 2,4,9,11,16,18,23,25,30;October 2",
    ),
    "Tuesday and Thursday, ten times": (
        "19970902T090000",
        "RRULE:FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
        "1997 EDT September 2,4,9,11,16,18,23,25,30;October 2",
    ),
    "every other week on three days": (
        "19970901T090000",
        "RRULE:FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;\n BYDAY=MO,WE,FR",
        "1997 EDT September 1,3,5,15,17,19,29;October 1,3,13,15,17|"
        "1997 EST October 27,29,31;November 10,12,14,24,26,28;December 8,10,12,22",
    ),
    "every other week on two days": (
        "19970902T090000",
        "RRULE:FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        "1997 EDT September 2,4,16,18,30;October 2,14,16",
    ),
    "the first Friday": (
        "19970905T090000",
        "RRULE:FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
        "1997 EDT September 5;October 3|1997 EST November 7;December 5|1998 EST January 2;February 6;March 6;April 3|1998 EDT May 1;June 5",
    ),
    "first and last Sunday of every other month": (
        "19970907T090000",
        "RRULE:FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
        "1997 EDT September 7,28|1997 EST November 2,30|1998 EST January 4,25;March 1,29|1998 EDT May 3,31",
    ),
    "second-to-last Monday": (
        "19970922T090000",
        "RRULE:FREQ=MONTHLY;COUNT=6;BYDAY=-2MO",
        "1997 EDT September 22;October 20|1997 EST November 17;December 22|1998 EST January 19;February 16",
    ),
    "third-to-last day": (
        "19970928T090000",
        "RRULE:FREQ=MONTHLY;BYMONTHDAY=-3",
        "1997 EDT September 28|1997 EST October 29;November 28;December 29|1998 EST January 29;February 26 ...",
    ),
    "first and last day": (
        "19970930T090000",
        "RRULE:FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
        "1997 EDT September 30;October 1|1997 EST October 31;November 1,30;December 1,31|1998 EST January 1,31;February 1",
    ),
    "every 18 months": (
        "19970910T090000",
        "RRULE:FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,\n 13,14,15",
        "1997 EDT September 10,11,12,13,14,15|1999 EST March 10,11,12,13",
    ),
    "Tuesdays of every other month": (
        "19970902T090000",
        "RRULE:FREQ=MONTHLY;INTERVAL=2;BYDAY=TU",
        "1997 EDT September 2,9,16,23,30|1997 EST November 4,11,18,25|1998 EST January 6,13,20,27;March 3,10,17,24,31 ...",
    ),
    "June and July": (
        "19970610T090000",
        "RRULE:FREQ=YEARLY;COUNT=10;BYMONTH=6,7",
        "1997 EDT June 10;July 10|1998 EDT June 10;July 10|1999 EDT June 10;July 10|2000 EDT June 10;July 10|2001 EDT June 10;July 10",
    ),
    "1st, 100th and 200th day of every third year": (
        "19970101T090000",
        "RRULE:FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200",
        "1997 EST January 1|1997 EDT April 10;July 19|2000 EST January 1|2000 EDT April 9;July 18|"
        "2003 EST January 1|2003 EDT April 10;July 19|2006 EST January 1",
    ),
    "20th Monday of the year": ("19970519T090000", "RRULE:FREQ=YEARLY;BYDAY=20MO", "1997 EDT May 19|1998 EDT May 18|1999 EDT May 17 ..."),
    "Monday of week 20": (
        "19970512T090000",
        "RRULE:FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
        "1997 EDT May 12|1998 EDT May 11|1999 EDT May 17 ...",
    ),
    "Thursdays in March": (
        "19970313T090000",
        "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=TH",
        "1997 EST March 13,20,27|1998 EST March 5,12,19,26|1999 EST March 4,11,18,25 ...",
    ),
    "Friday the 13th": (
        "19970902T090000",
        "EXDATE;TZID=America/New_York:19970902T090000\nRRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
        "1998 EST February 13;March 13;November 13|1999 EDT August 13|2000 EDT October 13 ...",
    ),
    "first Saturday after the first Sunday": (
        "19970913T090000",
        "RRULE:FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
        "1997 EDT September 13;October 11|1997 EST November 8;December 13|"
        "1998 EST January 10;February 7;March 7|1998 EDT April 11;May 9;June 13 ...",
    ),
    "every four years in November": (
        "19961105T090000",
        "RRULE:FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;\n BYMONTHDAY=2,3,4,5,6,7,8",
        "1996 EST November 5|2000 EST November 7|2004 EST November 2 ...",
    ),
    "third of three weekdays": (
        "19970904T090000",
        "RRULE:FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3",
        "1997 EDT September 4;October 7|1997 EST November 6",
    ),
    "second-to-last weekday": (
        "19970929T090000",
        "RRULE:FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
        "1997 EDT September 29|1997 EST October 30;November 27;December 30|1998 EST January 29;February 26;March 30 ...",
    ),
    "week begins on Monday": ("19970805T090000", "RRULE:FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997 EDT August 5,10,19,24"),
    "week begins on Sunday": ("19970805T090000", "RRULE:FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997 EDT August 5,17,19,31"),
    "February 30 is passed over": (
        "20070115T090000",
        "RRULE:FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
        "2007 EST January 15,30|2007 EST February 15|2007 EDT March 15,30",
    ),
}


def calendar(start: str, lines: str) -> str:
    return (
        "BEGIN:VCALENDAR\nVERSION:2.0\nBEGIN:VEVENT\nUID:rfc\nLOCATION:Treatment room 1\nDURATION:PT30M\n"
        f"DTSTART;TZID=America/New_York:{start}\n{lines}\nEND:VEVENT\nEND:VCALENDAR\n"
    )


def printed(dates: str) -> list[tuple[date, str]]:
    """Return the days of a text like "1997 EDT September 2-11;October 1,3" with their zone letters."""
    days = []
    for group in dates.removesuffix(" ...").split("|"):
        year, letters, months = group.split(" ", 2)
        for part in months.split(";"):
            month, numbers = part.split(" ")
            for number in numbers.split(","):
                first, _, last = number.partition("-")
                days += [(date(int(year), MONTHS.index(month) + 1, n), letters) for n in range(int(first), int(last or first) + 1)]
    return days


@RFC
@pytest.mark.parametrize(("start", "lines", "dates"), EXAMPLES.values(), ids=EXAMPLES.keys())
def test_a_rule_gives_the_days_that_the_rfc_prints(read: Reader, zoned, start: str, lines: str, dates: str) -> None:
    practice, text, expected = zoned("America/New_York"), calendar(start, lines), printed(dates)
    first, last = date(int(start[:4]), 1, 1), expected[-1][0]
    stop = last if dates.endswith("...") else last + timedelta(days=400)
    found: list[date] = []
    while first <= stop:
        span = min(400, (stop - first).days + 1)
        found += booked_days(text.encode(), "rfc.ics", practice, first, KEY, days=span)
        first += timedelta(days=span)
    assert found == [day for day, _ in expected]


@RFC
@pytest.mark.parametrize(("start", "lines", "dates"), EXAMPLES.values(), ids=EXAMPLES.keys())
def test_a_rule_stays_at_nine_on_both_sides_of_the_clock_change(read: Reader, zoned, start: str, lines: str, dates: str) -> None:
    for day, letters in printed(dates)[:: max(1, len(printed(dates)) // 4)]:
        (visit,) = read(calendar(start, lines), day, practice=zoned("America/New_York")).visits
        assert (visit.start.strftime("%H:%M %Z"), visit.end.strftime("%H:%M")) == (f"09:00 {letters}", "09:30")


@RFC
@pytest.mark.parametrize(
    ("rule", "clock"),
    [
        ("FREQ=MINUTELY;INTERVAL=15;COUNT=6", "09:00,09:15,09:30,09:45,10:00,10:15"),
        ("FREQ=MINUTELY;INTERVAL=90;COUNT=4", "09:00,10:30,12:00,13:30"),
        (
            "FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40",
            ",".join(f"{hour:02}:{minute:02}" for hour in range(9, 17) for minute in (0, 20, 40)),
        ),
        (
            "FREQ=MINUTELY;INTERVAL=20;BYHOUR=9,10,11,12,13,14,15,16",
            ",".join(f"{hour:02}:{minute:02}" for hour in range(9, 17) for minute in (0, 20, 40)),
        ),
    ],
)
def test_a_rule_within_the_day_gives_the_times_that_the_rfc_prints(read: Reader, zoned, rule: str, clock: str) -> None:
    text = calendar("19970902T090000", f"RRULE:{rule}").replace("PT30M", "PT15M")
    visits = read(text, date(1997, 9, 2), practice=zoned("America/New_York")).visits
    assert ",".join(f"{visit.start:%H:%M}" for visit in visits) == clock


@pytest.mark.published(
    source="RFC 5545 section 3.8.5.2, page 122: RDATE;VALUE=PERIOD 19960403T020000Z/19960403T040000Z,19960404T010000Z/PT3H", sure="read"
)
def test_a_list_of_periods_brings_lengths_of_its_own(read: Reader, zoned) -> None:
    text = calendar("19960401T090000", "RDATE;VALUE=PERIOD:19960403T020000Z/19960403T040000Z,\n 19960404T010000Z/PT3H")
    found = [read(text, date(1996, 4, day), practice=zoned("Etc/UTC")).visits for day in (3, 4)]
    clocks = [[f"{visit.start:%d %H:%M}-{visit.end:%H:%M}" for visit in visits] for visits in found]
    assert clocks == [["03 02:00-04:00"], ["04 01:00-04:00"]]


@pytest.mark.published(source="RFC 5545 section 3.3.5, page 34, its two examples in New York", sure="read")
@pytest.mark.parametrize(
    ("day", "written", "shown"),
    [(date(2007, 11, 4), "20071104T013000", "01:30 EDT -0400"), (date(2007, 3, 11), "20070311T023000", "03:30 EDT -0400")],
)
def test_a_time_that_comes_twice_or_never_is_taken_as_the_rfc_says(read: Reader, zoned, day: date, written: str, shown: str) -> None:
    (visit,) = read(calendar(written, ""), day, practice=zoned("America/New_York")).visits
    assert f"{visit.start:%H:%M %Z %z}" == shown


@pytest.mark.published(
    source="EU and UK summer time: last Sunday in March to last Sunday in October, 01:00 UTC; 2026: 29 March, 25 October", sure="secondary"
)
@pytest.mark.parametrize(
    ("day", "clock", "utc", "shown"),
    [
        (date(2026, 3, 29), "005900", "00:59", "00:59"),
        (date(2026, 3, 29), "013000", "01:30", "02:30"),  # does not exist
        (date(2026, 3, 29), "020000", "01:00", "02:00"),
        (date(2026, 10, 25), "013000", "00:30", "01:30"),  # comes twice
        (date(2026, 10, 25), "020000", "02:00", "02:00"),
    ],
)
def test_the_two_nights_on_which_clocks_change(read: Reader, day: date, clock: str, utc: str, shown: str) -> None:
    text = f"BEGIN:VEVENT\nUID:1\nLOCATION:Treatment room 1\nDURATION:PT30M\nDTSTART;TZID=Europe/London:{day:%Y%m%d}T{clock}\nEND:VEVENT"
    book = read(text, day)
    (visit,) = book.visits
    assert (f"{visit.start:%H:%M}", (visit.start - visit.start.utcoffset()).strftime("%H:%M")) == (shown, utc)
    assert visit.end.timestamp() - visit.start.timestamp() == 1800
    doubts = [finding.what for finding in book.findings if re.search("does not exist|comes twice", finding.what)]
    assert len(doubts) == (1 if clock == "013000" else 0)


@RFC
def test_an_end_fixes_the_elapsed_length_of_every_instance_also_over_a_clock_change(read: Reader) -> None:
    """Page 123: the same exact duration will apply to all the members of the generated recurrence set."""
    text = (
        "BEGIN:VEVENT\nUID:1\nLOCATION:Treatment room 1\nRRULE:FREQ=DAILY\n"
        "DTSTART;TZID=Europe/London:20260320T003000\nDTEND;TZID=Europe/London:20260320T023000\nEND:VEVENT"
    )
    lengths = [[visit.end.timestamp() - visit.start.timestamp() for visit in read(text, date(2026, 3, day)).visits] for day in (28, 29, 30)]
    assert lengths == [[7200], [7200], [7200]]
