"""The faults that a cycle's record may carry, each made where it arises: in the steam, in the load, in a sensor, in the recorder."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fettlebook.demo.heat.chamber import Run
from fettlebook.demo.heat.program import PROGRAMS, Machine, Program, Sensing
from fettlebook.demo.heat.record import TEMPERATURES, MadeLog, recorded

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Fault:
    """`words` say what is wrong. `may_pass`: the load is as it should be, or no chamber reading can show it."""

    words: str
    may_pass: bool
    make: Callable[[Program, Machine, Rng, int], MadeLog]


def make_log(fault: str, seed: int, program: str = "134") -> MadeLog:
    """Return one invented log.

    Parameters
    ----------
    fault
        A name of `FAULTS`; `good` for none.
    seed
        Says everything that is left to chance; the same seed gives the same log.
    program
        A name of `PROGRAMS`.
    """
    rng = np.random.default_rng([seed, sorted(FAULTS).index(fault)])
    machine = Machine(
        ambient_kpa=float(rng.uniform(88.0, 103.0)),
        pump_s=float(rng.uniform(30.0, 46.0)),
        steam_kpa_min=float(rng.uniform(80.0, 120.0)),
        wall_c=float(rng.uniform(114.0, 121.0)),
        load_lag_s=float(rng.uniform(2.5, 5.0)),
        standby_s=float(rng.uniform(10.0, 60.0)),
        ripple_k=float(rng.uniform(0.1, 0.3)),
    )
    base = PROGRAMS[program]
    setting = replace(base, set_c=base.set_c + float(rng.uniform(-0.2, 0.3)), hold_s=base.hold_s + float(rng.uniform(0.0, 30.0)))
    return replace(FAULTS[fault].make(setting, machine, rng, seed), fault=fault)


def _plain(program: Program, machine: Machine, rng: Rng, seed: int, *, sensing: Sensing | None = None, stop_in: str = "") -> MadeLog:
    return recorded(Run(program, machine).whole(stop_in), sensing or Sensing(), rng, fault="", seed=seed)


def _hold_least(program: Program) -> float:
    return {"134": 180.0, "121": 900.0}[program.name]  # the shortest hold of the band: steam.md, section 4


def _short(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(replace(program, hold_s=_hold_least(program) * float(rng.uniform(0.3, 0.9))), machine, rng, seed)


def _dip(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    half = program.hold_s / 2.0
    return _plain(program, replace(machine, steam_lost=(half * float(rng.uniform(0.8, 1.1)), float(rng.uniform(25.0, 40.0)))), rng, seed)


def _hot(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(replace(program, set_c=program.set_c + float(rng.uniform(4.0, 7.0))), machine, rng, seed)


def _air(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    """Evacuations that fail leave air mixed with the steam: the pressure is reached, the temperature isn't."""
    log = Run(replace(program, lows_kpa=(float(rng.uniform(45.0, 62.0)),), highs_kpa=()), machine)
    return recorded(log.whole(), Sensing(), rng, fault="", seed=seed)


