"""Time zones as calendars name them, turned into rules of the tz database or, failing that, the file's own.

A name is looked up in this order: the tz database; the Windows names (Unicode CLDR's table, which comes with
icalendar); the tail of a longer name (/maker/version/Europe/Berlin); the VTIMEZONE of that name in the file. The tz
database goes first because exports often carry a shortened VTIMEZONE.
"""

import contextlib
import re
from datetime import UTC, tzinfo
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

import icalendar
from icalendar.timezone.windows_to_olson import WINDOWS_TO_OLSON

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.calendar_lines import RawCalendar

MAX_OWN_ZONES: Final = 20  # each may cost a walk over centuries of clock changes
_TZID = re.compile(r';\s*TZID\s*=\s*("[^"]*"|[^;]*)', re.IGNORECASE)
_YEARLY = re.compile(r"^RRULE:(?=.*FREQ=YEARLY)(?!.*BY(SETPOS|YEARDAY|WEEKNO|HOUR|MINUTE|SECOND))[A-Z0-9=;,+-]{1,120}$")


@cache
def _names() -> dict[str, str]:
    known = available_timezones()
    names = {name.casefold(): name for name in known}
    names |= {windows.casefold(): name for windows, name in WINDOWS_TO_OLSON.items() if name in known}
    return names | {"z": "UTC", "utc": "UTC", "gmt": "Etc/GMT"}


def practice_zone(name: str) -> ZoneInfo:
    """Return the practice's zone, or say that its name is none."""
    with contextlib.suppress(KeyError, ValueError, OSError):  # not found is a KeyError
        return ZoneInfo(name)
    raise Mendable(
        f"{name!r} is no time zone", where="practice file, practice, time_zone", mend="Write an IANA name, for example Europe/London."
    )


class Zones:
    """Resolves the zone names of one file, and says once per name what it could not."""

    def __init__(self, file: str, home: ZoneInfo) -> None:
        self.file, self.home = file, home
        self.findings: list[Finding] = []
        self.floating = 0
        self.floating_line = 0
        self._known: dict[tuple[int, str], tzinfo] = {}
        self._own = 0

    def take_out(self, params: str) -> tuple[str, str]:
        """Return the parameters without TZID, and the zone's name (empty if there is none)."""
        found = _TZID.search(params)
        if found is None:
            return params, ""
        return params[: found.start()] + params[found.end() :], found[1].strip().strip('"').strip()

    def find(self, name: str, calendar: RawCalendar, line: int) -> tzinfo:
        """Return the zone of a name; the practice's own zone where the name says nothing, with a finding."""
        key = (id(calendar), name)
        if key not in self._known:
            self._known[key] = self._database(name) or self._from_file(name, calendar) or self._home(line)
        return self._known[key]

    def _database(self, name: str) -> tzinfo | None:
        parts = name.strip("/").split("/")
        for start in range(min(len(parts), 6)):
            if found := _names().get("/".join(parts[start:]).casefold()):
                return UTC if found == "UTC" else ZoneInfo(found)
        return None

    def _from_file(self, name: str, calendar: RawCalendar) -> tzinfo | None:
        lines = calendar.zones.get(name.encode())
        if lines is None or self._own >= MAX_OWN_ZONES:
            return None
        if any(line.startswith("RRULE") and not _YEARLY.match(line) for line in lines) or sum(map(len, lines)) > 20_000:
            return None
        self._own += 1
        try:
            component = icalendar.Timezone.from_ical("\r\n".join(lines))
            return component.to_tz(lookup_tzid=False) if isinstance(component, icalendar.Timezone) else None
        except Exception:
            return None

    def _home(self, line: int) -> tzinfo:
        self.findings.append(
            Finding(
                f"the time zone named here is not known; its times were taken as local time of {self.home.key}",
                f"{self.file} line {line}",
                "Compare one time with the book. If it is off, export with a zone name such as Europe/London.",
            )
        )
        return self.home
