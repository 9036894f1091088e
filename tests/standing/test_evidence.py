"""What an entry must show beside "done": product and lot in date, strips, millilitres, sterile water, dosing in order."""

import pytest
from small_book import PRACTICE, READY, Book, ground

from fettlebook.standing.model import Standing, Verdict

pytestmark = pytest.mark.invented

DOSED = PRACTICE.replace(
    'supply = { kind = "bottle", bottle_ml = 1500.0 }',
    'supply = { kind = "continuous dosing", product = "drops", strength_mg_l = 3.0 }',
).replace(
    "[in_use]",
    """[[products]]
id = "drops"
name = "Drops for the water (invented)"
active = "chlorine dioxide"
[[products.uses]]
use = "line continuous"
strength = 2.0
strength_unit = "mg/L"
contact_s = 60
temperature_c = [10.0, 30.0]

[in_use]
line_continuous = "drops"
""",
)
VISIT = """
2026-03-09 09:00 ana visit.started {visit="v1", chair="1"}
2026-03-09 09:30 ana visit.ended {visit="v1", chair="1", units=[]}
2026-03-09 09:32 ben duty {duty="chair.between", chair="1"}
"""


def chair(book: Book, at: str = "2026-03-09 10:00") -> Standing:
    return book.at(at).standing("chair:1")


def why(standing: Standing) -> str:
    return "; ".join(f"{c.what}: {c.why}" for c in standing.failing)


def wiped(with_what: str) -> Book:
    """Return a morning whose turnover was wiped with something else, entered after the duty's own wipe."""
    return Book(
        READY
        + VISIT
        + f'2026-03-09 09:40 ben step.done {{duty="chair.between", step="between.wipe", chair="1", outcome="done", {with_what}}}\n'
        + '2026-03-09 09:41 ben step.started {duty="chair.between", step="between.wet", chair="1"}\n'
        + '2026-03-09 09:45 ben step.done {duty="chair.between", step="between.wet", chair="1", outcome="done"}\n'
    )


# Products and lots


def test_the_open_package_stands_for_a_step_that_names_no_lot_and_is_its_evidence() -> None:
    book = Book(READY + VISIT)
    standing = chair(book)
    assert standing.verdict is Verdict.FIT, why(standing)
    opened = next(entry.id for _, entry, _ in book.made if entry.kind == "product.opened" and entry.data.lot == "B1")
    assert any(opened in condition.evidence for condition in standing.conditions)


def test_without_an_open_package_nobody_knows_what_it_was_wiped_with() -> None:
    standing = chair(Book(READY.replace('product="wipes", lot="B1"', 'product="gloves", lot="B1"') + VISIT))
    assert standing.verdict is Verdict.UNPROVEN
    assert "no package of it was open" in why(standing)


@pytest.mark.parametrize(
    ("with_what", "verdict", "told"),
    [
        ('product="wipes", lot="B1"', Verdict.FIT, ""),
        ('product="wipes", lot="OLD"', Verdict.UNFIT, "wipes lot OLD was good until"),
        ('product="h2o2", lot="A1"', Verdict.UNPROVEN, "done with h2o2, in use is wipes"),
        ('solution="m9"', Verdict.UNPROVEN, "when solution m9 was made up is not in the book"),
        ('solution="m1"', Verdict.UNFIT, "solution m1 was good until"),
        ('solution="m2"', Verdict.FIT, ""),
    ],
)
def test_the_lot_that_a_step_names_must_be_of_the_product_in_use_and_in_date(with_what: str, verdict: Verdict, told: str) -> None:
    book = wiped(with_what)
    book.write("""
2026-03-01 08:00 ana product.opened {product="wipes", lot="OLD", use_by="2026-03-08"}
2026-03-09 05:00 ana solution.mixed {solution="m1", product="wipes", lot="B1", use_by_ms=1773037800000}
2026-03-09 05:00 ana solution.mixed {solution="m2", product="wipes", lot="B1", use_by_ms=1773137800000}
""")
    standing = chair(book)
    assert standing.verdict is verdict, why(standing)
    assert told in why(standing)


def test_a_package_that_was_too_old_when_it_was_used_without_a_lot_proves_nothing() -> None:
    old = READY.replace('{product="wipes", lot="B1"}', '{product="wipes", lot="B1", use_by="2026-03-08"}')
    standing = chair(Book(old + VISIT))
    assert "was too old by then" in why(standing)


