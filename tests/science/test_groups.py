"""Outlets opened in turn: what is credited to earlier groups is there, checked by following random parcels back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.groups import best_order, in_turn

UNIT = {
    "parts": [
        {"id": "feed", "from": None, "kind": "tube", "length_m": 1.0, "bore_mm": 4.0},
        {"id": "block", "from": "feed", "kind": "tube", "length_m": 0.3, "bore_mm": 3.0},
        {"id": "arm", "from": "block", "kind": "tube", "length_m": 0.8, "bore_mm": 2.5},
        {"id": "turbine", "from": "arm", "kind": "tube", "length_m": 2.0, "bore_mm": 1.6},
        {"id": "scaler", "from": "arm", "kind": "tube", "length_m": 2.2, "bore_mm": 1.6},
        {"id": "syringe", "from": "block", "kind": "tube", "length_m": 1.8, "bore_mm": 2.0},
    ],
    "outlets": [
        {"part": "turbine", "flow_ml_min": 50},
        {"part": "scaler", "flow_ml_min": 35},
        {"part": "syringe", "flow_ml_min": 110},
    ],
    "mode": "alone",
    "diffusivity_m2_s": 1.4e-9,
}


def parcels_still_old(circuit, found, outlet, *, coherent, count=150_000):
    """Share of parcels that leave `outlet` at its time and are old: each is followed back, part by part, with no diffusion."""
    rng = np.random.default_rng(3)
    parts = {part["id"]: part for part in circuit["parts"]}
    flows = {o["part"]: o["flow_ml_min"] / 60 for o in circuit["outlets"]}
    names = list(flows)

    def path(leaf):
        up = []
        while leaf is not None:
            up.append(leaf)
            leaf = parts[leaf]["from"]
        return up  # from the outlet back to the supply

    starts, now = [], 0.0
    for group, took in zip(found.order, found.group_s, strict=True):
        starts.append((now, now + took, names[group]))
        now += took
    begin = next(start for start, _, name in starts if name == outlet)

    def volume_at(part, at):
        return sum(flows[name] * np.clip(at - start, 0, end - start) for start, end, name in starts if part in path(name))

    def time_of(part, volume):
        at, passed = np.zeros(volume.size), 0.0
        for start, end, name in starts:
            if part in path(name):
                here = (volume >= passed) & (volume <= passed + flows[name] * (end - start) + 1e-9)
                at[here] = start + (volume[here] - passed) / flows[name]
                passed += flows[name] * (end - start)
        return at

    at = np.full(count, begin + found.outlet_s[outlet])
    old = np.zeros(count, bool)
    slow = 0.5 / np.sqrt(rng.random(count))
    for part in path(outlet):
        own = slow if coherent else 0.5 / np.sqrt(rng.random(count))
        volume = np.pi / 4 * parts[part]["bore_mm"] ** 2 * parts[part]["length_m"]
        entered = volume_at(part, at) - own * volume
        old |= entered < 0
        at = time_of(part, np.maximum(entered, 0))
    return float(old.mean())


@pytest.mark.published(source="pure laminar convection, 1 - F = 1/(4 theta^2), followed back parcel by parcel", sure="secondary")
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
@pytest.mark.parametrize("share", [0.05, 0.01])
def test_no_outlet_closes_while_too_many_parcels_are_old(order, share):
    cells = {**UNIT, "diffusivity_m2_s": 0.0}
    found = in_turn(cells, share, order=order)
    shares = {(name, way): parcels_still_old(cells, found, name, coherent=way) for name in found.outlet_s for way in (True, False)}
    error = 3 * np.sqrt(share / 150_000)
    assert all(seen <= share * 1.01 + error for seen in shares.values())
    for name in found.outlet_s:  # and none runs much longer than the slower of the two readings asks
        assert max(shares[name, True], shares[name, False]) >= share * 0.93 - error


def test_the_first_group_gets_no_credit_and_the_others_never_lose_by_it():
    full = {outlet.outlet: outlet.flush_s for outlet in outlet_seconds(UNIT)}
    for order in ((0, 1, 2), (2, 0, 1)):
        found = in_turn(UNIT, 0.05, order=order)
        first = list(full)[order[0]]
        assert found.outlet_s[first] == pytest.approx(full[first], rel=0.003)
        assert all(found.outlet_s[name] <= full[name] * (1 + 1e-9) for name in full)
        assert found.total_s < found.from_full_s
        assert found.from_full_s == pytest.approx(sum(full.values()))


def test_the_best_order_is_no_longer_than_any_other():
    best = best_order(UNIT, 0.05)
    assert all(best.total_s <= in_turn(UNIT, 0.05, order=order).total_s + 1e-6 for order in ((0, 1, 2), (2, 1, 0), (1, 0, 2)))
    assert best.total_s < 0.6 * best.from_full_s


def test_one_group_of_all_outlets_is_the_same_as_together():
    together = {**UNIT, "mode": "together"}
    found = in_turn(together, 1 / 3000, solute_only=True)
    assert found.order == (0,)
    assert found.total_s == pytest.approx(max(outlet.rinse_s for outlet in outlet_seconds(together)), rel=0.003)


@settings(max_examples=15)
@given(st.floats(0.005, 0.2), st.permutations([0, 1, 2]), st.booleans())
def test_credit_never_makes_a_time_longer_or_shorter_than_the_own_hose_asks(share, order, solute_only):
    found = in_turn(UNIT, share, order=order, solute_only=solute_only)
    for name, length, bore, flow in (("turbine", 2.0, 1.6, 50), ("scaler", 2.2, 1.6, 35), ("syringe", 1.8, 2.0, 110)):
        hose = {
            "parts": [{"id": name, "kind": "tube", "length_m": length, "bore_mm": bore}],
            "outlets": [{"part": name, "flow_ml_min": flow}],
        }
        own = outlet_seconds({**hose, "diffusivity_m2_s": 1.4e-9}, rinse_share=share)[0].rinse_s
        assert found.outlet_s[name] >= own * (1 - 3e-3)
    assert found.total_s <= found.from_full_s * (1 + 1e-9)


@pytest.mark.parametrize("order", [(0, 1), (0, 0, 1), (0, 1, 3)])
def test_an_order_that_leaves_a_group_out_is_refused(order):
    with pytest.raises(Mendable, match="order"):
        in_turn(UNIT, 0.05, order=order)
