"""The curves that people look at agree with the solved wash-out and with the running times beside them."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from times_practice import NO_PRODUCT, ONE_HOSE, PEROXIDE, read_small, rulebook, step

from fettlebook.rules.model import Computed, When
from fettlebook.science.curves import outlet_curves
from fettlebook.times.curves import at_seconds, chair_pictures, spoken
from fettlebook.times.running import running_times
from fettlebook.web.chair import draw

CHECKS = json.loads((Path(__file__).parents[1] / "science" / "line_checks.json").read_text())
TWO = ONE_HOSE.replace(
    'segments = [{ id = "hose"', 'segments = [{ id = "feed", bore_mm = 4.0, length_m = 1.0 }, { id = "hose", from = "feed"'
)


@pytest.mark.published(source="own solution in Laplace space, confirmed by finite volumes and 4e5 random walkers", sure="computed")
@pytest.mark.parametrize("tau", [0.01, 0.1])
def test_the_solutes_curve_is_the_solved_wash_out(tau):
    length_m, flow = 2.0, 50.0
    hose = {"id": "h", "kind": "tube", "length_m": length_m, "bore_mm": 1.6}
    plain = {
        "parts": [hose],
        "outlets": [{"part": "h", "flow_ml_min": flow}],
        "diffusivity_m2_s": tau * flow / 6e7 / (math.pi * length_m),
    }
    change_s = math.pi / 4 * 1.6**2 * length_m / flow * 60
    (found,) = outlet_curves(plain, 6 * change_s, points=2000)
    for row in (r for r in CHECKS["W"] if r["tauD"] == tau and 0.9 < r["theta"] < 5.9 and r["W"] > 1e-4):
        assert float(np.interp(row["theta"] * change_s, found.time_s, found.solute)) == pytest.approx(row["W"], rel=5e-3)


@pytest.mark.published(source="Levenspiel 1999 pp. 343-344: without diffusion 1/(4 theta^2) comes out", sure="secondary")
def test_old_water_never_lies_below_what_does_not_diffuse():
    hose = {"id": "h", "kind": "tube", "length_m": 2.0, "bore_mm": 1.6}
    plain = {"parts": [hose], "outlets": [{"part": "h", "flow_ml_min": 50.0}]}
    change_s = math.pi / 4 * 1.6**2 * 2.0 / 50.0 * 60
    (found,) = outlet_curves(plain, 12 * change_s)
    theta = found.time_s[found.time_s > change_s] / change_s
    assert np.all(found.old_water[found.time_s > change_s] >= 0.25 / theta**2 * (1 - 5e-3))
    assert np.all(found.old_water >= found.solute)
    assert np.all(found.missing_most >= found.missing)


@pytest.mark.invented
@pytest.mark.parametrize("chair", [ONE_HOSE, TWO])
@pytest.mark.parametrize("active", ["hydrogen peroxide", "quaternary ammonium"])
def test_a_curve_is_down_to_its_aim_at_the_running_time_of_the_line(chair, active):
    practice = read_small(chair, PEROXIDE.replace("hydrogen peroxide", active))
    book = rulebook(step(Computed.FLUSH, 120), step(Computed.FILL), step(Computed.RINSE, 120))
    pictures = chair_pictures(practice, book, running_times(practice, book), practice.chairs[0])
    assert [p.what for p in pictures] == ["flush", "fill", "rinse"]
    for picture in pictures:
        for line in picture.lines:
            assert at_seconds(picture, line, 0) == 1.0
            assert list(line.shares) == sorted(line.shares, reverse=True)
            assert at_seconds(picture, line, line.aim_s) == pytest.approx(picture.aim, rel=0.04 if active == "hydrogen peroxide" else 0.12)


@pytest.mark.invented
def test_between_visits_only_the_last_hose_is_drawn_and_it_clears_sooner():
    practice = read_small(TWO, PEROXIDE)
    morning = rulebook(step(Computed.FLUSH, 120))
    between = rulebook(step(Computed.FLUSH, 20, outlets="used"), when=When.BETWEEN_VISITS)
    (whole,) = chair_pictures(practice, morning, running_times(practice, morning), practice.chairs[0])
    (last,) = chair_pictures(practice, between, running_times(practice, between), practice.chairs[0])
    assert (whole.what, last.what) == ("flush", "between")
    assert at_seconds(last, last.lines[0], 15) < at_seconds(whole, whole.lines[0], 15)


@pytest.mark.invented
def test_a_step_without_a_time_has_no_picture():
    practice = read_small(ONE_HOSE, NO_PRODUCT)
    book = rulebook(step(Computed.FILL), step(Computed.RINSE))
    assert chair_pictures(practice, book, running_times(practice, book), practice.chairs[0]) == ()


@pytest.mark.invented
def test_shares_are_spoken_as_what_they_are_of():
    practice = read_small(ONE_HOSE, PEROXIDE)
    book = rulebook(step(Computed.FLUSH), step(Computed.FILL), step(Computed.RINSE))
    flush, fill, rinse = chair_pictures(practice, book, running_times(practice, book), practice.chairs[0])
    assert spoken(flush, 0.05) == "5 %"
    assert spoken(flush, 1 / 3000) == "1 part in 3,000"
    assert spoken(fill, 0.05) == "95 %"
    assert spoken(rinse, 1 / 3000) == "10 mg/L"
    assert spoken(rinse, 1.0) == "30,000 mg/L"


@pytest.mark.invented
def test_a_drawing_keeps_inside_its_frame_and_names_equal_times_once():
    practice = read_small(TWO, PEROXIDE)
    book = rulebook(step(Computed.RINSE, 120))
    (picture,) = chair_pictures(practice, book, running_times(practice, book), practice.chairs[0])
    drawing = draw(picture)
    for line in drawing.lines:
        points = [tuple(map(float, p.split(","))) for p in line.path.split()]
        assert all(drawing.left <= x <= drawing.right and drawing.top <= y <= drawing.bottom for x, y in points)
        assert [x for x, _ in points] == sorted(x for x, _ in points)
    assert [m.text for m in drawing.marks if "2:00" in m.text] == ["rule and label 2:00"]
    assert drawing.top < drawing.aim_y < drawing.bottom


@pytest.mark.invented
@pytest.mark.parametrize("limit", ["1e-6", "29999.0"])
@pytest.mark.parametrize("flow", ["0.2", "4900.0"])
def test_the_oddest_line_and_limit_still_make_a_picture(limit, flow):
    chair = ONE_HOSE.replace("flow_ml_min = 50.0", f"flow_ml_min = {flow}")
    practice = read_small(chair, PEROXIDE.replace("residual_limit_mg_l = 10.0", f"residual_limit_mg_l = {limit}"))
    book = rulebook(step(Computed.FLUSH, 120), step(Computed.FILL), step(Computed.RINSE))
    times = running_times(practice, book)
    assert all(t.seconds > 0 for t in times)
    for picture in chair_pictures(practice, book, times, practice.chairs[0]):
        drawing = draw(picture)
        assert len(drawing.across) <= 10
        assert all(line.values for line in drawing.lines) or not drawing.seconds
