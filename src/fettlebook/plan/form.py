"""What every part of a day's JSON has in common: strict, frozen, whole minutes."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

LONGEST_DAY_MIN = 4320  # a day with shifts over midnight on both sides

Id = Annotated[str, Field(min_length=1, max_length=120)]
Minute = Annotated[int, Field(ge=0, le=LONGEST_DAY_MIN)]
Length = Annotated[int, Field(ge=1, le=LONGEST_DAY_MIN)]


class Part(BaseModel):
    """A part of an instance or a plan: strict types, no unknown field, never changed after reading."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, populate_by_name=True)
