"""What becomes of the entries of one day: visits, what is not planned, what is doubtful; and nothing goes missing."""

from datetime import date

import pytest
from book_reading import WEDNESDAY, Reader, starts, texts

from fettlebook.practice.model import Practice

pytestmark = pytest.mark.invented


def entry(clock: str, end: str, *lines: str, uid: str = "", day: str = "20261125", room: str = "Treatment room 1") -> str:
    place = f"LOCATION:{room}\n" if room else ""
    more = "".join(f"{line}\n" for line in lines)
    return (
        f"BEGIN:VEVENT\nUID:{uid or clock + end + room}\nDTSTART;TZID=Europe/London:{day}T{clock}00\n"
        f"DTEND;TZID=Europe/London:{day}T{end}00\n{place}{more}END:VEVENT\n"
    )


def with_rules(practice: Practice, *rules: dict[str, object], default: str | None = None) -> Practice:
    own = tuple(practice.calendar.rules[0].model_validate({"equals": "x", **rule}) for rule in rules)
    return practice.model_copy(update={"calendar": practice.calendar.model_copy(update={"rules": own, "default_visit_kind": default})})


# --- the map ------------------------------------------------------------------------------------------------------------


def test_rooms_and_categories_of_the_demo_practice_become_chairs_and_kinds(read: Reader) -> None:
    book = read(
        entry("0900", "0945", "CATEGORIES:Filling")
        + entry("0900", "1000", "CATEGORIES:Blue,hygiene", room="Hygiene room")
        + entry("1000", "1030", room="Treatment room 2")
        + entry("1300", "1330", "CATEGORIES:Meeting")
    )
    assert starts(book) == ["09:00-09:45 chair 1 filling", "09:00-10:00 chair 3 hygiene", "10:00-10:30 chair 2 exam"]
    assert (book.counts.visits, book.counts.ignored, book.counts.on_day) == (3, 1, 4)
    assert [finding for finding in book.findings if finding.weight == "error"] == []


def test_an_ignore_rule_goes_before_a_chair(read: Reader, practice: Practice) -> None:
    own = with_rules(
        practice, {"property": "location", "equals": "A", "chair": "chair 1"}, {"property": "categories", "ignore": True}, default="exam"
    )
    assert starts(read(entry("0900", "0930", room="A"), practice=own)) == ["09:00-09:30 chair 1 exam"]
    assert read(entry("0900", "0930", "CATEGORIES:X", room="A"), practice=own).counts.ignored == 1


def test_an_entry_without_a_chair_is_told_by_line_and_time_alone(read: Reader) -> None:
    book = read(entry("0900", "0930", "SUMMARY:Mrs Example", room="at Mrs Example's home"))
    assert book.visits == ()
    assert "book.ics line 4: the entry 09:00 to 09:30 belongs to no chair (it has: location); it is not planned." in texts(book)
    assert "Example" not in texts(book)
    nothing = read(entry("0900", "0930", room=""))
    assert "nothing to go by: no location, resource, category or calendar name" in texts(nothing)


def test_an_entry_of_two_chairs_is_told_and_not_guessed(read: Reader, practice: Practice) -> None:
    own = with_rules(
        practice,
        {"property": "location", "equals": "A", "chair": "chair 1"},
        {"property": "resources", "equals": "B", "chair": "chair 2"},
        default="exam",
    )
    book = read(entry("0900", "0930", "RESOURCES:B", room="A"), practice=own)
    assert book.visits == ()
    assert "the entry 09:00 to 09:30 belongs to chair 1 and chair 2 at once" in texts(book)


def test_an_entry_without_a_kind_is_told_where_there_is_no_default(read: Reader, practice: Practice) -> None:
    own = with_rules(practice, {"property": "location", "equals": "A", "chair": "chair 1"})
    book = read(entry("0900", "0930", room="A"), practice=own)
    assert "the entry 09:00 to 09:30 on chair 1 has no visit kind; it is not planned" in texts(book)
    assert book.counts.not_mapped == 1


def test_of_two_kinds_the_first_rule_wins_and_is_told(read: Reader) -> None:
    book = read(entry("0900", "0930", "CATEGORIES:Surgical,Filling"))
    assert starts(book) == ["09:00-09:30 chair 1 filling"]
    assert "warning book.ics line 4: the visit 09:00 to 09:30 fits 2 visit kinds; taken as filling, the first rule's" in texts(book)


