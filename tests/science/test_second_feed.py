"""A second feed: what it thins is balanced at each junction, what can never be reached is refused, no time gets shorter."""

import math

import pytest
import wntr
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.second_feed import supply_shares
from fettlebook.science.tree import read_tree
from fettlebook.science.uncertainty import Spread, sure_seconds, sure_seconds_of_all


def unit(*feeds: dict, mode: str = "together") -> dict:
    return {
        "parts": [
            {"id": "feed", "kind": "tube", "length_m": 1.0, "bore_mm": 4.0},
            {"id": "block", "from": "feed", "kind": "tube", "length_m": 0.3, "bore_mm": 3.0},
            {"id": "turbine", "from": "block", "kind": "tube", "length_m": 2.0, "bore_mm": 1.6},
            {"id": "motor", "from": "block", "kind": "tube", "length_m": 2.0, "bore_mm": 1.6},
            {"id": "syringe", "from": "block", "kind": "tube", "length_m": 1.8, "bore_mm": 2.0},
        ],
        "outlets": [
            {"part": "turbine", "flow_ml_min": 50.0},
            {"part": "motor", "flow_ml_min": 60.0},
            {"part": "syringe", "flow_ml_min": 110.0},
        ],
        "second_feeds": list(feeds),
        "mode": mode,
    }


def entering(part: str | None, flow: float, at: str = "start", name: str = "leak") -> dict:
    return {"id": name, "part": part, "flow_ml_min": flow, "at": at}


FEEDS = st.lists(
    st.builds(
        entering,
        st.sampled_from(["feed", "block", "turbine", "motor", "syringe"]),
        st.floats(0.01, 3.0),
        st.sampled_from(["start", "end"]),
    ),
    max_size=3,
)


@pytest.mark.parametrize(
    ("feed", "shares"),
    [
        (entering("block", 22.0), (0.9, 0.9, 0.9)),
        (entering("block", 22.0, "end"), (0.9, 0.9, 0.9)),
        (entering("turbine", 5.0), (0.9, 1.0, 1.0)),
        (entering("turbine", 5.0, "end"), (0.9, 1.0, 1.0)),
        (entering(None, 22.0), (0.9, 0.9, 0.9)),
    ],
)
def test_the_share_of_each_outlet_is_the_balance_by_hand(feed, shares):
    assert supply_shares(read_tree(unit(feed))) == pytest.approx(shares, abs=1e-12)


def test_what_leaks_into_a_hose_that_stands_still_thins_the_outlets_that_run():
    tree = read_tree(unit(entering("turbine", 6.0), mode="alone"))
    assert supply_shares(tree) == pytest.approx((44 / 50, 54 / 60, 104 / 110))
    assert tree.flow_ml_min("block", 1) == pytest.approx(54.0)


@given(FEEDS, st.sampled_from(["together", "alone"]))
def test_what_the_outlets_carry_is_what_the_supply_gave(feeds, mode):
    tree = read_tree(unit(*feeds, mode=mode))
    shares, flows = supply_shares(tree), tree.flows_ml_min()
    for group in range(len(tree.groups())):
        carried = sum(o.flow_ml_min * s for o, s in zip(tree.outlets, shares, strict=True) if o.group == group)
        flowing = {name for opened, name in flows if opened == group}
        given_ml = flows[group, "feed"] - sum(f.flow_ml_min for f in tree.feeds if f.entry(flowing) == ("feed", False))
        assert carried == pytest.approx(given_ml, rel=1e-12)


@pytest.mark.published(
    source="EPANET 2.2 through wntr: source tracing of the supply on the same tree, water quality after it is steady", sure="computed"
)
@pytest.mark.parametrize("feeds", [(("block", 22.0),), (("turbine", 8.0), ("feed", 30.0))])
def test_epanet_traces_the_same_share_of_supply_water(feeds, tmp_path):
    tree = read_tree(unit(*(entering(part, flow) for part, flow in feeds)))
    net = wntr.network.WaterNetworkModel()
    scale = 1e-3  # L/s as if one mL/min were that: flows of EPANET's own size, shares do not depend on it
    net.add_reservoir("supply", base_head=100.0)
    parents = {"feed": "supply", "block": "feed-out", "turbine": "block-out", "motor": "block-out", "syringe": "block-out"}
    draws = {o.path[-1]: o.flow_ml_min for o in tree.outlets}
    for part, above in parents.items():
        net.add_junction(f"{part}-in", base_demand=-sum(q for p, q in feeds if p == part) * scale, elevation=0.0)
        net.add_junction(f"{part}-out", base_demand=draws.get(part, 0.0) * scale, elevation=0.0)
        net.add_pipe(f"{part}-j", above, f"{part}-in", length=1.0, diameter=0.5)
        net.add_pipe(part, f"{part}-in", f"{part}-out", length=10.0, diameter=0.5)
    net.options.time.duration = 48 * 3600
    net.options.time.quality_timestep = 60
    net.options.quality.parameter = "TRACE"
    net.options.quality.trace_node = "supply"
    quality = wntr.sim.EpanetSimulator(net).run_sim(file_prefix=str(tmp_path / "chair")).node["quality"].iloc[-1]
    for outlet, share in zip(tree.outlets, supply_shares(tree), strict=True):
        assert quality[f"{outlet.path[-1]}-out"] / 100.0 == pytest.approx(share, abs=2e-4)


