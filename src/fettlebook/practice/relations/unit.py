"""What else is known of a chair's unit: other water that enters its lines, strips, and the day of its last change."""

from collections.abc import Iterator

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import Chair
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.unknown import unknown


def check_unit(chair: Chair, at: KeyPath) -> Iterator[Fault]:
    """Yield the faults of second feeds and strips, and what was measured before the lines were changed."""
    yield from _second_feeds(chair, at)
    if typical := [part.id for part in chair.segments if part.typical]:
        seen = f"bore and length are typical values, not measured: {', '.join(typical)}"
        mend = "Ask whoever services the chair, write both in and take typical out. Until then its times are longer."
        yield Fault((*at, "segments"), seen, mend, "warning")
    for number, outlet in enumerate(chair.outlets):
        path: KeyPath = (*at, "outlets", number)
        strips = outlet.strips
        if strips and not strips.slower_from <= strips.slower <= strips.slower_to:
            seen = f"{strips.slower:g} does not lie in its range of {strips.slower_from:g} to {strips.slower_to:g}"
            yield Fault((*path, "strips", "slower"), seen, "Write all three as fettlebook calibrate tells them.")
        if chair.changed_on is None:
            continue
        if outlet.measured_on and outlet.measured_on < chair.changed_on:
            seen = f"the flow was measured on {outlet.measured_on}, before the lines were changed on {chair.changed_on}"
            yield Fault((*path, "measured_on"), seen, "Measure it again: fettlebook flow. Until then it counts as not measured.", "warning")
        if strips and strips.dipped_on < chair.changed_on:
            seen = f"the strips are of {strips.dipped_on}, from before the lines were changed on {chair.changed_on}"
            mend = "Dip again: fettlebook calibrate. Until then they still lengthen times, and shorten none."
            yield Fault((*path, "strips", "dipped_on"), seen, mend, "warning")


def _second_feeds(chair: Chair, at: KeyPath) -> Iterator[Fault]:
    hangs_on = {part.id: part.from_ for part in chair.segments} | {part.id: part.from_ for part in chair.stirred}
    named: set[str] = set()
    for number, feed in enumerate(chair.second_feeds):
        path: KeyPath = (*at, "second_feeds", number)
        if feed.id in named:
            yield Fault((*path, "id"), f'"{feed.id}" is used twice', "Give every second feed an id of its own.")
        named.add(feed.id)
        if feed.into not in hangs_on:
            yield unknown((*path, "into"), "segment or stirred volume", feed.into, hangs_on)
            continue
        below = sum(outlet.flow_ml_min for outlet in chair.outlets if feed.into in _above(outlet.from_, hangs_on))
        if feed.flow_ml_min >= sum(outlet.flow_ml_min for outlet in chair.outlets) or (below and feed.flow_ml_min >= below):
            seen = f"{feed.flow_ml_min:g} mL/min enter, and only {below:g} mL/min leave below: water would run backwards"
            yield Fault((*path, "flow_ml_min"), seen, "Have it shut or mended and take it out, or measure both again.")


def _above(part: str | None, hangs_on: dict[str, str | None]) -> set[str]:
    way: set[str] = set()
    while part is not None and part in hangs_on and part not in way:
        way.add(part)
        part = hangs_on[part]
    return way
