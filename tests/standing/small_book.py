"""A small invented practice, and its book written as text: one line an entry, duties written out step by step."""

import re
import tomllib
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from zoneinfo import ZoneInfo

from fettlebook.book.entries import VERSION, Entry, entry_of
from fettlebook.book.kinds import KINDS, subjects_of, to_ms
from fettlebook.book.received import Received, seal
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.rules.model import Rulebook
from fettlebook.standing.standings import Standings, View, fold
from fettlebook.times.model import RunningTime
from fettlebook.times.running import running_times

ZONE = ZoneInfo("Europe/London")

PRACTICE = """
schema = 1
opening = [{ days = ["mon", "tue", "wed", "thu", "fri"], from = 08:30:00, to = 17:30:00 }]
rooms = [{ id = "room 1", name = "Treatment room 1" }]
visit_kinds = [{ id = "exam", name = "Examination", uses = { exam = 1 } }]

[practice]
id = "small"
name = "Small practice (invented)"
time_zone = "Europe/London"
rulebooks = ["general", "uk"]
water_temperature_c = 12.0
invented = true

[[chairs]]
id = "1"
room = "room 1"
supply = { kind = "bottle", bottle_ml = 1500.0 }
segments = [{ id = "hose", bore_mm = 1.6, length_m = 2.0 }, { id = "second hose", bore_mm = 1.6, length_m = 2.0 }]
outlets = [
  { id = "turbine", kind = "turbine", from = "hose", flow_ml_min = 60.0, measured_on = 2026-01-02 },
  { id = "syringe", kind = "syringe", from = "second hose", flow_ml_min = 60.0, measured_on = 2026-01-02 },
]

[[machines]]
id = "washer"
kind = "washer"
room = "room 1"
capacity_places = 6
cycles = [{ id = "wash", minutes = 40, type = "wash" }]
day_cycle = "wash"

[[machines]]
id = "steam"
kind = "sterilizer"
room = "room 1"
capacity_places = 6
cycles = [{ id = "wrapped", minutes = 40, type = "B" }]
day_cycle = "wrapped"
tests = [{ id = "daily", name = "air-removal test", every = "day", attended_minutes = 3, unattended_minutes = 20 }]

[[sets]]
id = "exam"
name = "Examination set"
owned = 2

[reprocessing]
load_minutes = 3
unload_minutes = 3
pack_minutes = 3
cool_minutes = 12

[[people]]
id = "ana"
name = "Ana"
skills = ["chairs", "instruments", "release", "lead"]
shifts = [{ days = ["mon", "tue", "wed", "thu", "fri"], from = 07:30:00, to = 16:30:00 }]

[[people]]
id = "ben"
name = "Ben"
skills = ["chairs", "instruments"]
shifts = [{ days = ["mon", "tue", "wed", "thu", "fri"], from = 07:30:00, to = 16:30:00 }]

[[people]]
id = "cai"
name = "Cai"
skills = ["instruments", "release"]
shifts = [{ days = ["mon", "tue", "wed", "thu", "fri"], from = 07:30:00, to = 16:30:00 }]

[[products]]
id = "h2o2"
name = "Line disinfectant (invented)"
active = "hydrogen peroxide"
shelf_open_days = 90
[[products.uses]]
use = "line intensive"
strength = 3.0
strength_unit = "% w/v"
contact_s = 600
temperature_c = [10.0, 30.0]
residual_limit_mg_l = 10.0

[[products]]
id = "wipes"
name = "Surface wipes (invented)"
active = "alcohol-free quaternary ammonium"
shelf_open_days = 90
uses = [{ use = "surfaces", strength_unit = "ready to use", contact_s = 120, temperature_c = [5.0, 35.0] }]

[in_use]
line_intensive = "h2o2"
surfaces = "wipes"

[calendar]
default_visit_kind = "exam"
rules = [{ property = "location", equals = "Treatment room 1", chair = "1" }]
"""


@dataclass(frozen=True)
class Ground:
    """A practice with its rulebook and running times."""

    practice: Practice
    rulebook: Rulebook
    times: tuple[RunningTime, ...]

    def fold(self, entries: list[Received]) -> Standings:
        return fold(entries, self.practice, self.rulebook, self.times)


@cache
def ground(text: str = PRACTICE) -> Ground:
    loaded = read_practice(text.encode(), "practice.toml")
    assert loaded.practice is not None, [str(finding) for finding in loaded.errors]
    rulebook = load_rulebook(loaded.practice)
    return Ground(loaded.practice, rulebook, running_times(loaded.practice, rulebook))


def moment(text: str) -> int:
    """Return the ms of `2026-03-02 08:00` on the small practice's wall clock; `(second)` behind it means the later of two."""
    naive = datetime.fromisoformat(text.removesuffix("(second)").strip())
    return to_ms(naive.replace(tzinfo=ZONE, fold=int(text.endswith("(second)"))))


LINE = re.compile(
    r"(?P<at>\S+ \S+?)(?: \((?P<late>[^)]+)\))? (?P<by>\w+)(?:@(?P<device>[\w-]+))? (?P<kind>[\w.]+)"
    r"(?: <(?P<refers>\w+)>)? (?P<data>\{.*\})(?: = (?P<name>\w+))?"
)
Who = tuple[str, str, int]  # person, device, how much later it is received [ms]
SPAN = {"m": 1, "h": 60, "d": 1440}


