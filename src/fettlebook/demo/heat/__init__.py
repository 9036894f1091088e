"""Invented cycle logs that obey physics: steam, air, walls, a load, sensors with lag and noise; and every fault a log should show.

Comes in: a program, a fault by name, a seed. Goes out: a `MadeLog` with what was really done, as arrays or CSV. All of it is invented;
none of its figures is a limit, and nothing that judges a log may be tuned to it.
"""

from fettlebook.demo.heat.faults import FAULTS, Fault, make_log
from fettlebook.demo.heat.program import PROGRAMS, Program
from fettlebook.demo.heat.record import MadeLog, as_csv

__all__ = ["FAULTS", "PROGRAMS", "Fault", "MadeLog", "Program", "as_csv", "make_log"]
