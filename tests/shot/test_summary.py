"""The screen of a shot: what matters for each shape comes first, nothing is noise, no line is too long, cautions come last."""
import re
from dataclasses import replace

import numpy as np
import pytest

import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.report.text.motion import frame_columns, frames_facts, frames_text
from fieldsolve.report.text.shot import shot_facts
from fieldsolve.screen import WIDTH
from fieldsolve.shot.display.summary import MOST_CROSSINGS
from fieldsolve.shot.result.shape_series import is_tube
from tests.small_shots import crushed_can, thrown_plate


@pytest.fixture(scope="module")
def can():
    return crushed_can()


@pytest.fixture(scope="module")
def plate():
    return thrown_plate()


def printed(shot):
    return " ".join(shot.summary().split())


def body_text(shot, name):
    """What stands from the line of a body on to that of the coil."""
    return re.search(rf"\n  {name} .*?(?=\n  coil )", shot.summary(), re.S)[0]


def test_a_crushed_can_is_reported_at_its_waist_and_has_no_rim(can):
    inner, outer = (1e3 * can.profile("can", can.times[-1]).outlines[0][:, 0].min(), 1e3 * can.series("waist_outer_radius", "can")[-1])
    text = " ".join(body_text(can, "can").split())
    assert f"waist at z = 0 mm: inner radius 14 to {inner:.4g} mm, outer radius 14.5 to {outer:.4g} mm, wall 0.5 to" in text
    assert inner < 13.5 and "rim" not in text.split("motion")[0]
    assert can.thickness_ratio("can", at="waist") == pytest.approx((outer - inner) / 0.5, rel=1e-6)


def test_the_json_of_a_can_has_a_waist_and_no_rim(can):
    facts, body = shot_facts(can), shot_facts(can)["bodies"]["can"]
    assert facts["rim_thickness_ratio"] is None and body["thickness_ratio_rim"] is None and body["rim_thickness_end_m"] is None
    assert body["waist_inner_radius_end_m"] == can.series("waist_inner_radius", "can")[-1] < 13.5e-3
    assert 1 < body["thickness_ratio_waist"] < 1.1


def test_a_tube_has_no_rim_and_a_plate_no_waist(can, plate):
    with pytest.raises(InputError, match="take at='waist'"):
        can.thickness_ratio("can", at="rim")
    with pytest.raises(InputError, match="take at='rim'"):
        plate.thickness_ratio("plate", at="waist")
    assert is_tube(can.section.part("can"))


def test_a_camera_sees_the_waist_of_a_can_and_the_crown_of_a_plate(can, plate):
    facts = frames_facts(can, 1e6)
    assert facts["waist_inner_radius_m"]["can"][-1] == pytest.approx(can.series("waist_inner_radius", "can")[-1])
    assert facts["outer_radius_m"] == {} and len(facts["times_s"]) == 26
    assert [*frame_columns(frames_facts(plate, 1e6))] == ["time [s]", "outer_radius of plate [m]", "crown_height of plate [m]"]


def test_ten_frames_are_shown_of_many_and_all_of_few(can):
    many, few = (frames_text(frames_facts(can, rate)) for rate in (1e6, 2e5))
    assert len(many) == 12 and "(shown: 10 of 26; --json and --frames-csv hold all)" in many[0] and "25.000 us" in many[-1]
    assert len(few) == 2 + 6 and "shown" not in few[0]


def test_the_larger_force_comes_first_with_its_impulse(can, plate):
    value, time = plate.history.peak("axial_force", "plate")
    text = " ".join(body_text(plate, "plate").split())
    assert f"force axial {1e-3 * value:.4g} kN at {1e6 * time:.3g} us (impulse {plate.impulse('plate', 'axial'):.3g} N s), radial" in text
    assert "round the rim" not in text and "at the rim" not in text.split("force")[1]
    text = " ".join(body_text(can, "can").split())
    assert "force radial -14.8" in text and "axial" not in text and "round the rim" in text


