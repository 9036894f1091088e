"""One door for all kinds of cycle: the criteria say which one it is."""

from fettlebook.science.cycles.air_removal_test import Indicator, judge_air_removal_test
from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.leak_test import judge_leak_test
from fettlebook.science.cycles.load_types import LoadForm
from fettlebook.science.cycles.log import CycleLog, Sensors
from fettlebook.science.cycles.outcome import Judgement
from fettlebook.science.cycles.steam_cycle import judge_steam
from fettlebook.science.cycles.washer import judge_washer


def judge_cycle(
    log: CycleLog,
    criteria: Criteria,
    sensors: Sensors | None = None,
    *,
    load: LoadForm | None = None,
    indicator: Indicator | None = None,
) -> Judgement:
    """Judge a cycle by its kind of criteria; see the judge of each kind for what it takes and says.

    `load` counts for steam cycles, `indicator` for air-removal tests; elsewhere they are not looked at.
    """
    if criteria.kind == "washer":
        return judge_washer(log, criteria, sensors)
    if criteria.kind == "leak test":
        return judge_leak_test(log, criteria, sensors)
    if criteria.kind == "air-removal test":
        return judge_air_removal_test(log, criteria, sensors, indicator)
    return judge_steam(log, criteria, sensors, load)
