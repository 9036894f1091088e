"""A chair with other water entering its lines: what a fill is reckoned from while a person keeps it shut, and what is said."""

from typing import Final

from fettlebook.practice.model import Chair, Outlet
from fettlebook.said import listed, said
from fettlebook.science.second_feed import supply_shares
from fettlebook.science.tree import read_tree
from fettlebook.times.line import LITTLE, circuit_of
from fettlebook.times.sure import Aims
from fettlebook.times.words import share

# Shares for steps that are not asked about, so that what a second feed bars there doesn't bar the one that is.
LENIENT: Final = Aims(flush=0.9, fill_missing=1.0 - LITTLE, rinse=0.9)
Groups = tuple[tuple[Outlet, ...], ...]


def as_filled(chair: Chair, groups: Groups, *, water_c: float) -> tuple[Chair, Groups]:
    """Return the chair and its groups as they are during a fill: without what is shut then.

    An outlet was measured with the feed open; with it shut it may get less, so it is taken to get what the supply alone
    brought it. That is the least it can get, and the fill is never too short.

    Raises
    ------
    Mendable
        The line or a second feed can't be used.
    """
    shut = tuple(feed for feed in chair.second_feeds if feed.shut_for_fill)
    if not shut:
        return chair, groups
    while_open = chair.model_copy(update={"second_feeds": shut})
    tree = read_tree(circuit_of(while_open, groups, water_c=water_c, last_hose_only=False))
    left = {outlet.id: part for outlet, part in zip(tree.outlets, supply_shares(tree), strict=True)}
    slowed = {o.id: o.model_copy(update={"flow_ml_min": o.flow_ml_min * left[o.id]}) for g in groups for o in g}
    filled = chair.model_copy(
        update={
            "second_feeds": tuple(feed for feed in chair.second_feeds if not feed.shut_for_fill),
            "outlets": tuple(slowed.get(o.id, o) for o in chair.outlets),
        }
    )
    return filled, tuple(tuple(slowed[o.id] for o in g) for g in groups)


def feed_words(chair: Chair, groups: Groups, *, water_c: float, filling: bool) -> tuple[list[str], tuple[str, ...]]:
    """Say what enters and what each outlet can carry of the supply's strength; and, short, what must be seen beside the time."""
    words: list[str] = []
    notes: list[str] = []
    for feed in chair.second_feeds:
        words.append(
            said(
                "Other water enters at {into} ({kind}, {id}): {flow_ml_min:g} mL/min. Less flows in the parts above "
                "it, and that is reckoned.",
                into=feed.into,
                kind=feed.kind,
                id=feed.id,
                flow_ml_min=feed.flow_ml_min,
            )
        )
        if filling and feed.shut_for_fill:
            words.append(
                said(
                    "{id} is shut for the fill. The outlets may then get less than was measured with it open: taken as "
                    "what the supply alone brought.",
                    id=feed.id,
                )
            )
            notes.append(said("shut {id} before the fill", id=feed.id))
    still_open = tuple(feed for feed in chair.second_feeds if not (filling and feed.shut_for_fill))
    if filling and still_open:
        tree = read_tree(circuit_of(chair.model_copy(update={"second_feeds": still_open}), groups, water_c=water_c, last_hose_only=False))
        reached = tuple(f"{o.id} {share(part)}" for o, part in zip(tree.outlets, supply_shares(tree), strict=True))
        words.append(
            said("By the balance at each junction the outlets can carry of the feed strength at most: {reached}.", reached=listed(reached))
        )
    return words, tuple(notes)
