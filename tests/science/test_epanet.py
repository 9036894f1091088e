"""Flows, losses and plug-flow travel times of random chairs against EPANET, run through wntr."""

import random
import warnings

import pytest

from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.water import density_kg_m3, viscosity_pa_s

LONGER = 100  # EPANET counts water age in whole seconds: longer lines, and the times divided again
TEMPERATURE_C = 20.0


def random_chair(seed):
    draw = random.Random(seed)
    parts = [{"id": "p0", "from": None, "kind": "tube", "length_m": draw.uniform(0.3, 2), "bore_mm": draw.uniform(3, 5)}]
    for i in range(1, draw.randint(2, 7)):
        above = parts[draw.randrange(len(parts))]["id"]
        parts.append({"id": f"p{i}", "from": above, "kind": "tube", "length_m": draw.uniform(0.2, 3), "bore_mm": draw.uniform(1.4, 3)})
    inner = {part["from"] for part in parts}
    outlets = [{"part": p["id"], "flow_ml_min": draw.uniform(20, 60)} for p in parts if p["id"] not in inner]
    return {"parts": parts, "outlets": outlets, "mode": "together", "temperature_c": TEMPERATURE_C, "diffusivity_m2_s": 1.4e-9}


def epanet(chair, folder):
    wntr = pytest.importorskip("wntr")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        net = wntr.network.WaterNetworkModel()
        net.add_reservoir("supply", base_head=1000.0)
        demand = {outlet["part"]: outlet["flow_ml_min"] / 6e7 for outlet in chair["outlets"]}
        for part in chair["parts"]:
            net.add_junction(part["id"], base_demand=demand.get(part["id"], 0.0))
        for part in chair["parts"]:
            above = part["from"] or "supply"
            bore = part["bore_mm"] / 1e3
            net.add_pipe("to-" + part["id"], above, part["id"], length=part["length_m"] * LONGER, diameter=bore, roughness=1e-6)
        net.options.hydraulic.headloss = "D-W"
        net.options.hydraulic.accuracy = 1e-6
        # EPANET's viscosity is relative to 1.1e-5 ft2/s, that of water at 20 degC in its manual
        net.options.hydraulic.viscosity = float(viscosity_pa_s(TEMPERATURE_C) / density_kg_m3(TEMPERATURE_C)) / (1.1e-5 * 0.3048**2)
        net.options.quality.parameter = "AGE"
        net.options.quality.tolerance = 1e-5
        net.options.time.duration = 2 * 3600
        net.options.time.hydraulic_timestep = net.options.time.report_timestep = 3600
        net.options.time.quality_timestep = 3
        results = wntr.sim.EpanetSimulator(net).run_sim(file_prefix=str(folder / "chair"))
    return results.node["head"].iloc[-1], results.node["quality"].iloc[-1]


@pytest.mark.published(source="EPANET 2.2 through wntr: Darcy-Weisbach head loss and water age", sure="secondary")
@pytest.mark.parametrize("seed", range(20))
def test_a_random_chair_loses_and_delays_as_epanet_says(seed, tmp_path):
    chair = random_chair(seed)
    head, age_s = epanet(chair, tmp_path)
    for outlet in outlet_seconds(chair):
        assert all(part.regime == "laminar" for part in outlet.path)
        loss_m = sum(part.pressure_drop_kpa for part in outlet.path) * 1e3 / (float(density_kg_m3(TEMPERATURE_C)) * 9.80665)
        assert (1000.0 - head[outlet.outlet]) / LONGER == pytest.approx(loss_m, rel=2e-3)
        assert age_s[outlet.outlet] / LONGER == pytest.approx(outlet.nominal_s, rel=2e-3, abs=0.05)
