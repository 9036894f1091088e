"""What each visit's start costs at the least, at the prices that too few sets have: one more rule for the solver's models.

Comes in: an instance, a model's starts and its lateness. The program of minutes (`bound_minutes`) prices each minute of
each short set. At those prices every visit has starts that cost nothing more, and others that do. All that together is
at most what a day is late above the program's own bound: any prices give a true rule (weak duality of linear programs;
Lagrangian relaxation as Geoffrion 1974 has it, from memory). So "at most so late" leaves each visit few minutes, which the
solver does not see by itself: it knows that much lateness is forced, not where.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from fettlebook.plan.bound_minutes import MinuteProgram, aways
from fettlebook.plan.instance import Instance
from fettlebook.plan.rows import Node, rows

MOST_CELLS = 20_000  # visit-minutes in the program: under a second
FINE = 10  # prices in tenths of a minute
FLOAT_ERROR = 1e-3


@dataclass(frozen=True, slots=True)
class Prices:
    """`above`: visit -> (first start, what each start from it on costs above the cheapest [tenths of a weighted minute]).

    No day is less late than `low` [tenths] and the sum of these; starts beyond the last one are later than was asked for.
    """

    low: int
    above: dict[str, tuple[int, tuple[int, ...]]]


def prices(day: Instance, known: int) -> Prices | None:
    """Return the prices for days at most `known` weighted minutes late; None where there are none to be had quickly."""
    from scipy.optimize import linprog  # noqa: PLC0415 - only who solves pays
    from scipy.sparse import csr_array  # noqa: PLC0415

    all_rows, weight, booked = rows(day), {v.id: v.weight for v in day.visits}, {v.id: v.booked for v in day.visits}
    visits = [n for row in all_rows for n in row.nodes if n.procedure is None]
    forced = sum(weight[n.visit or ""] * max(0, n.earliest - booked[n.visit or ""]) for n in visits)
    program = MinuteProgram(day, all_rows, aways(day, all_rows), weight, known - forced)
    if not 0 < program.cells <= MOST_CELLS or any(not len(j.costs) for j in program.jobs):
        return None
    row, column, value, limit = program.matrix()
    matrix = csr_array((value, (row, column)), shape=(len(limit), program.cells))
    cost = np.concatenate([j.costs[:-1] - j.costs[1:] for j in program.jobs])
    found = linprog(cost, A_ub=matrix, b_ub=limit, bounds=(0, 1))
    if found.status != 0:
        return None
    paid = np.minimum(found.ineqlin.marginals, 0.0)
    rest = cost - matrix.T @ paid
    low = forced + sum(float(j.costs[-1]) for j in program.jobs) + float(limit @ paid) + float(np.minimum(rest, 0.0).sum())
    above = {}
    for k, j in enumerate(program.jobs):
        own = rest[program.first[k] : program.first[k + 1]]
        # Begun by a minute: all minutes from the start on count, those before do not.
        cost_of = np.append(np.cumsum(own[::-1])[::-1], 0.0) - np.minimum(own, 0.0).sum()
        tenths = np.maximum(0, np.floor(FINE * cost_of - FLOAT_ERROR)).astype(int)
        above[j.row.nodes[j.at].visit or ""] = j.low, tuple(tenths.tolist())
    return Prices(int(np.floor(FINE * low - FLOAT_ERROR)), above)


def add_prices(model: Any, starts: dict[Node, Any], priced: Prices, within: int) -> None:
    """Add to a model what the prices leave of a day that is at most `within` weighted minutes late, as they were asked for."""
    room = FINE * within - priced.low
    paid = []
    for node, start in starts.items():
        if node.procedure is None and node.visit in priced.above:
            first, tenths = priced.above[node.visit]
            possible = [i for i, price in enumerate(tenths) if price <= room]
            if not possible:
                model.add_bool_or([])  # no start is cheap enough: nothing is that little late
                return
            low, high = possible[0], possible[-1]
            model.add_linear_constraint(start, first + low, first + high)
            if own := max(tenths[low : high + 1]):
                price = model.new_int_var(0, own, "")
                model.add_element(start - first - low, tenths[low : high + 1], price)
                paid.append(price)
    model.add(sum(paid) <= room)