# Amounts


@pytest.mark.parametrize(("ml", "verdict"), [(1, Verdict.UNFIT), (5_000, Verdict.FIT)])
def test_less_water_than_the_flow_must_give_in_that_time_is_a_flush_too_short(ml: int, verdict: Verdict) -> None:
    seconds = max(t.seconds or 0 for t in ground().times if t.step_id == "between.flush") * 1000
    text = (
        f'2026-03-09 09:50 ben step.done {{duty="chair.between", step="between.flush", chair="1", outlets=["turbine", "syringe"],'
        f' outcome="done", lasted_wall_ms={seconds}, lasted_mono_ms={seconds}, readings={{flushed_ml={ml}}}}}\n'
    )
    standing = chair(Book(READY + VISIT + text))
    assert standing.verdict is verdict, why(standing)
    assert ("mL came out" in why(standing)) == (verdict is Verdict.UNFIT)


# Sterile water


def surgical(water: str) -> Book:
    return Book(READY + VISIT.replace('chair="1"}', 'chair="1", surgical=true' + water + "}", 1))


@pytest.mark.parametrize(
    ("water", "verdict"),
    [
        ("", Verdict.UNPROVEN),
        (', product="sterile water", lot="S1"', Verdict.FIT),
        (', product="sterile water", lot="S1", use_by="2026-03-09"', Verdict.FIT),
        (', product="sterile water", lot="S1", use_by="2026-03-08"', Verdict.UNFIT),
    ],
)
def test_a_surgical_visit_names_its_sterile_water(water: str, verdict: Verdict) -> None:
    standing = chair(surgical(water))
    assert standing.verdict is verdict, why(standing)
    named = next(c for c in standing.conditions if "sterile water" in c.what)
    assert named.origin.rule_id == "all.water.surgery"


def test_what_a_surgical_visit_left_open_stays_with_the_practice_and_not_with_the_chair_of_the_next_day() -> None:
    view = surgical("").at("2026-03-11 08:00")
    assert not any("sterile water" in c.what for c in view.standing("chair:1").conditions)
    assert any("sterile water" in c.what for c in view.standing("practice:all").failing)
    entered = surgical("").write('2026-03-09 10:30 ana visit.ended {visit="v1", chair="1", units=[], product="sterile water", lot="S1"}')
    assert not any("sterile water" in c.what for c in entered.at("2026-03-11 08:00").standing("practice:all").conditions)


def test_a_visit_that_is_not_surgical_asks_for_none() -> None:
    assert not any("sterile" in c.what for c in chair(Book(READY + VISIT)).conditions)


# Dosing

FAULT = '2026-03-09 07:00 ana fault.reported {fault="d1", chair="1", what="dosing pump stands", stops_use=false, dosing=true}\n'
REPAIR = '2026-03-09 07:30 ana repair.done {fault="d1", chair="1", what="pump replaced"}\n'


def dose(strip: str) -> str:
    return (
        '2026-03-09 07:40 ana step.done {duty="chair.weekly", step="weekly.dose", chair="1", outlets=["turbine"], outcome="done"'
        + strip
        + "}\n"
    )


@pytest.mark.parametrize(
    ("after", "told"),
    [
        ("", "dosing pump stands"),
        (REPAIR, "the dose was not looked at since"),
        (REPAIR + dose(""), "the dose was not looked at since"),
        (REPAIR + dose(", readings={strip_mg_l=1}"), "the dose was not looked at since"),
        (REPAIR + dose(", readings={strip_mg_l=2}"), None),
    ],
)
def test_a_dosing_fault_holds_until_it_is_repaired_and_the_dose_is_what_the_label_asks(after: str, told: str | None) -> None:
    book = Book(FAULT + after, on=ground(DOSED))
    standing = book.at("2026-03-09 08:00").standing("chair:1")
    found = next(c for c in standing.conditions if c.what == "dosing in order")
    assert (found.verdict is Verdict.FIT) == (told is None), found.why
    assert told is None or told in found.why


def test_a_strip_below_the_label_is_a_failed_dose_check() -> None:
    book = Book(dose(", readings={strip_mg_l=1}"), on=ground(DOSED))
    assert "strip 1 mg/L, the label asks for 2 mg/L" in why(book.at("2026-03-09 08:00").standing("chair:1"))