def _gas(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(program, replace(machine, gas_share=float(rng.uniform(0.12, 0.25))), rng, seed)


def _superheat(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    k = float(rng.uniform(4.0, 7.0))
    return _plain(replace(program, set_c=program.set_c - 1.0), replace(machine, superheat_k=k), rng, seed)


def _offset(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    name, k = str(rng.choice(TEMPERATURES)), float(rng.uniform(3.5, 6.0)) * float(rng.choice([-1.0, 1.0]))
    return _plain(program, machine, rng, seed, sensing=Sensing(offset_k={name: k}))


def _drift(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    log = _plain(program, machine, rng, seed)
    rows = log.within("plateau")
    name, k = str(rng.choice(TEMPERATURES)), float(rng.uniform(4.0, 6.0)) * float(rng.choice([-1.0, 1.0]))
    column = log.columns[name].copy()
    column[rows] += np.linspace(0.0, k, rows.size)
    column[rows[-1] + 1 :] += k
    return replace(log, columns={**log.columns, name: np.round(column, 1)})


def _frozen(names: tuple[str, ...]) -> Callable[[Program, Machine, Rng, int], MadeLog]:
    def make(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
        log = _plain(program, machine, rng, seed)
        rows = log.within("plateau")
        name = str(rng.choice(names))
        column = log.columns[name].copy()
        first = int(rows[0]) + int(rng.integers(12, 25))
        column[first:] = column[first]
        return replace(log, columns={**log.columns, name: column})

    return make


def _spread(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(program, machine, rng, seed, sensing=Sensing(offset_k={"load_c": -float(rng.uniform(3.0, 5.0))}))


def _gap(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    log = _plain(replace(program, hold_s=_hold_least(program) * 1.2), machine, rng, seed)
    rows = log.within("plateau")
    gone = rng.uniform(0.25, 0.45) * rows.size
    first = int(rows[0] + rng.uniform(0.35, 0.5) * rows.size)
    keep = np.ones(log.time_s.size, bool)
    keep[first : first + int(gone)] = False
    return log.keep(keep)


def _clock(back: bool) -> Callable[[Program, Machine, Rng, int], MadeLog]:
    def make(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
        shorter = replace(program, hold_s=_hold_least(program) * float(rng.uniform(0.5, 0.85)))
        log = _plain(program if back else shorter, machine, rng, seed)
        rows = log.within("plateau")
        at = int(rows[0] + rng.uniform(0.3, 0.7) * rows.size)
        jump = float(rng.uniform(90.0, 900.0))
        time = log.time_s.copy()
        time[at:] += -jump if back else jump
        return replace(log, time_s=time)

    return make


def _pulses(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    n = int(rng.integers(1, 3))
    # deep, so that little mixed air is left: only the count shows it
    return _plain(replace(program, lows_kpa=tuple([2.5] * n), highs_kpa=program.highs_kpa[: n - 1]), machine, rng, seed)


def _shallow(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    low = float(rng.uniform(35.0, 60.0))
    return _plain(replace(program, lows_kpa=tuple([low] * len(program.lows_kpa))), machine, rng, seed)


def _late(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    """The load lags far behind the chamber: packs too dense, or water in a hollow."""
    longer = replace(program, hold_s=program.hold_s + 240.0)
    return _plain(longer, replace(machine, load_lag_s=float(rng.uniform(30.0, 60.0))), rng, seed)


def _stopped(phase: str) -> Callable[[Program, Machine, Rng, int], MadeLog]:
    return lambda program, machine, rng, seed: _plain(program, machine, rng, seed, stop_in=phase)


def _wrong_program(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    other = "121" if program.name == "134" else "134"
    return replace(_plain(PROGRAMS[other], machine, rng, seed), program=program.name)


def _unit(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    """The headings promise kPa absolute and degrees Celsius; the figures are something else."""
    log = _plain(program, machine, rng, seed)
    columns = dict(log.columns)
    which = int(rng.integers(0, 4))
    if which == 0:
        columns["pressure_kpa"] = columns["pressure_kpa"] - log.ambient_kpa
    elif which == 1:
        columns["pressure_kpa"] = columns["pressure_kpa"] / 100.0
    elif which == 2:
        columns["pressure_kpa"] = columns["pressure_kpa"] / 6.894757
    else:
        columns |= {name: columns[name] * 1.8 + 32.0 for name in TEMPERATURES}
    return replace(log, columns=columns)


def _power(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    """Nothing is written for minutes of the plateau; the clock has gone on, and the chamber has cooled meanwhile."""
    log = _plain(program, replace(machine, steam_lost=(program.hold_s * 0.4, 60.0)), rng, seed)
    rows = log.within("plateau")
    first = int(rows[0] + 0.42 * rows.size)
    keep = np.ones(log.time_s.size, bool)
    keep[first : first + 70] = False
    return log.keep(keep)


def _two(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    first, second = _plain(program, machine, rng, seed), _plain(program, machine, rng, seed)
    time = np.r_[first.time_s, first.time_s[-1] + 60.0 + second.time_s]
    columns = {name: np.r_[first.columns[name], second.columns[name]] for name in first.columns}
    return replace(first, time_s=time, columns=columns, phase=(*first.phase, *second.phase))


def _truncated(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    log = _plain(program, machine, rng, seed)
    rows = log.within("plateau")
    return log.keep(np.arange(int(rows[0] + rng.uniform(0.2, 0.95) * rows.size)))


def _empty(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(program, machine, rng, seed).keep(np.zeros(0, np.intp))


def _wet(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(replace(program, dry_s=float(rng.choice([0.0, 30.0, 60.0]))), machine, rng, seed)


def _slow(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(program, replace(machine, steam_kpa_min=machine.steam_kpa_min * 0.35), rng, seed)


def _standby(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    log = _plain(program, replace(machine, standby_s=36_000.0), rng, seed, sensing=Sensing(every_s=1.0))
    rest = log.within("standby")
    return log.keep(np.r_[rest[::30], np.arange(int(rest[-1]) + 1, log.time_s.size)])


def _seldom(program: Program, machine: Machine, rng: Rng, seed: int) -> MadeLog:
    return _plain(program, machine, rng, seed, sensing=Sensing(every_s=2.0))


FAULTS: Final[dict[str, Fault]] = {
    "good": Fault("nothing", True, _plain),
    "good, 10 h of standby before": Fault("nothing; the log begins in the night", True, _standby),
    "good, read every 2 s": Fault("nothing; fewer readings", True, _seldom),
    "slow heat-up": Fault("the boiler is furred: heating takes long", True, _slow),
    "short hold": Fault("hold shorter than the band asks", False, _short),
    "dip": Fault("steam lost for half a minute: below the band", False, _dip),
    "overheat": Fault("above the band", False, _hot),
    "air left": Fault("evacuation failed: air mixed with the steam", False, _air),
    "gas with the steam": Fault("non-condensable gas comes in during the hold", False, _gas),
    "superheat": Fault("steam hotter than its pressure", False, _superheat),
    "sensor off": Fault("one temperature sensor reads wrong", False, _offset),
    "sensor drifts": Fault("one temperature sensor drifts during the hold", False, _drift),
    "sensor stuck": Fault("one temperature sensor stays where it was", False, _frozen(TEMPERATURES)),
    "pressure stuck": Fault("the pressure reading stays where it was", False, _frozen(("pressure_kpa",))),
    "spread": Fault("the load's sensor lies far below the others", False, _spread),
    "readings missing": Fault("part of the hold was not written", False, _gap),
    "clock set back": Fault("the recorder's clock was set back during the hold", False, _clock(True)),
    "clock set forward": Fault("a short hold made to look long by the clock", False, _clock(False)),
    "pulses missing": Fault("fewer evacuations than the program has", False, _pulses),
    "pulses shallow": Fault("evacuations not deep enough", False, _shallow),
    "late equilibration": Fault("the load reaches the temperature long after the chamber", False, _late),
    "stopped heating": Fault("given up while heating", False, _stopped("heating")),
    "stopped in the plateau": Fault("given up during the hold", False, _stopped("plateau")),
    "stopped drying": Fault("given up while drying", False, _stopped("drying")),
    "wrong program": Fault("another program ran than was declared", False, _wrong_program),
    "wrong unit": Fault("gauge, bar, psi or degrees Fahrenheit under another heading", False, _unit),
    "power lost": Fault("no power for part of the hold", False, _power),
    "two cycles in a file": Fault("two cycles in one file", False, _two),
    "ends in the plateau": Fault("the file ends during the hold", False, _truncated),
    "empty": Fault("no reading", False, _empty),
    "wet load": Fault("hardly any drying", False, _wet),
}
