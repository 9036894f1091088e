"""What a second feed does to a line: it thins what the supply brings, and the parts above it run slower.

Clean water may enter below the supply: by an open branch, through a mixing valve, or through a non-return valve that leaks.
At each place where it enters, the flows and what they carry are balanced; so the share of supply water that each outlet can
ever carry is known, and a fill that asks for more never ends. Flush and rinse are reckoned with the slower flow above the
entry and without the thinning, which is longer than the truth. Where a feed comes back through a part that stands still, the
water that stood there comes first, old or full of product: that share is taken off what may be left, whatever it holds.

Sources
-------
[M] Mass balance of a solute where streams join: c = sum(c_i Q_i) / sum(Q_i), textbook. memory
"""

from dataclasses import replace

from fettlebook.errors import Mendable
from fettlebook.science.tree import Tree, backflow


def supply_shares(tree: Tree) -> tuple[float, ...]:
    """Return the share of what each outlet carries, once all is steady, that comes from the supply; 1.0 without a second feed.

    Parameters
    ----------
    tree
        A checked circuit.

    Returns
    -------
    tuple of float
        One for each outlet in the order of the data, above 0 up to 1.

    Notes
    -----
    [M] at the start and at the end of each part on the way. What comes back to the supply through a part that stands still
    is counted against all that the open group draws.
    """
    return tuple(supply for supply, _ in _mixtures(tree))


def _mixtures(tree: Tree) -> list[tuple[float, float]]:
    """Return for each outlet the share from the supply, and the share that comes by a part that stands or that is not in the circuit."""
    if not tree.feeds:
        return [(1.0, 0.0)] * len(tree.outlets)
    flows, found = tree.flows_ml_min(), []
    for outlet in tree.outlets:
        flowing = {name for group, name in flows if group == outlet.group}
        entering: dict[tuple[str | None, bool], float] = {}
        for feed in tree.feeds:
            at = feed.entry(flowing)
            entering[at] = entering.get(at, 0.0) + feed.flow_ml_min
        drawn = sum(o.flow_ml_min for o in tree.outlets if o.group == outlet.group)
        seeping = min(1.0, entering.get((None, False), 0.0) / drawn)
        supply = 1.0 - seeping
        for part in outlet.path:
            flow = flows[outlet.group, part]
            kept = (flow - entering.get((part, False), 0.0)) / flow
            more = entering.get((part, True), 0.0)
            supply, seeping = supply * kept * flow / (flow + more), (seeping * kept * flow + more) / (flow + more)
        found.append((supply, seeping))
    return found


def undiluted_share(tree: Tree, fill_share: float) -> float:
    """Return which share of its own end each outlet must reach, so that it carries `fill_share` of the supply's strength.

    Parameters
    ----------
    tree
        A checked circuit.
    fill_share
        Share of the supply's strength asked for, above 0 and below 1.

    Returns
    -------
    float
        `fill_share` over the smallest share that any outlet can reach; `fill_share` itself without a second feed.

    Raises
    ------
    Mendable
        An outlet can never carry so much, however long it runs; names the feed that thins most and how to mend it.
    """
    if not tree.feeds:
        return fill_share
    least = min(supply_shares(tree))
    if least <= fill_share:
        worst = max(range(len(tree.feeds)), key=lambda row: tree.feeds[row].flow_ml_min)
        outlet = tree.outlets[supply_shares(tree).index(least)].id
        raise Mendable(
            f"{outlet} can never carry more than {least * 100:.3g} % of the feed strength, and the fill asks for {fill_share * 100:.3g} %: "
            f"{tree.feeds[worst].id} thins it",
            where=f"second_feeds[{worst}] {tree.feeds[worst].id!r}, flow_ml_min",
            mend="Shut it for the fill or have it mended; no running time helps.",
        )
    return fill_share / least


def shares_asked(tree: Tree, flush_share: float, fill_share: float, rinse_share: float) -> tuple[float, float, float]:
    """Return the shares that flush, fill and rinse have to reach in a line with second feeds; the same ones without any.

    Parameters
    ----------
    tree
        A checked circuit.
    flush_share, fill_share, rinse_share
        As for `outlet_seconds`, above 0 and below 1.

    Returns
    -------
    tuple of float
        The fill's share of what each outlet can reach; flush and rinse less what may come by a part that stands.

    Raises
    ------
    Mendable
        No running time ever reaches one of them; names the feed and how to mend it.
    """
    if not tree.feeds:
        return flush_share, fill_share, rinse_share
    seeping = [share for _, share in _mixtures(tree)]
    most = max(seeping)
    for what, left in (("flush", flush_share), ("rinse", rinse_share)):
        if left <= most:
            worst = max(range(len(tree.feeds)), key=lambda row: tree.feeds[row].flow_ml_min)
            raise Mendable(
                f"{most * 100:.2g} % of what {tree.outlets[seeping.index(most)].id} carries comes by {tree.feeds[worst].id} through a part "
                f"that stands, with whatever stood there, and the {what} may leave {left * 100:.2g} %",
                where=f"second_feeds[{worst}] {tree.feeds[worst].id!r}, flow_ml_min",
                mend="Open the outlets together, so that no part stands, or have it mended; no running time helps.",
            )
    return flush_share - most, undiluted_share(tree, fill_share), rinse_share - most


def with_feeds_times(tree: Tree, factor: float) -> Tree:
    """Return the tree with every second feed times `factor`.

    Raises
    ------
    Mendable
        Water would run backwards then.
    """
    if not tree.feeds:
        return tree
    more = replace(tree, feeds=tuple(replace(feed, flow_ml_min=feed.flow_ml_min * factor) for feed in tree.feeds))
    if found := backflow(more):
        raise Mendable.of(found)
    return more
