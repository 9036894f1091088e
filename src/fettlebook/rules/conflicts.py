"""Where rules contradict each other, a label or what the practice uses. Both sides are told; the program resolves none of it."""

from collections.abc import Mapping, Sequence
from typing import Final

from fettlebook.practice.model import Practice, Product, SupplyKind
from fettlebook.rules.pack import Pack
from fettlebook.rules.rows import Row
from fettlebook.rules.strictness import in_words

BARRED: Final = "Law against product: "


def conflicts(practice: Practice, packs: Sequence[Pack], rows: Mapping[str, Row]) -> tuple[str, ...]:
    """Return every conflict in words, law first."""
    notes = [
        *_amalgam_cleaner(practice, rows),
        *_bottle_overnight(practice, rows),
        *_policy(rows),
        *_cycles(rows),
        *_water_edge(rows),
        *(f"Pack {pack.pack.id} is no full rulebook: {pack.pack.scope}" for pack in packs if not pack.pack.full),
    ]
    return tuple(notes)


def _amalgam_cleaner(practice: Practice, rows: Mapping[str, Row]) -> list[str]:
    rule = rows.get("us.suction.cleaner")
    chairs = [chair.id for chair in practice.chairs if chair.amalgam]
    if rule is None or not chairs or len(rule.bound.value) != 2:
        return []
    low, high = rule.bound.value
    notes = []
    for product in _drained(practice):
        said = f"{product.name} runs off at {', '.join(chairs)}, where amalgam is placed or removed"
        law = f"{rule.origin.source} bars oxidizing or acidic cleaners outside pH {low:g} to {high:g} there"
        if product.ph is None:
            notes.append(f"Not checked: {said}, but its pH is not in the practice file. {law}. Add ph from the label.")
        elif product.ph[0] < low or product.ph[1] > high:
            notes.append(
                f"{BARRED}{said}; its pH is {product.ph[0]:g} to {product.ph[1]:g}. {law}. "
                "The program can't settle this: ask the authority, or choose another product."
            )
    return notes


def _drained(practice: Practice) -> list[Product]:
    chosen = {practice.in_use.line_intensive, practice.in_use.line_continuous, practice.in_use.suction}
    chosen |= {chair.supply.product for chair in practice.chairs}
    return [product for product in practice.products if product.id in chosen]


def _bottle_overnight(practice: Practice, rows: Mapping[str, Row]) -> list[str]:
    rule = rows.get("uk.water.bottle")
    bottles = [chair.id for chair in practice.chairs if chair.supply.kind is SupplyKind.BOTTLE]
    in_lines = {practice.in_use.line_intensive, practice.in_use.line_continuous, *(chair.supply.product for chair in practice.chairs)}
    labels = [product.name for product in practice.products if product.id in in_lines]
    if rule is None or not bottles or not labels:
        return []
    return [
        f"Bottle overnight ({', '.join(bottles)}): {rule.origin.source} has it off, open and upside down; some treatment labels "
        f"say that it stays on. Read the label of {' and '.join(labels)}. Where they differ the practice decides once, with a "
        "reason and a name."
    ]


def _policy(rows: Mapping[str, Row]) -> list[str]:
    mild, firm = rows.get("all.spore_test.positive"), rows.get("us.spore_test.conservative")
    if mild is None or firm is None:
        return []
    return [
        f"Positive spore test: wait for the retest, implants excepted ({mild.origin.source}), or recall everything since the last negative "
        f"({firm.origin.source}). Both lists are shown; the practice chooses one way beforehand, a person orders the recall."
    ]


def _cycles(rows: Mapping[str, Row]) -> list[str]:
    eu, us = rows.get("all.steam_bands"), rows.get("us.steam_cycles")
    if eu is None or us is None:
        return []
    return [
        f"Sterilizing times: {in_words(eu.bound)} ({eu.origin.source}) and {in_words(us.bound)} ({us.origin.source}). A cycle is judged by "
        "the pair that its machine was validated for, never by the other."
    ]


def _water_edge(rows: Mapping[str, Row]) -> list[str]:
    federal = rows.get("us.water.hpc_limit")
    state = next((rows[key] for key in ("us-wa.water.hpc_limit", "us-ga.water.hpc_limit") if key in rows), None)
    if federal is None or state is None:
        return []
    return [
        f'A count that equals the limit: {state.origin.source} says "or less"; {federal.origin.note}. The comparator of the rows '
        "decides: a count that equals the limit meets it."
    ]
