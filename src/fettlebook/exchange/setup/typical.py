"""Typical values of a chair's lines, offered where nobody knows better; each is marked in the file as typical, not measured.

Sources
-------
[T] Hoses, flows and filters as they are commonly met in dental units, without any maker's; bores on the wide, lengths on the long
    and flows on the low side of the usual, so that a time errs long. practice
"""

from typing import Final

# kind of outlet -> bore [mm] and length [m] of its hose, flow as in use [mL/min]  [T]
OUTLETS: Final[dict[str, tuple[float, float, float]]] = {
    "turbine": (1.6, 2.2, 40.0),
    "motor": (1.6, 2.2, 40.0),
    "scaler": (1.6, 2.2, 30.0),
    "syringe": (2.0, 2.0, 80.0),
    "cup filler": (4.0, 1.2, 600.0),
    "bowl rinse": (4.0, 1.2, 1000.0),
    "other": (2.0, 2.0, 40.0),
}
FEED: Final = (4.0, 1.5)  # from the supply to the block [mm, m]  [T]
BLOCK: Final = (3.0, 0.4)  # through the block to the hoses  [T]
SUCTION: Final = {"high volume": (16.0, 1.8), "saliva ejector": (8.0, 1.8)}  # [T]
BOTTLE_ML: Final = "1000"  # [T]
COLDEST_C: Final = "10"  # of water from the tap in winter  [T]
AROUND_MINUTES: Final = "3, 3, 3, 15"  # load, unload, pack one, cool  [T]
WARM_UP_MINUTES: Final = "15"  # [T]
# test of a sterilizer or washer -> name, how often, minutes with and without a person  [T]
TESTS: Final[dict[str, tuple[str, str, int, int]]] = {
    "daily steam": ("air-removal test and automatic control test", "day", 3, 25),
    "leak": ("leak test", "week", 2, 15),
    "daily look": ("strainers, spray arms, load", "day", 4, 0),
    "protein": ("protein residue on a washed instrument", "week", 10, 0),
}
VISITS_A_DAY: Final = 8  # of a chair, where no appointment book was read  [T]