def test_a_rule_for_a_chair_that_does_not_exist_maps_nothing(read: Reader, practice: Practice) -> None:
    own = with_rules(practice, {"property": "location", "equals": "A", "chair": "chair 9"}, default="exam")
    assert read(entry("0900", "0930", room="A"), practice=own).counts.not_mapped == 1


# --- on the chair -------------------------------------------------------------------------------------------------------


def test_of_two_visits_that_overlap_the_later_is_told_and_not_planned(read: Reader) -> None:
    book = read(entry("0900", "1000") + entry("0930", "1015") + entry("1000", "1030") + entry("0930", "1015", room="Treatment room 2"))
    assert starts(book) == ["09:00-10:00 chair 1 exam", "09:30-10:15 chair 2 exam", "10:00-10:30 chair 1 exam"]
    assert [f"{visit.start:%H:%M} {visit.chair}" for visit in book.not_planned] == ["09:30 chair 1"]
    assert (
        "error book.ics line 10: two visits overlap on chair 1: 09:00 to 10:00 (line 4) and 09:30 to 10:15 (line 10); "
        "the later one is not planned"
    ) in texts(book)


def test_a_visit_on_a_chair_out_of_service_is_told_and_not_planned(read: Reader, practice: Practice) -> None:
    chairs = tuple(chair.model_copy(update={"out_of_service": chair.id == "chair 1"}) for chair in practice.chairs)
    book = read(entry("0900", "1000") + entry("0930", "1000"), practice=practice.model_copy(update={"chairs": chairs}))
    assert (book.visits, len(book.not_planned)) == ((), 2)
    assert "error book.ics line 4: the visit 09:00 to 10:00 is booked on chair 1, which is out of service; it is not planned" in texts(book)


def test_a_late_visit_of_the_day_before_holds_its_chair(read: Reader) -> None:
    late = entry("2330", "2359", day="20261124").replace(
        "DTEND;TZID=Europe/London:20261124T235900", "DTEND;TZID=Europe/London:20261125T003000"
    )
    book = read(late + entry("0015", "0045") + entry("0100", "0130"))
    assert starts(book) == ["01:00-01:30 chair 1 exam"]
    assert "two visits overlap on chair 1: 23:30 to 00:30" in texts(book)
    assert starts(read(late, date(2026, 11, 24))) == ["23:30-00:30 chair 1 exam"]


def test_visits_outside_the_opening_hours_are_kept_with_a_warning(read: Reader) -> None:
    book = read(entry("0800", "0845") + entry("0845", "0930") + entry("1700", "1745"))
    assert len(book.visits) == 3
    assert texts(book).count("is outside the opening hours (08:30 to 17:30)") == 2
    assert "error" not in texts(book)


@pytest.mark.parametrize(
    ("day", "why"),
    [(date(2026, 12, 25), "a holiday (Christmas Day)"), (date(2026, 11, 28), "a day without opening hours")],
)
def test_visits_on_a_closed_day_are_kept_with_one_warning(read: Reader, day: date, why: str) -> None:
    written = f"{day:%Y%m%d}"
    book = read(entry("0900", "0930", day=written) + entry("1000", "1030", day=written), day)
    assert len(book.visits) == 2
    assert texts(book).count(why) == 1


# --- what is no visit ---------------------------------------------------------------------------------------------------


def test_cancelled_entries_are_counted_and_not_planned(read: Reader) -> None:
    book = read(
        entry("0900", "0930", "STATUS:CANCELLED") + entry("1000", "1030", "status:cancelled") + entry("1100", "1130", "STATUS:CONFIRMED")
    )
    assert starts(book) == ["11:00-11:30 chair 1 exam"]
    assert book.counts.cancelled == 2
    cancels = f"BEGIN:VCALENDAR\nMETHOD:CANCEL\n{entry('0900', '0930')}END:VCALENDAR\n"
    assert read(cancels).counts.cancelled == 1


def test_a_later_cancellation_in_the_same_file_takes_the_visit_back(read: Reader) -> None:
    visit = entry("0900", "0930", "SEQUENCE:0", uid="one")
    cancel = entry("0900", "0930", "SEQUENCE:1", uid="one")
    book = read(f"BEGIN:VCALENDAR\n{visit}END:VCALENDAR\nBEGIN:VCALENDAR\nMETHOD:CANCEL\n{cancel}END:VCALENDAR\n")
    assert (book.visits, book.counts.cancelled) == ((), 1)


