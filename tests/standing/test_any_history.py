"""Any entries at all, in any order, with any holes: no verdict fails to be made, and the past stays as it was known."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_book import Book, ground, moment

from fettlebook.errors import Mendable
from fettlebook.standing.due import due_duties
from fettlebook.standing.look_back import since_last_good, water_look_back
from fettlebook.standing.trace import trace

pytestmark = pytest.mark.invented

MINUTE = 60_000
BEGIN, END = moment("2026-03-07 00:00"), moment("2026-03-17 00:00")
STEPS = [(duty.id, step.id) for duty in ground().rulebook.duties for step in duty.steps]
WHEN = st.integers(BEGIN // MINUTE, END // MINUTE).map(lambda minute: minute * MINUTE)

outlets = st.sampled_from([None, [], ["turbine"], ["syringe"], ["turbine", "syringe"], ["gone"]])
units = st.lists(st.sampled_from(["exam#1", "exam#2", "other#9"]), unique=True, max_size=2)
visit = st.sampled_from(["v1", "v2", "v3"])
load = st.sampled_from(["l1", "l2", "l3"])
machine = st.sampled_from(["steam", "washer", "sold"])
chair = st.sampled_from(["1", "gone"])
said = st.sampled_from(["passed", "failed", "aborted"])
machine_said = st.sampled_from(["passed", "failed", "nothing"])
lot = st.sampled_from(["A", "B"])
product = st.sampled_from(["h2o2", "wipes", "unknown"])


def entry(kind: str, **fields: st.SearchStrategy[Any] | Any) -> st.SearchStrategy[tuple[str, dict[str, Any]]]:
    made = {name: value if isinstance(value, st.SearchStrategy) else st.just(value) for name, value in fields.items()}
    return st.fixed_dictionaries(made).map(lambda data: (kind, {name: value for name, value in data.items() if value is not None}))


step = st.sampled_from(STEPS)
place = st.sampled_from([{"chair": "1"}, {"chair": "1", "outlets": ["turbine", "syringe"]}, {"machine": "steam"}, {}])
begun = st.tuples(step, place, st.sampled_from([None, "r1", "r2"])).map(
    lambda drawn: ("step.started", {"duty": drawn[0][0], "step": drawn[0][1], **drawn[1], **({"run": drawn[2]} if drawn[2] else {})})
)
used = st.sampled_from(
    [{}, {}, {"product": "h2o2", "lot": "A"}, {"product": "wipes", "lot": "B"}, {"solution": "m1"}, {"readings": {"flushed_ml": 5}}]
)
done = st.tuples(begun, st.sampled_from(["done", "done", "broken off"]), st.sampled_from([None, 30, 300_000]), used).map(
    lambda drawn: (
        "step.done",
        {
            **drawn[0][1],
            "outcome": drawn[1],
            **({"lasted_wall_ms": drawn[2], "lasted_mono_ms": drawn[2]} if drawn[2] else {}),
            **drawn[3],
        },
    )
)
ENTRIES = st.one_of(
    begun,
    done,
    done,
    entry("visit.started", visit=visit, chair=chair, units=units, surgical=st.sampled_from([None, True]),
          product=st.sampled_from([None, "water"]), lot=st.sampled_from([None, "S1"]), use_by=st.sampled_from([None, "2026-03-09"])),
    entry("visit.ended", visit=visit, chair=chair, units=units, outlets=outlets),
    entry("pack.opened", pack="P1", unit=st.sampled_from([None, "exam#1"]), visit=visit, chair=chair),
    entry("load.packed", load=load, machine=machine, items=units.map(lambda some: [{"unit": unit, "pack": "P1"} for unit in some])),
    entry("cycle.recorded", load=st.one_of(st.none(), load), machine=machine, cycle="wrapped", said=machine_said),
    entry("load.released", load=load, meaning="released", dry=st.sampled_from([None, True, False]), indicators_turned=True),
    entry("load.rejected", load=load, meaning="recalled", reason="x", units=st.one_of(st.none(), units)),
    entry("machine.test", machine=machine, test=st.sampled_from(["daily", "spore test"]), outcome=said, ran_ms=st.one_of(st.none(), WHEN)),
    entry("sample.taken", sample=st.sampled_from(["W1", "W2"]), what="water", chair=chair, outlets=outlets),
    entry("sample.result", sample=st.sampled_from(["W1", "W2"]), quantity=st.sampled_from(["water count", "Legionella"]),
          value=st.integers(0, 2000), value_unit=st.sampled_from(["CFU/mL", "CFU/L", "fish"]), chair=st.one_of(st.none(), chair),
          mark=st.sampled_from([None, "above", "below"]), taken_ms=st.one_of(st.none(), WHEN)),
    entry("notice.begun", notice="boil water"),
    entry("notice.ended", notice="boil water"),
    entry("fault.reported", fault="f", chair="1", what="x", stops_use=st.booleans(), dosing=st.sampled_from([None, True]),
          outlets=st.sampled_from([None, ["turbine"]])),
    entry("repair.done", what="x", chair="1", water_path_opened=st.booleans()),
    entry("repair.done", what="x", machine=machine),
    entry("subject.returned", chair="1", reason="x", meaning="returned", outlets=st.sampled_from([None, ["turbine"]])),
    entry("product.opened", product=product, lot=lot, use_by=st.sampled_from([None, "2026-03-09", "2027-01-01"])),
    entry("solution.mixed", solution="m1", product=product, lot=lot),
    entry("set.retired", unit="exam#2", reason="x"),
    entry("duty.skipped", duty="chair.first", chair="1", reason="x"),
)  # fmt: skip


@st.composite
def histories(draw: st.DrawFn) -> Book:
    book = Book()
    for _ in range(draw(st.integers(0, 40))):
        kind, data = draw(ENTRIES)
        who = (draw(st.sampled_from(["ana", "ben"])), draw(st.sampled_from(["t1", "t2"])), draw(st.sampled_from([100, 50_000, 10**8])))
        book.add(kind, who, draw(WHEN), data)
        if draw(st.integers(0, 7)) == 0:
            of = draw(st.sampled_from(book.made))[1]
            book.names["it"] = of.id
            mend = draw(
                st.sampled_from(
                    [
                        {"field": "at", "now": of.at - 86_400_000},
                        {"field": "outlets", "now": ["turbine"]},
                        {"field": "at", "now": "x"},
                        None,
                    ]
                )
            )
            data = {"why": "x", **(mend or {})}
            book.add("entry.corrected" if mend else "entry.withdrawn", who, of.at + 60_000, data, refers="it")
    return book


@settings(max_examples=60, deadline=None)
@given(histories(), WHEN, WHEN)
def test_every_subject_has_a_verdict_whatever_the_book_says_and_the_past_stays_as_known(book: Book, at: int, known_at: int) -> None:
    entries = book.received()
    whole = book.on.fold(entries).as_of(at, known_at)
    then = book.on.fold([one for one in entries if one.received <= known_at]).as_of(at, known_at)
    subjects = (*then.subjects(), *(s for s in then.look.state.subjects if s.startswith(("load:", "unit:exam", "product:", "solution:"))))
    for subject in subjects:
        assert whole.standing(subject) == then.standing(subject)
    assert due_duties(whole) == due_duties(then)
    for subject in then.look.state.subjects:
        if not subject.startswith(("day:", "practice:", "suction:")):
            assert trace(whole.look, subject).links == trace(then.look, subject).links
    for ask in (lambda v: since_last_good(v.look, "steam"), lambda v: water_look_back(v.look, "1")):
        assert _asked(ask, whole) == _asked(ask, then)


def _asked(ask: Any, view: Any) -> Any:
    try:
        return ask(view)
    except Mendable as told:
        return told.what
