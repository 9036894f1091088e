"""A small invented practice: each test writes the part that it is about as TOML, the rest is here."""

import json
import tomllib

from fettlebook.practice.model import Practice
from fettlebook.rules.model import Computed, Duty, Origin, Rulebook, Step, Subject, When

REST = """
schema = 1

[practice]
id = "small"
name = "Small practice (invented)"
time_zone = "Europe/London"
rulebooks = ["general"]
water_temperature_c = 12.0
invented = true

[[opening]]
days = ["mon"]
from = 08:30:00
to = 17:30:00

[[rooms]]
id = "room 1"
name = "Treatment room 1"

[[people]]
id = "ana"
name = "Ana"
skills = ["chairs", "instruments", "release", "lead"]
shifts = [{ days = ["mon"], from = 07:30:00, to = 16:30:00 }]

[reprocessing]
load_minutes = 3
unload_minutes = 3
pack_minutes = 3
cool_minutes = 12

[[visit_kinds]]
id = "exam"
name = "Examination"
uses = {}

[calendar]
rules = [{ property = "location", equals = "Treatment room 1", chair = "chair 1" }]
"""

ONE_HOSE = """
[[chairs]]
id = "chair 1"
room = "room 1"
supply = { kind = "bottle", bottle_ml = 1500.0 }
segments = [{ id = "hose", bore_mm = 1.6, length_m = 2.0 }]
outlets = [{ id = "turbine", kind = "turbine", from = "hose", flow_ml_min = 50.0, measured_on = 2026-11-02 }]
suction = [{ id = "high volume", kind = "high volume", bore_mm = 16.0, length_m = 1.8 }]
"""

PEROXIDE = """
[in_use]
line_intensive = "peroxide"
suction = "suction care"
surfaces = "wipes"

[[products]]
id = "peroxide"
name = "Peroxide 3 % (invented)"
active = "hydrogen peroxide"
hazards = ["irritates eyes"]
wear = ["gloves", "eye protection"]
label_ref = "invented label"
[[products.uses]]
use = "line intensive"
strength = 3.0
strength_unit = "% w/v"
contact_s = 600
temperature_c = [10.0, 30.0]
residual_limit_mg_l = 10.0
rinse_s = 120

[[products]]
id = "suction care"
name = "Suction care (invented)"
active = "quaternary ammonium"
uses = [{ use = "suction", strength = 2.0, strength_unit = "% w/v", contact_s = 900, temperature_c = [10.0, 30.0] }]

[[products]]
id = "wipes"
name = "Wipes (invented)"
active = "quaternary ammonium"
uses = [{ use = "surfaces", strength_unit = "ready to use", contact_s = 120, temperature_c = [15.0, 35.0] }]
"""

NO_PRODUCT = "[in_use]\n"


def read_small(*parts: str) -> Practice:
    """Return the practice that these pieces of TOML make together with the rest above."""
    data = tomllib.loads("\n".join((REST, *parts)))
    return Practice.model_validate_json(json.dumps(data, default=str))


FLOOR = Origin("general", "test.floor", "floor of this test", "secondary", "guidance")


def step(computes: Computed | None, seconds: float | None = None, **more: object) -> Step:
    """Return a step of a hand-made rulebook."""
    form: dict[str, object] = {
        "id": f"duty.{computes or 'step'}",
        "name": str(computes or "step"),
        "attended": False,
        "length": "computed" if computes else "fixed",
        "seconds": seconds,
        "computes": computes,
        "outlets": "all",
        "handpieces": "either",
        "medium": "water",
        "evidence": (),
        "caution": "",
        "origin": FLOOR,
    }
    return Step(**(form | more))  # type: ignore[arg-type]


def rulebook(*steps: Step, when: When = When.BEFORE_FIRST_VISIT, limits: tuple = ()) -> Rulebook:
    """Return a rulebook with one duty of a chair."""
    return Rulebook(("general",), (Duty("duty", "Duty of this test", Subject.CHAIR, when, steps, FLOOR),), limits)