def test_an_entry_marked_as_free_time_is_planned_on_a_chair_and_told(read: Reader) -> None:
    book = read(entry("0900", "0930", "TRANSP:TRANSPARENT"))
    assert len(book.visits) == 1
    assert "warning book.ics line 4: the visit 09:00 to 09:30 is marked as free time; it is planned" in texts(book)


def test_free_time_without_a_chair_is_only_a_warning(read: Reader) -> None:
    book = read(entry("0900", "0930", "TRANSP:TRANSPARENT", room="") + entry("1000", "1030"))
    assert "warning book.ics line 4: the entry 09:00 to 09:30 belongs to no chair" in texts(book)
    assert "error" not in texts(book)


@pytest.mark.parametrize(
    "times",
    [
        "DTSTART;VALUE=DATE:20261125",
        "DTSTART;VALUE=DATE:20261125\nDTEND;VALUE=DATE:20261126",
        "DTSTART;VALUE=DATE:20261123\nDTEND;VALUE=DATE:20261128",
        "DTSTART;VALUE=DATE:20261124\nDURATION:P3D",
        "DTSTART:20261125T000000\nDTEND:20261126T000000",
        "DTSTART;VALUE=DATE:20201125\nRRULE:FREQ=YEARLY",
    ],
)
def test_an_all_day_entry_is_no_visit_and_is_told(read: Reader, times: str) -> None:
    free = read(f"BEGIN:VEVENT\nUID:1\n{times}\nEND:VEVENT")
    assert (free.counts.all_day, free.counts.on_day, free.visits) == (1, 1, ())
    assert "warning book.ics line 4: an all-day entry is no visit and is not planned. If the practice is closed" in texts(free)
    chair = read(f"BEGIN:VEVENT\nUID:1\n{times}\nLOCATION:Treatment room 1\nEND:VEVENT")
    assert "error book.ics line 4: an all-day entry on chair 1 has no time of day and is not planned" in texts(chair)
    ignored = read(f"BEGIN:VEVENT\nUID:1\n{times}\nCATEGORIES:Meeting\nEND:VEVENT")
    assert (ignored.counts.ignored, "all-day" in texts(ignored)) == (1, False)


@pytest.mark.parametrize(
    "times",
    [
        "DTSTART:20261123T090000\nDURATION:P3D",
        "DTSTART:20261113T090000\nDURATION:P2W",
        "DTSTART:20261115T120000\nDURATION:PT240H",
        "DTSTART:20260101T090000\nDTEND:20261231T090000",
        "DTSTART:20261101T090000\nDURATION:P2W\nRRULE:FREQ=DAILY;COUNT=1\nRDATE:20261112T090000",
        "DTSTART:20261113T090000\nDURATION:P2W\nRRULE:FREQ=DAILY;UNTIL=20261113",
        "DTSTART;TZID=Pacific/Kiritimati:20261126T120000\nDURATION:PT30M",
        "DTSTART;TZID=Pacific/Pago_Pago:20261124T140000\nDURATION:PT30M",
    ],
)
def test_an_entry_that_only_reaches_into_the_day_is_seen(read: Reader, times: str) -> None:
    book = read(f"BEGIN:VEVENT\nUID:1\n{times}\nLOCATION:Treatment room 1\nEND:VEVENT")
    assert book.counts.on_day >= 1


def test_the_day_after_an_all_day_entry_is_free_of_it(read: Reader) -> None:
    book = read("BEGIN:VEVENT\nUID:1\nDTSTART;VALUE=DATE:20261124\nDTEND;VALUE=DATE:20261125\nEND:VEVENT", WEDNESDAY)
    assert book.counts.on_day == 0


# --- one UID, several entries -------------------------------------------------------------------------------------------


def test_an_older_revision_is_dropped(read: Reader) -> None:
    book = read(entry("0900", "0930", "SEQUENCE:2", uid="one") + entry("1100", "1130", "SEQUENCE:3", uid="one"))
    assert starts(book) == ["11:00-11:30 chair 1 exam"]
    assert "warning book.ics line 4: 1 older versions or copies of entries were passed over" in texts(book)


