"""A small practice as its own TOML text, with room for what a test changes."""

SMALL = """
schema = 1
[practice]
id = "small"
name = "Small practice (invented)"
time_zone = "Europe/London"
rulebooks = {packs}
water_temperature_c = 10.0
invented = true
[[opening]]
days = ["mon"]
from = 08:00:00
to = 17:00:00
[[rooms]]
id = "room"
name = "Room"
[[chairs]]
id = "chair 1"
room = "room"
amalgam = {amalgam}
supply = {supply}
segments = [{{ id = "hose", bore_mm = 2.0, length_m = 2.0 }}]
outlets = [{{ id = "syringe", kind = "syringe", from = "hose", flow_ml_min = 100.0, measured_on = 2026-11-02 }}]
suction = [{{ id = "hv", kind = "high volume", bore_mm = 16.0, length_m = 1.8 }}]
[[machines]]
id = "washer 1"
kind = "washer"
room = "room"
capacity_places = 8
cycles = [{{ id = "wash", minutes = 45, type = "wash" }}]
day_cycle = "wash"
[[machines]]
id = "sterilizer 1"
kind = "sterilizer"
room = "room"
capacity_places = 6
cycles = [{{ id = "wrapped", minutes = 45, type = "B" }}]
day_cycle = "wrapped"
[[sets]]
id = "exam"
name = "Exam set"
owned = 4
[reprocessing]
load_minutes = 3
unload_minutes = 3
pack_minutes = 3
cool_minutes = 12
[[people]]
id = "ana"
name = "Ana"
skills = ["chairs", "instruments", "release", "lead"]
shifts = [{{ days = ["mon"], from = 08:00:00, to = 17:00:00 }}]
[[products]]
id = "line product"
name = "Line product (invented)"
active = "{active}"
{ph}
uses = [{{ use = "line intensive", strength = 3.0, strength_unit = "% w/v", contact_s = 600, temperature_c = [10.0, 30.0] }}]
[[products]]
id = "suction product"
name = "Suction product (invented)"
active = "quaternary ammonium"
ph = [6.5, 7.5]
uses = [{{ use = "suction", strength = 2.0, strength_unit = "% w/v", contact_s = 900, temperature_c = [10.0, 30.0] }}]
[in_use]
{in_use}
suction = "suction product"
[[visit_kinds]]
id = "exam"
name = "Exam"
uses = {{ exam = 1 }}
[calendar]
default_visit_kind = "exam"
rules = [{{ property = "calendar", equals = "Book", chair = "chair 1" }}]
{own}
"""


def small_practice_text(
    *packs: str,
    own: str = "",
    amalgam: str = "false",
    supply: str = '{ kind = "bottle", bottle_ml = 1000.0 }',
    active: str = "hydrogen peroxide",
    ph: str = "ph = [3.5, 4.5]",
    in_use: str = 'line_intensive = "line product"',
) -> str:
    """Give the TOML text of a small practice."""
    listed = "[" + ", ".join(f'"{pack}"' for pack in dict.fromkeys(("general", *packs))) + "]"
    return SMALL.format(packs=listed, own=own, amalgam=amalgam, supply=supply, active=active, ph=ph, in_use=in_use)
