"""What strip readings say of a line, as a person reads it in a terminal."""

from collections.abc import Sequence
from datetime import date
from math import inf
from typing import Any

from fettlebook.cli.flow_page import changes, changes_data, promises_data, wrapped
from fettlebook.practice.model import Practice
from fettlebook.said import listed
from fettlebook.science.calibration import Calibration
from fettlebook.science.strips import Strip, StripReading
from fettlebook.times.against import Meant
from fettlebook.times.flow_words import promised_words
from fettlebook.times.strips import LineUnderTest
from fettlebook.times.strips_words import STILL_DECIDES, reading_rows, to_do_words, told_words
from fettlebook.times.words import whole_s


def page(
    practice: Practice,
    line: LineUnderTest,
    strip: Strip,
    dipped: Sequence[StripReading],
    found: Calibration,
    *,
    meant: Meant | None,
    wrote: bool,
) -> str:
    """Return the answer as text of 80 columns."""
    head = practice.practice
    colours = ", ".join(f"{c:g}" for c in strip.colours_mg_l)
    rows = wrapped(
        [
            f"{head.name}{' (invented)' if head.invented else ''}, {line.chair}, {line.outlet}; open together: {listed(line.together)}",
            f"From {line.strength_mg_l:,.0f} mg/L down to {line.limit_mg_l:g} mg/L; strip with {colours}",
        ]
    )
    rows += ["", f"  {'after':>6}  {'strip, mg/L':<14}fitted line, mg/L"]
    rows += [f"  {after:>6}  {seen:<14}{fitted}" for after, seen, fitted in reading_rows(dipped, strip, found)]
    rows += ["", *wrapped(told_words(found)), "", *wrapped(to_do_words(line, found))]
    if meant:
        rows += ["", *wrapped(promised_words(meant)), *changes(meant)]
        name, at = meant.place.loaded.file, meant.place.line
        said = f"Written to {name} line {at}: {meant.said}. Nothing else in it was touched."
        rows += wrapped([said] if wrote else [f"For {name} line {at}: {meant.said}", "To put it there: the same command with --write."])
    return "\n".join([*rows, *wrapped([STILL_DECIDES])])


def as_data(
    practice: Practice,
    line: LineUnderTest,
    dipped: Sequence[StripReading],
    found: Calibration,
    day: date,
    *,
    meant: Meant | None,
    wrote: bool,
) -> dict[str, Any]:
    """Return the answer as JSON data."""
    return {
        "form": 1,
        "practice": {"id": practice.practice.id, "invented": practice.practice.invented},
        "on": str(day),
        "chair": line.chair,
        "outlet": line.outlet,
        "together": list(line.together),
        "strength_mg_l": line.strength_mg_l,
        "limit_mg_l": line.limit_mg_l,
        "readings": [
            {
                "seconds": r.seconds,
                "low_mg_l": r.low_mg_l,
                "high_mg_l": None if r.high_mg_l == inf else r.high_mg_l,
                "fitted_mg_l": expected,
            }
            for r, expected in zip(dipped, found.expected_mg_l, strict=True)
        ],
        "fits": found.fits,
        "fit_p": found.fit_p,
        "enough": found.enough,
        "borne_out": found.borne_out,
        "over_s": found.over_s,
        "stretch": found.stretch,
        "mixing": found.mixing,
        "slower_from": found.slower_from,
        "slower_to": found.slower_to,
        "limit_s": found.limit_s,
        "low_s": found.low_s,
        "high_s": found.high_s,
        "computed_s": found.computed_s,
        "floor_s": line.floor_s,
        "keep_to_s": found.hold_s,
        "reasons": list(found.reasons),
        "rinses": [{"step": t.step_id, "seconds": s, "long_enough": s is not None and s >= whole_s(found.hold_s)} for t, s in line.rinses],
        "practice_file": _file_data(meant, wrote=wrote) if meant else None,
    }


def _file_data(meant: Meant, *, wrote: bool) -> dict[str, Any]:
    return {
        "line": meant.place.line,
        "values": dict(meant.values),
        "wrote": wrote,
        "promises": promises_data(meant),
        "changes": changes_data(meant),
    }
