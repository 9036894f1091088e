"""Checks that somebody made beside the duties: how well a suction hose draws, how clean a surface is."""

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from fettlebook.book.kinds.forms import Count, Id, Said


class SuctionMeasured(Said):
    """How well one suction hose draws: a measured amount of water by the clock, or a gauge."""

    KIND: ClassVar[str] = "suction.measured"

    chair: Id
    hose: Id  # one of its suction lines
    drawn_ml: Annotated[int, Field(ge=50, le=20_000)] | None = None
    took_ms: Annotated[int, Field(ge=100, le=3_600_000)] | None = None
    gauge_pa: Annotated[int, Field(ge=1, le=100_000, description="below the air's pressure [Pa]")] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if (self.drawn_ml is None) != (self.took_ms is None):
            raise ValueError("drawn_ml and took_ms go together")
        if (self.drawn_ml is None) == (self.gauge_pa is None):
            raise ValueError("give either drawn_ml with took_ms, or gauge_pa")
        return self


class OutletTemperature(Said):
    """How warm the water of a tap was when it had run for some time."""

    KIND: ClassVar[str] = "outlet.temperature"

    place: Id  # basin room 1, far shower
    water: Literal["hot", "cold"]
    water_mc: Annotated[int, Field(ge=0, le=100_000, description="thousandths of a degC")]
    ran_s: Annotated[int, Field(ge=0, le=3_600, description="how long it had run [s]")] | None = None
    mixed: bool | None = None  # behind a mixing valve: says nothing of the hot water before it


class OutletRun(Said):
    """The water of a tap was run so that it doesn't stand. `rare` says from now on whether it is one that is rarely used."""

    KIND: ClassVar[str] = "outlet.run"

    place: Id  # as in outlet.temperature
    ran_s: Annotated[int, Field(ge=0, le=3_600, description="how long it ran [s]")] | None = None
    rare: bool | None = None  # True: to be run by the rule from now on; False: it is in daily use again


class CleaningChecked(Said):
    """One spot was checked after cleaning: was a fluorescent mark gone, or what an ATP swab read. Who cleaned is never asked."""

    KIND: ClassVar[str] = "cleaning.checked"

    place: Id  # light handle, tray table
    chair: Id | None = None
    round: Id | None = None  # checks that belong together: 2026-03
    method: Literal["mark", "ATP"]
    mark_gone: bool | None = None
    atp_rlu: Count | None = None
    limit_rlu: Annotated[int, Field(ge=1, description="what the maker of the test kit calls clean, at most")] | None = None

    @model_validator(mode="after")
    def _its_own_reading(self) -> Self:
        if (self.method == "mark") != (self.mark_gone is not None) or (self.method == "ATP") != (self.atp_rlu is not None):
            raise ValueError("a mark needs mark_gone, an ATP swab atp_rlu, and neither the other's")
        if self.limit_rlu is not None and self.method != "ATP":
            raise ValueError("limit_rlu is of an ATP swab")
        return self
