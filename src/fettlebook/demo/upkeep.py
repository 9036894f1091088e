"""What an invented practice looks at beside its duties: solutions mixed, stock counted, hoses, taps, spots after cleaning, parts changed.

All of it is invented: how often, how much, and what was found. It goes by a dice of its own, so that it moves nothing else in a life.
"""

import random
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from fettlebook.book import kinds
from fettlebook.demo.happenings import Years
from fettlebook.demo.life import CLEAN, Life
from fettlebook.demo.post import MINUTE
from fettlebook.practice.model import Skill

BASINS: Final = ("basin room 1", "basin room 4", "basin clean room")
RARE: Final = ("eye wash", "staff shower")
RUN_ON: Final = (0, 3)  # Monday and Thursday
SPOTS: Final = ("light handle", "tray table", "chair switch")
PACKAGE_UL: Final = 2_500_000  # of suction care
DOSE_UL, WATER_ML = 100_000, 1_900  # 2 L at 2 % w/v from 40 %
FULL_STOCK: Final = 6
ORDERED_AT: Final = 2
TIRES: Final = 0.006  # a week: the ejector of the second chair draws slower, until its filter is changed


@dataclass
class Upkeep:
    """A happening of each working day, before that of years."""

    years: Years = field(default_factory=Years)
    seed: int = 1
    _dice: random.Random = field(init=False)
    _week: int = -1
    _month: int = -1
    _shelf: dict[str, int] = field(default_factory=dict)
    _open_ul: int = 0
    _tired: int = 0
    _first: bool = True

    def __post_init__(self) -> None:
        self._dice = random.Random(self.seed)  # noqa: S311 - a dice for invented days, not for secrets

    def morning(self, life: Life, day: date, start: int) -> None:
        """Say what is looked at on a working day."""
        self.years.morning(life, day, start)
        by = life.by_skill[Skill.INSTRUMENTS][0]
        if self._first:
            self._first = False
            self._begin(life, start, by)
        year_week = day.isocalendar().week
        if year_week != self._week:
            self._week = year_week
            self._weekly(life, start, by)
        if day.month != self._month:
            self._month = day.month
            self._monthly(life, day, start, by)
        if day.weekday() in RUN_ON:
            for number, place in enumerate(RARE):
                self._say(life, start + (3 + 4 * number) * MINUTE, kinds.OutletRun(place=place, ran_s=180, rare=True), by)
        for chair in life.practice.chairs:
            if chair.suction and chair.id not in life.out:
                self._mix(life, start - 5 * MINUTE, chair.id, by)

    def _begin(self, life: Life, start: int, by: str) -> None:
        """Enter what hangs there from the first day on."""
        for product in (life.practice.in_use.suction, life.practice.in_use.surfaces, life.practice.in_use.line_intensive):
            if product is not None:
                self._shelf[product] = FULL_STOCK
        new = kinds.PartChanged(part="separator", done="changed", good_days=365, lot="SEP-1 (invented)")
        self._say(life, start, new, by)
        for chair in life.practice.chairs:
            for part in chair.stirred:
                if "filter" in part.id:
                    self._say(life, start, kinds.PartChanged(part="water filter", chair=chair.id, done="changed", good_days=180), by)

    def _weekly(self, life: Life, start: int, by: str) -> None:
        self._tired += 1
        for place, chair in enumerate(life.practice.chairs):
            for hose in chair.suction:
                usual_ms = 5_200 if hose.id == "high volume" else 9_400
                tired = 1 + TIRES * self._tired if place == 1 and hose.id != "high volume" else 1
                took = round(usual_ms * tired * self._dice.gauss(1, 0.025))
                said = kinds.SuctionMeasured(chair=chair.id, hose=hose.id, drawn_ml=1000, took_ms=took)
                self._say(life, start + 12 * MINUTE, said, by)
        chosen = life.practice.in_use
        for product in (chosen.surfaces, chosen.line_intensive):
            if product is not None:
                self._open(life, start - 8 * MINUTE, product, by)

    def _monthly(self, life: Life, day: date, start: int, by: str) -> None:
        for place in BASINS:
            hot, cold = self._dice.gauss(57.0, 1.2), self._dice.gauss(14.0, 1.6)
            for water, degc, ran_s in (("hot", hot, 60), ("cold", cold, 120)):
                said = kinds.OutletTemperature(place=place, water=water, water_mc=round(degc * 10) * 100, ran_s=ran_s)  # type: ignore[arg-type]
                self._say(life, start + 20 * MINUTE, said, by)
        for spot in SPOTS:
            for chair in life.practice.chairs:
                gone = self._dice.random() < (0.92 if spot != "chair switch" else 0.75)
                check = kinds.CleaningChecked(place=spot, chair=chair.id, round=f"{day:%Y-%m}", method="mark", mark_gone=gone)
                self._say(life, start + 25 * MINUTE, check, by)
        for chair in life.practice.chairs:
            self._say(life, start + 9 * MINUTE, kinds.PartChanged(part="suction filter", chair=chair.id, done="changed", good_days=31), by)
        self._tired = 0
        for product, packages in self._shelf.items():
            bulk = product == life.practice.in_use.suction
            counted = kinds.StockCounted(
                product=product, packages=packages, package_ul=PACKAGE_UL if bulk else None, open_ul=self._open_ul if bulk else None
            )
            self._say(life, start - 9 * MINUTE, counted, by)

    def _mix(self, life: Life, at: int, chair: str, by: str) -> None:
        product = life.practice.in_use.suction
        if product is None:
            return
        if self._open_ul < DOSE_UL:
            self._open(life, at - MINUTE, product, by)
            self._open_ul = PACKAGE_UL
        self._open_ul -= DOSE_UL
        solution = f"S{life.number('solution'):05d}"
        life.solutions[chair] = solution
        mixed = kinds.SolutionMixed(
            solution=solution, product=product, lot=life.lots[product], chair=chair, product_ul=DOSE_UL, water_ml=WATER_ML
        )  # fmt: skip
        self._say(life, at, mixed, by)

    def _open(self, life: Life, at: int, product: str, by: str) -> None:
        """Open a package; what gets scarce comes from the supplier the same day."""
        self._shelf[product] = self._shelf.get(product, FULL_STOCK) - 1
        life.open_package(product, at, by)
        if self._shelf[product] <= ORDERED_AT:
            self._shelf[product] += FULL_STOCK
            bulk = product == life.practice.in_use.suction
            came = kinds.StockReceived(product=product, packages=FULL_STOCK, package_ul=PACKAGE_UL if bulk else None)
            self._say(life, at + MINUTE, came, by)

    @staticmethod
    def _say(life: Life, at: int, data: kinds.Data, by: str) -> None:
        chair = getattr(data, "chair", None)
        life.say(at, data, by, CLEAN if chair is None else f"tablet {chair}")