def test_a_fill_that_the_feed_keeps_from_its_share_is_refused_with_field_and_mend():
    with pytest.raises(Mendable) as refused:
        outlet_seconds(unit(entering("block", 22.0)), fill_share=0.95)
    assert refused.value.where == "second_feeds[0] 'leak', flow_ml_min"
    assert "can never carry more than 90 % of the feed strength" in refused.value.what
    assert "Shut it for the fill or have it mended" in refused.value.mend
    with pytest.raises(Mendable, match="never"):
        sure_seconds(unit(entering("block", 11.0 * 0.9)), fill_share=0.95)  # by best estimate just so, in 95 of 100 cases not


@pytest.mark.parametrize("method", ["exact", "safe bound"])
@settings(max_examples=15)
@given(FEEDS)
def test_no_second_feed_ever_shortens_a_time(method, feeds):
    plain = outlet_seconds(unit(), flush_share=0.2, fill_share=0.5, rinse_share=0.2, method=method)
    fed = outlet_seconds(unit(*feeds), flush_share=0.2, fill_share=0.5, rinse_share=0.2, method=method)
    for before, after in zip(plain, fed, strict=True):
        for name in ("flush_s", "fill_s", "rinse_s"):
            assert getattr(after, name) >= getattr(before, name) * (1 - 1e-4), name


def test_what_seeps_from_a_hose_that_stands_is_taken_off_what_may_be_left():
    leak = entering("turbine", 1.0)
    plain = outlet_seconds(unit(mode="alone"), fill_share=0.5, rinse_share=0.05)
    seeping = outlet_seconds(unit(leak, mode="alone"), fill_share=0.5, rinse_share=0.05)
    # the motor's water is 1/60 out of the turbine's hose, which stands: of 5 % only 3.3 % are left for the motor's own way
    as_strict = outlet_seconds(unit(mode="alone"), fill_share=0.5, flush_share=0.05 - 1 / 60, rinse_share=0.05 - 1 / 60)
    assert seeping[1].rinse_s >= as_strict[1].rinse_s > plain[1].rinse_s
    assert seeping[1].flush_s >= as_strict[1].flush_s > plain[1].flush_s


@pytest.mark.parametrize("shares", [{"rinse_share": 1 / 3000, "flush_share": 0.5}, {"rinse_share": 0.5, "flush_share": 0.01}])
def test_a_rinse_or_flush_that_a_leak_through_a_standing_hose_bars_is_refused(shares):
    with pytest.raises(Mendable) as refused:
        outlet_seconds(unit(entering("turbine", 1.0), mode="alone"), fill_share=0.5, **shares)
    assert refused.value.where == "second_feeds[0] 'leak', flow_ml_min"
    assert "1.7 % of what motor carries comes by leak through a part that stands" in refused.value.what
    assert "no running time helps" in refused.value.mend
    assert outlet_seconds(unit(entering("turbine", 1.0)), fill_share=0.5, **shares)  # all open: nothing stands


def test_a_fill_that_can_just_be_reached_takes_longer_and_longer():
    times = [outlet_seconds(unit(entering("block", q)), fill_share=0.95)[0].fill_s for q in (0.01, 5.0, 10.0, 10.9)]
    assert times == sorted(times)
    assert all(math.isfinite(t) for t in times)
    assert times[-1] > 1.5 * times[0]


def test_sure_times_reckon_with_more_feed_and_less_flow_and_many_circuits_are_each_their_own():
    circuits = [unit(), unit(entering("block", 4.0))]
    alone = [sure_seconds(c, spread=Spread()) for c in circuits]
    assert sure_seconds_of_all(circuits) == alone
    assert alone[1][0].fill_s > alone[0][0].fill_s
    assert alone[1][0].flush_s > alone[0][0].flush_s


@pytest.mark.parametrize(
    ("feed", "where", "said"),
    [
        (entering("blok", 5.0), "second_feeds[0] 'leak', part", "which is no part"),
        (entering("block", 0.0), "second_feeds[0] 'leak', flow_ml_min", "outside"),
        (entering("block", math.nan), "second_feeds[0] 'leak', flow_ml_min", "outside"),
        (entering("block", 5.0, "middle"), "second_feeds[0] 'leak', at", "middle"),
        (entering("block", 220.0), "second_feeds[0] 'leak', flow_ml_min", "no more than that leaves below"),
        (entering("turbine", 50.0), "second_feeds[0] 'leak', flow_ml_min", "no more than that leaves below"),
        (entering("turbine", 51.0, "end"), "second_feeds[0] 'leak', flow_ml_min", "no more than that leaves below"),
    ],
)
def test_a_feed_that_can_not_be_is_named(feed, where, said):
    with pytest.raises(Mendable) as refused:
        outlet_seconds(unit(feed))
    assert refused.value.where == where
    assert said in refused.value.what
    assert refused.value.mend
