"""The air-removal (steam-penetration) test: the cycle by its log, and the test sheet or helix by a person's eye. Both must be good."""

from typing import Final, Literal

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.log import CycleLog, Sensors
from fettlebook.science.cycles.outcome import Judgement, evidence
from fettlebook.science.cycles.steam_cycle import judge_steam

Indicator = Literal["even", "uneven"]
NO_SHEET: Final = "nobody has said how it changed colour: read it, a log alone says nothing on air removal"


def judge_air_removal_test(
    log: CycleLog, criteria: Criteria, sensors: Sensors | None = None, indicator: Indicator | None = None
) -> Judgement:
    """Judge an air-removal test.

    Parameters
    ----------
    log, criteria, sensors
        As in `judge_steam`.
    indicator
        How the sheet or helix strip changed, as a person read it: "even" all over as its IFU shows, or "uneven". None: not read.

    Returns
    -------
    Judgement
        `fit` only with a good log and an evenly changed indicator; a good log alone is `unproven`.
    """
    judged = judge_steam(log, criteria, sensors)
    why = {None: NO_SHEET, "even": "", "uneven": "it did not change all over as its IFU shows: air was left, or gas came with the steam"}[
        indicator
    ]
    read = evidence("indicator", "test sheet or helix", why, verdict="unfit" if indicator == "uneven" else "unproven")
    return Judgement(
        judged.criteria_id, judged.criteria_name, (read, *judged.outcomes), judged.values, judged.phases, judged.remarks, judged.cannot_show
    )
