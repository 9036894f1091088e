"""Make docs/carry-on/lines-compared.md: twelve invented lines by rule, by plug flow and as fettlebook reckons them.

Run: `python scripts/compare_lines.py > docs/carry-on/lines-compared.md`. A test holds the page against this.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fettlebook.science.curves import OutletCurve, outlet_curves
from fettlebook.science.uncertainty import sure_seconds

WATER_C = 12.0
FLUSH, FILL, RINSE = 0.05, 0.95, 1.0 / 3000.0
Outlet = tuple[str, float, float, float]  # name, hose length [m], bore [mm], flow [mL/min]


@dataclass(frozen=True)
class Line:
    """An invented line: common parts from the supply on, then a hose for each outlet."""

    name: str
    common: tuple[tuple[float, float], ...]  # length [m], bore [mm]
    outlets: tuple[Outlet, ...]
    together: bool = True
    filter_ml: float = 0.0

    def circuit(self, *, hoses_only: bool = False) -> dict[str, Any]:
        """Return the line as plain data."""
        parts: list[dict[str, Any]] = []
        last: str | None = None
        for number, (length, bore) in enumerate(() if hoses_only else self.common):
            parts.append({"id": f"common {number}", "from": last, "kind": "tube", "length_m": length, "bore_mm": bore})
            last = f"common {number}"
            if number == 0 and self.filter_ml:
                parts.append({"id": "filter", "from": last, "kind": "stirred", "volume_ml": self.filter_ml})
                last = "filter"
        parts += [{"id": name, "from": last, "kind": "tube", "length_m": length, "bore_mm": bore} for name, length, bore, _ in self.outlets]
        return {
            "parts": parts,
            "outlets": [{"part": name, "flow_ml_min": flow} for name, _, _, flow in self.outlets],
            "mode": "together" if self.together else "alone",
            "temperature_c": WATER_C,
        }


FOUR: tuple[Outlet, ...] = (
    ("turbine", 2.0, 1.6, 50.0), ("motor", 2.0, 1.6, 60.0), ("scaler", 2.2, 1.6, 35.0), ("syringe", 1.8, 2.0, 110.0),
)  # fmt: skip
LINES = (
    Line("one hose, 2 m x 1.6 mm, 50 mL/min", (), (("turbine", 2.0, 1.6, 50.0),)),
    Line("one short fast hose, 1 m x 1.2 mm, 150 mL/min", (), (("syringe", 1.0, 1.2, 150.0),)),
    Line("one wide slow hose, 3 m x 2.5 mm, 30 mL/min", (), (("scaler", 3.0, 2.5, 30.0),)),
    Line("feed 1 m x 4 mm and one hose", ((1.0, 4.0),), (("turbine", 2.0, 1.6, 50.0),)),
    Line("two outlets together, short feed", ((0.6, 3.0),), (("scaler", 1.8, 1.6, 40.0), ("syringe", 1.6, 2.0, 120.0))),
    Line("four outlets together", ((1.0, 4.0), (0.3, 3.0)), FOUR),
    Line("the same four, one at a time", ((1.0, 4.0), (0.3, 3.0)), FOUR, together=False),
    Line("four together behind a filter of 25 mL", ((1.0, 4.0), (0.3, 3.0)), FOUR, filter_ml=25.0),
    Line("four together, feed 3 m x 5 mm", ((3.0, 5.0), (0.3, 3.0)), FOUR),
    Line("four together, thin slow hoses 1.2 mm, 25 mL/min", ((1.0, 4.0),), tuple((n, 2.2, 1.2, 25.0) for n, *_ in FOUR)),
    Line("cart, hoses of 4 m, two outlets together", ((1.5, 4.0),), (("turbine", 4.0, 1.6, 45.0), ("motor", 4.0, 1.6, 50.0))),
    Line("cup filler alone, 4 mm, 900 mL/min", ((1.6, 4.0),), (("cup filler", 1.2, 4.0, 900.0),)),
)

PAGE = Path(__file__).parent / "compare_lines_page.md"  # the prose, with places for the figures


def page() -> str:
    """Return the whole page."""
    rows, leaves = [], []
    plug: list[float] = []
    ratios: list[tuple[float, float]] = []
    needs: list[tuple[float, float]] = []  # flush and rinse in 95 of 100 cases
    most_left: list[tuple[float, float, float]] = []  # last hose at 20 s and 30 s, whole way at 30 s
    for line in LINES:
        circuit = line.circuit()
        sure = sure_seconds(circuit, flush_share=FLUSH, fill_share=FILL, rinse_share=RINSE)
        change_s = max(s.best.nominal_s for s in sure)
        flush, fill, rinse = (
            (max(s.best.flush_s for s in sure), max(s.flush_s for s in sure)),
            (max(s.best.fill_s for s in sure), max(s.fill_s for s in sure)),
            (max(s.best.rinse_s for s in sure), max(s.rinse_s for s in sure)),
        )
        needs.append((flush[1], rinse[1]))
        ratios += [(s.best.flush_s / s.best.nominal_s, s.best.rinse_s / s.best.nominal_s) for s in sure]
        cells = [
            _short(change_s),
            *(f"{_short(best)} / {_short(most)}" for best, most in (flush, fill, rinse)),
            f"{rinse[0] / change_s:.1f}",
        ]
        rows.append(f"| {line.name} | {' | '.join(cells)} | {_enough(flush[1], rinse[1])} |")
        whole, hoses = outlet_curves(circuit, 150.0, 1501), outlet_curves(line.circuit(hoses_only=True), 150.0, 1501)
        plug += [_left(curve, s.best.nominal_s) for curve, s in zip(whole, sure, strict=True)]
        most_left.append((_most(hoses, 20), _most(hoses, 30), _most(whole, 30)))
        cells = [_range(hoses, 20), _range(hoses, 30), _range(whole, 20), _range(whole, 30), _range(whole, 120)]
        leaves.append(f"| {line.name} | {' | '.join(cells)} |")
    return PAGE.read_text("utf-8").format(
        rows="\n".join(rows),
        leaves="\n".join(leaves),
        count=len(LINES),
        least=_share(min(plug)),
        most=_share(max(plug)),
        flush_low=f"{min(f for f, _ in ratios):.1f}",
        flush_high=f"{max(f for f, _ in ratios):.1f}",
        rinse_low=f"{min(r for _, r in ratios):.1f}",
        rinse_high=f"{max(r for _, r in ratios):.1f}",
        hose_20=sum(a <= FLUSH for a, _, _ in most_left),
        hose_30=sum(b <= FLUSH for _, b, _ in most_left),
        whole_30=sum(c <= FLUSH for _, _, c in most_left),
        flush_120=sum(f <= 120 for f, _ in needs),
        flush_longest=f"{max(f for f, _ in needs):.0f}",
        rinse_not_120=sum(r > 120 for _, r in needs),
        rinse_longest=f"{max(r for _, r in needs):.0f}",
    )


def _enough(flush_s: float, rinse_s: float) -> str:
    return " and ".join(name for name, seconds in (("flush", flush_s), ("rinse", rinse_s)) if seconds <= 120) or "neither"


def _most(curves: Sequence[OutletCurve], seconds: float) -> float:
    return max(_left(curve, seconds) for curve in curves)


def _left(curve: OutletCurve, seconds: float) -> float:
    return float(np.interp(seconds, curve.time_s, curve.old_water))


def _range(curves: Sequence[OutletCurve], seconds: float) -> str:
    shares = [_left(curve, seconds) for curve in curves]
    low, high = _share(min(shares)), _share(max(shares))
    return low if low == high else f"{low.removesuffix(' %')} to {high}"


def _share(share: float) -> str:
    return "under 0.01 %" if share < 1e-4 else f"{share * 100:.2g} %" if share < 0.995 else "100 %"


def _short(seconds: float) -> str:
    return f"{seconds:.1f}" if seconds < 10 else f"{seconds:.0f}"


if __name__ == "__main__":
    sys.stdout.write(page())
