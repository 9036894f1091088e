"""A small practice file in order, and a way to spoil one thing in it."""

from collections.abc import Callable

import pytest

from fettlebook.errors import Finding
from fettlebook.practice.load import Loaded, read_practice

SMALL = """\
schema = 1

[practice]
id = "small"
name = "Small Practice"
time_zone = "Europe/Berlin"
rulebooks = ["general"]
water_temperature_c = 12.0

[[opening]]
days = ["mon", "tue"]
from = 08:00:00
to = 12:00:00

[[rooms]]
id = "room 1"
name = "Room 1"

[[rooms]]
id = "clean"
name = "Instruments"

[[chairs]]
id = "chair 1"
room = "room 1"
run_together = [["turbine", "syringe"]]
supply = { kind = "bottle", bottle_ml = 1000.0 }
segments = [
  { id = "feed", bore_mm = 4.0, length_m = 1.0 },
  { id = "turbine hose", from = "feed", bore_mm = 1.6, length_m = 2.0 },
  { id = "syringe hose", from = "tank", bore_mm = 2.0, length_m = 1.8 },
]
stirred = [{ id = "tank", from = "feed", volume_ml = 25.0 }]
outlets = [
  { id = "turbine", kind = "turbine", from = "turbine hose", flow_ml_min = 50.0, measured_on = 2026-11-02 },
  { id = "syringe", kind = "syringe", from = "syringe hose", flow_ml_min = 110.0, measured_on = 2026-11-02 },
]
suction = [{ id = "high volume", kind = "high volume", bore_mm = 16.0, length_m = 1.8 }]

[[machines]]
id = "washer 1"
kind = "washer"
room = "clean"
capacity_places = 8
cycles = [{ id = "wash", minutes = 48, type = "wash" }]
day_cycle = "wash"

[[machines]]
id = "sterilizer 1"
kind = "sterilizer"
room = "clean"
capacity_places = 6
cycles = [{ id = "wrapped", minutes = 42, type = "B" }]
day_cycle = "wrapped"
tests = [{ id = "steam", name = "air-removal test", every = "day", attended_minutes = 3, unattended_minutes = 20 }]

[[sets]]
id = "exam"
name = "Examination set"
owned = 4

[reprocessing]
load_minutes = 3
unload_minutes = 3
pack_minutes = 3
cool_minutes = 12

[[people]]
id = "ana"
name = "Ana"
skills = ["chairs", "instruments", "release"]
shifts = [{ days = ["mon", "tue"], from = 07:30:00, to = 13:00:00, breaks = [[10:00:00, 10:15:00]] }]

[[products]]
id = "line care"
name = "Line care (invented)"
active = "hydrogen peroxide"
ph = [3.5, 4.5]
uses = [{ use = "line intensive", strength = 3.0, strength_unit = "% w/v", contact_s = 600, temperature_c = [10.0, 30.0] }]

[in_use]
line_intensive = "line care"

[[visit_kinds]]
id = "exam"
name = "Examination"
uses = { exam = 1 }

[calendar]
default_visit_kind = "exam"
rules = [
  { property = "location", equals = "Room 1", chair = "chair 1" },
  { property = "categories", equals = "Meeting", ignore = true },
]

[[measured]]
step = "between.clear"
minutes = 2.0
"""


@pytest.fixture
def small() -> str:
    return SMALL


@pytest.fixture
def spoil() -> Callable[..., Loaded]:
    """Read the small practice file with each `old` text, which must stand there once, replaced by the `new` one after it."""

    def read(*old_and_new: str) -> Loaded:
        text = SMALL
        for old, new in zip(old_and_new[::2], old_and_new[1::2], strict=True):
            assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
            text = text.replace(old, new)
        return read_practice(text.encode(), "practice.toml")

    return read


@pytest.fixture
def only(spoil: Callable[..., Loaded]) -> Callable[..., Finding]:
    """Spoil one thing and return the one finding that it gives."""

    def read(*old_and_new: str) -> Finding:
        found = spoil(*old_and_new).findings
        assert len(found) == 1, "\n".join(map(str, found))
        return found[0]

    return read