class Book:
    """Entries written as text: `2026-03-02 07:00 ana step.done {...}`.

    `(5h)` behind the time: received so much later. `@tablet-2`: from that device. `= name` behind it names the entry, `<name>` refers
    to it. `duty {duty=..., chair=...}` writes a duty out, each unattended step as long
    as it must run.
    """

    def __init__(self, text: str = "", on: Ground | None = None) -> None:
        self.on = on or ground()
        self.made: list[tuple[int, Entry, int]] = []
        self.names: dict[str, str] = {}
        self.counts: dict[str, int] = {}
        self.write(text)

    def write(self, text: str) -> "Book":
        for line in filter(None, (line.strip() for line in text.splitlines())):
            found = LINE.fullmatch(line)
            assert found, line
            data = tomllib.loads(f"x = {found['data']}")["x"]
            at, by, device = moment(found["at"]), found["by"], found["device"] or "tablet-1"
            late = found["late"]
            delay = int(late[:-1]) * SPAN[late[-1]] * 60_000 if late else 100
            if found["kind"] == "duty":
                self._duty(at, (by, device, delay), **data)
            else:
                entry = self.add(found["kind"], (by, device, delay), at, data, refers=found["refers"])
                if found["name"]:
                    self.names[found["name"]] = entry.id
        return self

    def add(self, kind: str, who: Who, at: int, data: dict[str, object], refers: str | None = None) -> Entry:
        by, device, delay = who
        n = self.counts[device] = self.counts.get(device, 0) + 1
        number = len(self.made) + 1
        model = KINDS[kind].model_validate(data)
        fields = {
            "v": VERSION, "id": f"01900000-0000-7000-8000-{number:012x}", "kind": kind, "at": at, "zone": "Europe/London",
            "mono": {"session": f"{device} s", "ms": at - 1_600_000_000_000}, "device": device, "n": n, "by": by,
            "subjects": subjects_of(model), "data": data,
        }  # fmt: skip
        if refers:
            fields["refers_to"] = self.names[refers]
        entry = entry_of(fields)
        self.made.append((at + delay, entry, number))
        return entry

    def _duty(self, at: int, who: Who, *, duty: str, chair: str | None = None, machine: str | None = None, **but: list[str]) -> None:
        found = next(d for d in self.on.rulebook.duties if d.id == duty)
        of_chair = next((c for c in self.on.practice.chairs if c.id == chair), None)
        for step in found.steps_on(of_chair) if of_chair else found.steps:
            time = next((t for t in self.on.times if (t.chair, t.duty_id, t.step_id) == (chair, duty, step.id)), None)
            seconds = (time.seconds if time else None) or 60
            data: dict[str, object] = {"duty": duty, "step": step.id}
            if of_chair is not None:
                data["chair"] = of_chair.id
                if step.outlets != "none":
                    data["outlets"] = [o.id for o in of_chair.outlets]
            if machine is not None:
                data["machine"] = machine
            if step.id in but.get("leave_out", []):
                continue
            if not step.attended:
                self.add("step.started", who, at, data)
            at += 1000 * (seconds // 2 if step.id in but.get("short", []) else seconds)
            done = {**data, "outcome": "done"}
            if "strip reading" in step.evidence:
                done["readings"] = {"strip_mg_l": 30_000 if step.id.endswith("strip_feed") and step.id not in but.get("weak", []) else 3}
            self.add("step.done", who, at, done)

    def received(self, *, without: frozenset[str] = frozenset(), renumber: bool = False) -> list[Received]:
        """Return the entries in the order of receipt; those left out leave a gap in their device's counter, unless it is renumbered."""
        out: list[Received] = []
        last, counts = 0, dict[str, int]()
        for comes, entry, _ in sorted(self.made, key=lambda made: (made[0], made[2])):
            if entry.id in without:
                continue
            if renumber:
                n = counts[entry.device] = counts.get(entry.device, 0) + 1
                entry = entry.model_copy(update={"n": n})  # noqa: PLW2901
            last = max(comes, last + 1)
            leaf = seal(entry.encode(), seq=len(out) + 1, received=last, offset=0, via=entry.device)
            out.append(Received(len(out) + 1, last, 0, entry.device, entry, leaf))
        return out

    def at(self, text: str, known: str | None = None) -> View:
        return self.on.fold(self.received()).as_of(moment(text), moment(known or text))

    def now(self, text: str) -> View:
        """Return the view of a moment by all that is in the book."""
        return self.on.fold(self.received()).as_of(moment(text), 1 << 60)


READY = """
2026-03-02 05:00 ana product.opened {product="h2o2", lot="A1"}
2026-03-02 05:00 ana product.opened {product="wipes", lot="B1"}
2026-03-02 05:01 ana sample.taken {sample="W1", what="water", chair="1", outlets=["turbine"], neutralised=true}
2026-03-02 05:02 ana duty {duty="chair.long_still", chair="1"}
2026-03-02 05:50 ana duty {duty="chair.first", chair="1"}
2026-03-09 04:00 ana sample.result {sample="W1", quantity="water count", value=40, value_unit="CFU/mL", chair="1", outlets=["turbine"]}
2026-03-09 04:10 ana duty {duty="practice.weekly"}
2026-03-09 05:00 ana duty {duty="sterilizer.first", machine="steam"}
2026-03-09 05:05 ana duty {duty="sterilizer.weekly", machine="steam"}
2026-03-09 05:06 ana duty {duty="washer.first", machine="washer"}
2026-03-09 05:07 ana duty {duty="washer.weekly", machine="washer"}
2026-03-09 05:10 ana machine.test {machine="steam", test="daily", outcome="passed"}
2026-03-09 05:20 ana duty {duty="chair.long_still", chair="1"}
2026-03-09 06:10 ana duty {duty="chair.first", chair="1", leave_out=["first.flush_start", "first.flush", "first.flush_stop"]}
2026-03-09 06:30 ana duty {duty="chair.weekly", chair="1"}
"""  # a Monday morning after a week of closure: everything is done once, the chair is fit at 08:00
