"""Invented days of any size for the benchmarks: the same manner as the six instances, sets plentiful or scarce.

Nine visits a chair with gaps of 5 to 20 minutes and one longer pause; one person for three chairs in two shifts; a
washer for eight chairs, a sterilizer for five. All of it is invented.
"""

import random
from collections import Counter

from fettlebook.plan.instance import Chair, Instance, Machine, Person, Reprocess, SetType, Step, Visit

VISITS_A_CHAIR = 9
KINDS = (("exam", 0.47), ("filling", 0.36), ("root canal", 0.1), ("surgical", 0.07))
OWNED = {"plentiful": 0.6, "scarce": 0.4}  # share of the day's uses that is owned
START, END = 420, 1260


def invented_day(visits: int, sets: str, seed: int = 1) -> Instance:
    """Return a day of about so many visits; `sets` is `plentiful` or `scarce`."""
    draw = random.Random(f"{visits} {seed}")
    chairs = max(1, round(visits / VISITS_A_CHAIR))
    booked = [v for c in range(chairs) for v in _chair_visits(draw, c + 1, visits // chairs + (c < visits % chairs))]
    uses = Counter(t for v in booked for t in v.uses)
    return Instance(
        name=f"{visits}-{sets}",
        day_start=START,
        day_end=END,
        people=tuple(_person(k) for k in range(max(2, round(chairs / 3)))),
        chairs=tuple(_chair(f"chair {c + 1}") for c in range(chairs)),
        visits=tuple(booked),
        set_types=tuple(SetType(id=t, owned=max(1, round(uses[t] * OWNED[sets]))) for t, _ in KINDS),
        washers=tuple(Machine(id=f"washer {k + 1}", capacity=12, minutes=45, not_before=450) for k in range(max(1, round(chairs / 8)))),
        sterilizers=tuple(
            Machine(id=f"sterilizer {k + 1}", capacity=8, minutes=40, not_before=470) for k in range(max(1, round(chairs / 5)))
        ),
        reprocess=Reprocess(load_minutes=2, unload_minutes=2, pack_minutes=3, cool_minutes=10),
    )


def _chair_visits(draw: random.Random, chair: int, n: int) -> list[Visit]:
    at, out = draw.choice((480, 480, 490, 495, 500)), []
    pause = draw.randrange(3, 6)
    for k in range(n):
        minutes = draw.choices((15, 20, 30, 40, 45, 60), (11, 18, 28, 15, 15, 13))[0]
        kind = draw.choices([t for t, _ in KINDS], [w for _, w in KINDS])[0]
        uses = {kind: 1}
        if kind == "surgical" and draw.random() < 0.5:
            uses["exam"] = 1
        weight = 2 if draw.random() < 0.25 else 1
        out.append(Visit(id=f"{chair}-{k + 1}", chair=f"chair {chair}", booked=at, minutes=minutes, uses=uses, weight=weight))
        gap = draw.randrange(40, 90, 5) if k + 1 == pause else draw.choices((5, 10, 15, 20), (18, 40, 23, 19))[0]
        at += minutes + gap
    return out


def _person(k: int) -> Person:
    first = 435 if k % 2 == 0 else 480
    rest = (700, 720, 740, 760)[k % 4]
    return Person(id=f"person {k + 1}", from_=first, to=first + (600 if k % 2 == 0 else 660), breaks=((rest, rest + 30),))


def _chair(name: str) -> Chair:
    def step(what: str, minutes: int, attended: bool = True) -> Step:
        return Step(name=what, minutes=minutes, attended=attended)

    return Chair(
        id=name,
        opening=(step("covers", 3), step("first flush", 4, False), step("check", 2)),
        turnover=(step("clear", 2), step("wipe", 2), step("wet contact and line flush", 3, False), step("lay out", 2)),
        closing=(step("clear", 3), step("connect", 3), step("fill, contact, rinse", 24, False), step("finish", 3)),
    )