def test_the_same_entry_twice_is_one_visit(read: Reader) -> None:
    book = read(entry("0900", "0930", uid="one") * 2)
    assert (len(book.visits), len(book.not_planned)) == (1, 0)
    assert "1 older versions or copies of entries were passed over" in texts(book)


def test_one_uid_at_one_time_in_two_rooms_loses_neither(read: Reader) -> None:
    book = read(entry("0900", "0930", uid="one") + entry("0900", "0930", uid="one", room="Treatment room 2"))
    assert starts(book) == ["09:00-09:30 chair 1 exam", "09:00-09:30 chair 2 exam"]
    assert len({visit.ref for visit in book.visits}) == 2


def two_calendars(one: str, other: str) -> str:
    return f"BEGIN:VCALENDAR\nNAME:A\n{one}END:VCALENDAR\nBEGIN:VCALENDAR\nNAME:B\n{other}END:VCALENDAR\n"


def test_an_appointment_in_two_calendars_of_the_file_is_read_once(read: Reader) -> None:
    book = read(two_calendars(entry("0900", "0930", uid="one"), entry("0900", "0930", uid="one")))
    assert (len(book.visits), len(book.not_planned), book.counts.on_day) == (1, 0, 1)
    assert "warning book.ics line 12: 1 entries stand in two calendars of the file; each was read once" in texts(book)


def test_an_appointment_on_two_chairs_is_planned_on_both_and_told(read: Reader) -> None:
    book = read(two_calendars(entry("0900", "0930", uid="one"), entry("0900", "0930", uid="one", room="Treatment room 2")))
    assert starts(book) == ["09:00-09:30 chair 1 exam", "09:00-09:30 chair 2 exam"]
    assert len({visit.ref for visit in book.visits}) == 2
    assert (
        "warning book.ics line 12: one appointment stands twice: at 09:00 on chair 1 (line 3) and at 09:00 on chair 2 (line 12)"
        in texts(book)
    )


def test_one_uid_for_entries_at_different_times_loses_none_of_them(read: Reader) -> None:
    book = read(entry("0900", "0930", uid="one") + entry("1100", "1130", uid="one"))
    assert starts(book) == ["09:00-09:30 chair 1 exam", "11:00-11:30 chair 1 exam"]
    assert len({visit.ref for visit in book.visits}) == 2
    assert "warning book.ics line 10: 2 different entries share one UID; each is read as a visit of its own" in texts(book)


def test_entries_without_a_uid_are_read_with_a_warning(read: Reader) -> None:
    text = (entry("0900", "0930") + entry("1100", "1130")).replace("UID:", "X-UID:")
    book = read(text)
    assert len({visit.ref for visit in book.visits}) == 2
    assert "2 entries have no UID" in texts(book)


# --- series -------------------------------------------------------------------------------------------------------------

SERIES = entry("0900", "0930", "RRULE:FREQ=WEEKLY", uid="s", day="20261104")


def change(clock: str, end: str, was: str, *lines: str, day: str = "20261125", room: str = "Treatment room 1") -> str:
    return entry(clock, end, f"RECURRENCE-ID;TZID=Europe/London:{was}", *lines, uid="s", day=day, room=room)


def test_a_moved_instance_stands_at_its_new_time_alone(read: Reader) -> None:
    text = SERIES + change("1400", "1430", "20261125T090000")
    assert starts(read(text)) == ["14:00-14:30 chair 1 exam"]
    assert starts(read(text, date(2026, 11, 18))) == ["09:00-09:30 chair 1 exam"]


def test_a_change_that_names_only_the_day_moves_the_instance_of_that_day(read: Reader) -> None:
    text = SERIES + change("1400", "1430", "20261125T090000").replace(
        "RECURRENCE-ID;TZID=Europe/London:20261125T090000", "RECURRENCE-ID;VALUE=DATE:20261125"
    )
    assert starts(read(text)) == ["14:00-14:30 chair 1 exam"]
    assert read(text).visits[0].ref == read(SERIES).visits[0].ref


def test_an_instance_moved_to_another_day_leaves_its_own(read: Reader) -> None:
    text = SERIES + change("1400", "1430", "20261125T090000", day="20261126")
    assert starts(read(text)) == []
    assert starts(read(text, date(2026, 11, 26))) == ["14:00-14:30 chair 1 exam"]