def test_the_axial_impulse_is_what_moves_the_plate(plate):
    """Impulse = mass times the mean speed along z."""
    mass = np.pi * 25e-3**2 * 1e-3 * plate.section.part("plate").zones[0].material.density
    impulse = plate.impulse("plate", "axial")
    assert impulse == pytest.approx(mass * plate.series("axial_speed", "plate")[-1], rel=1e-2)
    assert impulse.unit == "N s" and shot_facts(plate)["bodies"]["plate"]["axial_impulse_Ns"] == impulse.value
    with pytest.raises(InputError, match="choose 'radial' or 'axial'"):
        plate.impulse("plate", "upward")


def test_a_plate_has_a_crown_with_its_height_and_speed(plate):
    height, speed = plate.series("crown_height", "plate")[-1], plate.peak("crown_speed", "plate")
    assert f"plate crown {1e3 * height:.4g} mm over the rim" in printed(plate) and 0 < height < 0.02
    assert f"fastest {speed:.4g} m/s" in printed(plate) and speed <= 1.02 * plate.peak("speed", "plate")


def test_no_line_is_wider_than_the_screen_and_cautions_come_last(can, plate):
    for shot in (can, plate):
        lines = shot.summary().splitlines()
        assert max(map(len, lines)) <= WIDTH == 100
        assert lines[1].startswith(f"  {shot.bodies[0]} ")
        starts = [next(k for k, line in enumerate(lines) if line.startswith(word))
                  for word in ("  balance", "  WARNING", "Limits:", "Caution:")]
        assert starts == sorted(starts) and starts[-1] == len(lines) - 2
        assert not re.search(r"\d$\n +[a-zA-Z%]", shot.summary(), re.M), "a unit alone on the next line"


def test_a_turn_that_holds_says_how_far_it_is_from_breaking(can):
    strain = 100 * can.series("hoop_strain", "coil").max()
    assert f"no burst: largest hoop strain {strain:.3g} % of the 30 to 50 % it breaks at" in printed(can)


def test_temperatures_stand_in_both_scales_with_what_is_left_to_melting(can):
    hottest, mean = (can.series(quantity, "can")[-1] for quantity in ("temperature", "mean_temperature"))
    solidus = can.section.part("can").zones[0].material.thermal.melting_range[0]
    assert (f"hottest {hottest:.0f} K ({hottest - 273.15:.0f} C), {solidus - hottest:.0f} K below melting, "
            f"mean {mean:.0f} K ({mean - 273.15:.0f} C) at the end") in printed(can)


def test_of_many_zero_crossings_the_first_ten_are_listed_and_other_events_all(can):
    many = replace(can, events=(*((1e-6 * k, "current of the bank reverses") for k in range(1, 38)), (25e-6, "crowbar fires")))
    assert many.summary().count("current of the bank reverses") == MOST_CROSSINGS == 10
    assert "shown: first 10 of 37 zero crossings" in many.summary() and "crowbar fires" in many.summary()
    assert "shown" not in can.summary() and "current of the bank reverses" in can.summary()


def test_a_dead_bank_is_not_called_live(can):
    voltage = can.series("voltage", "bank").copy()
    voltage[-1] = -0.04
    dead = replace(can, history=replace(can.history, values=can.history.values | {("voltage", "bank"): voltage}))
    assert "-0 V" not in dead.summary() and "LIVE" not in dead.summary() and "LIVE" in can.summary()


def test_words_that_mislead_are_gone(can):
    assert "power / net current" not in can.summary() and "flows back" not in can.summary()
    assert "reversal of its voltage" in printed(can)


def test_a_long_name_does_not_push_its_text_off_the_screen(can):
    name = "a" * 60
    named = replace(can, section=geo.CrossSection([part.named(name) if part.name == "can" else part for part in can.section.parts]),
                    history=replace(can.history, values={(q, name if p == "can" else p): v for (q, p), v in can.history.values.items()}),
                    heated_metal=None, comparisons=())
    assert max(map(len, named.summary().splitlines())) <= WIDTH