def test_an_instance_moved_in_from_far_away_is_seen(read: Reader) -> None:
    text = SERIES + change("1400", "1430", "20261216T090000")
    assert starts(read(text)) == ["09:00-09:30 chair 1 exam", "14:00-14:30 chair 1 exam"]


def test_a_changed_instance_that_names_no_room_stays_in_the_room_of_its_series(read: Reader) -> None:
    assert starts(read(SERIES + change("1400", "1430", "20261125T090000", room=""))) == ["14:00-14:30 chair 1 exam"]


def test_a_changed_instance_may_go_to_another_chair(read: Reader) -> None:
    assert starts(read(SERIES + change("0900", "0930", "20261125T090000", room="Hygiene room"))) == ["09:00-09:30 chair 3 exam"]


@pytest.mark.parametrize(
    "taken_out",
    [
        SERIES + change("0900", "0930", "20261125T090000", "STATUS:CANCELLED"),
        SERIES.replace("RRULE", "EXDATE;TZID=Europe/London:20261125T090000\nRRULE"),
        SERIES.replace("RRULE", "EXDATE:20261118T090000Z,20261125T090000Z\nRRULE"),
        SERIES.replace("RRULE", "EXDATE;VALUE=DATE:20261125\nRRULE"),
        SERIES.replace("RRULE", "EXDATE;TZID=Europe/Berlin:20261118T100000\nEXDATE;TZID=Europe/London:20261125T090000\nRRULE"),
    ],
)
def test_an_instance_taken_out_is_gone_and_the_next_is_not(read: Reader, taken_out: str) -> None:
    assert starts(read(taken_out)) == []
    assert starts(read(taken_out, date(2026, 12, 2))) == ["09:00-09:30 chair 1 exam"]


def test_this_and_all_later_ones_move_and_keep_references_of_their_own(read: Reader) -> None:
    text = SERIES + change("1000", "1030", "20261118T090000", day="20261118").replace(
        "RECURRENCE-ID;", "RECURRENCE-ID;RANGE=THISANDFUTURE;"
    )
    days = [date(2026, 11, 11), date(2026, 11, 18), WEDNESDAY, date(2026, 12, 2)]
    books = [read(text, day) for day in days]
    assert [f"{visit.start:%H}" for book in books for visit in book.visits] == ["09", "10", "10", "10"]
    assert len({visit.ref for book in books for visit in book.visits}) == 4
    assert books[2].visits[0].ref == read(SERIES).visits[0].ref


def test_an_instance_whose_series_is_not_in_the_file_is_a_visit(read: Reader) -> None:
    assert starts(read(change("1400", "1430", "20261118T090000"))) == ["14:00-14:30 chair 1 exam"]


@pytest.mark.parametrize("until", ["20261125", "20261125T090000", "20261125T090000Z", "20261125T235959Z"])
@pytest.mark.parametrize("zone", ["Europe/London", "America/New_York", "Asia/Tokyo"])
def test_the_last_instance_is_not_lost_however_the_last_day_is_written(read: Reader, zoned, until: str, zone: str) -> None:
    """A last day alone means that day; a time without Z is local. Read to the letter both would end a visit early."""
    if until.endswith("Z") and zone == "America/New_York":
        until = "20261125T140000Z"
    text = SERIES.replace("WEEKLY", f"WEEKLY;UNTIL={until}").replace("Europe/London", zone)
    assert starts(read(text, practice=zoned(zone))) == ["09:00-09:30 chair 1 exam"]
    assert starts(read(text, date(2026, 12, 2), practice=zoned(zone))) == []


def test_a_series_in_utc_is_told_when_the_clocks_have_changed(read: Reader) -> None:
    text = entry("0900", "0930", "RRULE:FREQ=WEEKLY", day="20260701").replace(";TZID=Europe/London", "").replace("00\n", "00Z\n")
    winter, summer = read(text), read(text, date(2026, 7, 8))
    assert starts(summer) == ["10:00-10:30 chair 1 exam"]
    assert starts(winter) == ["09:00-09:30 chair 1 exam"]
    assert "repeats in UTC: since the clocks changed it stands at another hour than 10:00" in texts(winter)
    assert "UTC" not in texts(summer)
