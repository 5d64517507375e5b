"""What a shot tells of metal that moved: bursts, profiles, frames of a camera, departure, inductance seen, shares of heat, formers."""
import json
import re
from dataclasses import replace
from pathlib import Path

import meshio
import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import GeometryError, InputError
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.motion.defaults import default_motions
from fieldsolve.motion.hoops.former import BREAK_STRAIN
from fieldsolve.report.files.series import write_csv, write_npz
from fieldsolve.report.plots.motion import has_maps, plot_inductance, plot_metal, plot_sections, plot_shape
from fieldsolve.report.text.shot import shot_facts
from fieldsolve.shot.history import UNITS

BANK = fs.Bank(capacitance=120e-6, voltage=6.5e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
SOFT, COPPER = fs.material("aluminium 1100-O"), fs.material("copper")
EARLY, LATE = 5e-3, 9e-3
BRITTLE = replace(COPPER, mechanical=replace(COPPER.mechanical, ductility=(EARLY, LATE)))
MOTION = {"disc": fs.FlowMotion(0.5), "coil": fs.HoopMotion()}


def coil_of(metal):
    return geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=metal, name="coil")


DISC = geo.disc(radius=15e-3, thickness=2e-3, material=SOFT, at=1e-3, name="disc")


@pytest.fixture(scope="module")
def shot():
    """A disc 1 mm off the middle in a coil whose copper breaks at 0.5 to 0.9 % of strain."""
    return fs.solve_shot(geo.CrossSection([coil_of(BRITTLE), DISC]), BANK, end_time=16e-6, accuracy=2e-2, motion=MOTION,
                         error_bounds=False)


def strain_at(shot, time):
    """Strain of the widest turn by its recorded radius."""
    radius = shot.series("radius", "coil")
    return np.log(np.interp(time, shot.times, radius) / radius[0])


def test_the_burst_is_where_the_strain_reaches_either_end_of_the_ductility(shot):
    early, late = shot.burst_time_range("coil")
    assert shot.burst_time("coil").value == early.value < late.value
    for time, limit in ((early.value, EARLY), (late.value, LATE)):
        assert strain_at(shot, time) == pytest.approx(limit, rel=0.05)
    assert shot.validity_end == early.value


def test_what_flies_at_the_burst_has_the_coils_mass_and_energy(shot):
    """Mass by Pappus and the data's density; kinetic energy and speed between the instants before and after."""
    burst = shot.burst("coil")
    r = np.array([zone.outline.bounds[:2] for zone in shot.section.part("coil").zones]).mean(axis=1)
    assert burst.mass == pytest.approx((8.94e3 * np.pi * 1.5e-3**2 * 2 * np.pi * r).sum(), rel=5e-3)
    assert burst.kinetic_energy == pytest.approx(np.interp(burst.time, shot.times, shot.series("kinetic_energy", "coil")), rel=0.05)
    assert burst.speed == pytest.approx(np.interp(burst.time, shot.times, shot.series("speed", "coil")), rel=0.05)
    assert burst.speed > np.sqrt(2 * burst.kinetic_energy / burst.mass)                 # the fastest is faster than all together


def test_the_burst_is_an_event_and_is_reported_in_words(shot):
    assert next(time for time, event in shot.events if "beyond the model" in event) == shot.burst("coil").time
    printed = " ".join(shot.summary().split())
    assert printed.startswith(f"Shot to 16 us, metal moving, BEYOND THE MODEL from {1e6 * shot.validity_end:.1f} us on")
    value, time = shot.history.peak("plastic_strain", "disc")
    assert time > shot.validity_end and f"plastic strain {value:.4g} at {1e6 * time:.3g} us (beyond the model)" in printed
    assert "treat the bank as charged" in printed and f"at up to {shot.burst('coil').speed:.0f} m/s" in printed


def test_a_shot_whose_balance_is_lost_is_beyond_the_model_from_then_on(shot):
    balance, early = shot.energy, shot.times[5]
    assert balance.imbalance_time(shot.accuracy) is None and shot.validity_end == shot.burst("coil").time > early
    leak = np.where(shot.times >= early, 0.02 * balance.scale, 0.0)
    leaky = replace(shot, energy=replace(balance, sinks=balance.sinks | {"leak": leak}))
    assert leaky.validity_end == early and leaky.validity_reason == "the energy balance is lost"
    assert f"BEYOND THE MODEL from {1e6 * early:.1f} us on: the energy balance is lost" in " ".join(leaky.summary().split())


@pytest.mark.slow
def test_strong_turns_do_not_burst():
    complete = fs.solve_shot(geo.CrossSection([coil_of(COPPER), DISC]), BANK, end_time=3e-6, accuracy=3e-2, motion=MOTION)
    assert complete.burst("coil") is complete.burst_time("coil") is complete.validity_end is None
    assert complete.burst_time_range("coil") == (None, None)
    assert "BURST" not in complete.summary()


def test_recorded_forces_are_those_of_the_field_at_the_instant(shot):
    """The forces that moved the bodies, of the field that is stored."""
    for name in ("disc", "coil"):
        radial = shot.series("radial_force", name)
        for k in (1, len(shot.times) // 2, len(shot.times) - 1):
            assert float(shot.field_at(shot.times[k]).force(name)[0]) == pytest.approx(radial[k], rel=1e-9)


@pytest.mark.parametrize("time", [0.0, 7.31e-6, 16e-6])
def test_a_profile_holds_the_metals_volume(shot, time):
    """2 pi integral of thickness r dr, and Pappus on the outline, against pi R^2 h of the cold disc."""
    profile, complete = shot.profile("disc", time), np.pi * 15e-3**2 * 2e-3
    step = profile.radius[1] - profile.radius[0]
    assert 2 * np.pi * (profile.thickness * profile.radius).sum() * step == pytest.approx(complete, rel=1e-2)
    (r, z), (r1, z1) = profile.outlines[0].T, np.roll(profile.outlines[0], -1, axis=0).T
    assert np.pi / 3 * abs(((r**2 + r * r1 + r1**2) * (z1 - z)).sum()) == pytest.approx(complete, rel=5e-3)
    assert r.max() == pytest.approx(np.interp(time, shot.times, shot.series("outer_radius", "disc")), rel=1e-9)


def test_a_coil_has_an_outline_a_turn(shot):
    assert len(shot.profile("coil", 5e-6).outlines) == 4


def test_held_metal_has_a_profile_too():
    """Of a shell the chords through its hollow are left out: its volume is 4 pi/3 (R^3 - r^3)."""
    shell = geo.shell(inner_radius=8e-3, outer_radius=10e-3, material=SOFT, name="shell")
    held = fs.solve_shot(geo.CrossSection([coil_of(COPPER), shell]), BANK, end_time=1e-6, accuracy=3e-2, motion=False, heating=False)
    profile = held.profile("shell", 1e-6)
    step = profile.radius[1] - profile.radius[0]
    assert 2 * np.pi * (profile.thickness * profile.radius).sum() * step == pytest.approx(4 / 3 * np.pi * (1e-6 - 0.512e-6), rel=1e-2)
    assert len(profile.outlines) == 1
    assert np.ptp(profile.outlines[0][:, 1]) == pytest.approx(20e-3)


def test_the_frames_of_a_camera(shot):
    times, radius = shot.at_frames(1e6, "disc", first=0.5e-6)
    assert times == pytest.approx(0.5e-6 + 1e-6 * np.arange(16))
    assert radius == pytest.approx(np.interp(times, shot.times, shot.series("outer_radius", "disc")), rel=2e-3)
    assert shot.at_frames(1e6, "coil", "radius")[1][-1] == pytest.approx(shot.series("radius", "coil")[-1])
    for rate in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(InputError, match="rate = "):
            shot.at_frames(rate, "disc")
    for ask in (lambda: shot.at_frames(1e6, "disc", first=1.0), lambda: shot.profile("disc", -1e-6), lambda: shot.metal_at(float("nan"))):
        with pytest.raises(InputError, match="outside the shot"):
            ask()


def test_a_disc_off_the_middle_is_driven_out_and_its_departure_reported(shot):
    """By its last speed from its last place, the end face of the coil as it then stands."""
    leaves = shot.departure("disc")
    assert leaves.extrapolated and leaves.speed == shot.series("axial_speed", "disc")[-1] > 0
    middle = 1e-3 + shot.series("drift", "disc")[-1]
    assert middle + leaves.speed * (leaves.time - shot.times[-1]) == pytest.approx(shot.series("highest", "coil")[-1], abs=2e-4)
    assert "leaves coil" in shot.summary()


@pytest.mark.slow
def test_a_body_with_a_prescribed_departure_leaves_within_the_history():
    """At 500 m/s from 5.5 mm on the middle is at the end face, 6.45 mm off, after 1.9 us."""
    printed = fs.PrescribedMotion(lambda t, r, z: (r, z + 500.0 * t))
    weak = fs.Bank(capacitance=1e-6, voltage=200.0, inductance=1e-6)
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=SOFT, at=5.5e-3, name="disc")
    shot = fs.solve_shot(geo.CrossSection([coil_of(COPPER), disc]), weak, end_time=3e-6, accuracy=0.3, motion={"disc": printed},
                         heating=False)
    leaves = shot.departure("disc")
    assert not leaves.extrapolated
    assert (leaves.time, leaves.speed) == (pytest.approx(0.95e-3 / 500, rel=5e-3), pytest.approx(500, rel=1e-6))
    assert shot.departure("coil") is None
    with pytest.raises(GeometryError, match="dusk"):
        shot.departure("dusk")


def test_the_bank_sees_the_empty_coils_inductance_where_there_is_no_disc():
    """Of a slow discharge whose current hardly changes at the end, that of the field at rest."""
    section = geo.CrossSection([coil_of(COPPER)])
    slow = fs.Bank(capacitance=1.0, voltage=10.0, resistance=1e-3)
    shot = fs.solve_shot(section, slow, end_time=3e-3, accuracy=3e-2, motion=False, heating=False)
    at_rest = fs.solve_static(section, currents={"coil": 1.0}, accuracy=1e-2).inductance("coil").value
    times, henry = shot.apparent_inductance()
    assert times[0] > 0 and np.isfinite(henry).all()
    assert henry[-1] == pytest.approx(at_rest, rel=0.01)


def test_a_disc_that_shrinks_lets_the_inductance_rise(shot):
    _, henry = shot.apparent_inductance()
    assert henry[-1] > 1.1 * henry[0]


def test_the_map_adds_up_to_the_series(shot):
    """Mean and largest of the map against the series; the series' largest temperature is the surface's, somewhat above any cell's mean."""
    there = shot.metal_at(16e-6)
    of_disc = np.isin(there.triangles, there.mesh.part_triangles("disc"))
    volume = shot.heated_metal.volume[there.triangles][of_disc]
    assert np.average(there.temperature[of_disc], weights=volume) == pytest.approx(shot.series("mean_temperature", "disc")[-1], rel=1e-12)
    assert there.temperature[of_disc].max() == pytest.approx(shot.series("cell_temperature", "disc")[-1], rel=1e-12)
    assert shot.series("temperature", "disc")[-1] > shot.series("cell_temperature", "disc")[-1]
    share = there.plastic_heat_share[of_disc][there.temperature[of_disc].argmax()]
    assert share == pytest.approx(shot.series("plastic_heat_share_hottest", "disc")[-1], rel=1e-9)
    assert there.plastic_strain[of_disc].max() <= shot.series("plastic_strain", "disc")[-1]
    assert (there.plastic_strain[~of_disc].max(), there.strain_rate[~of_disc].max()) == pytest.approx(
        (shot.series("plastic_strain", "coil")[-1], shot.series("strain_rate", "coil")[-1]))


def test_ohmic_and_plastic_heat_are_the_whole_heat(shot):
    """Plastic heat by the data's 0.9 of the work, ohmic by the power's integral, the whole by the enthalpy of the mean temperature."""
    plastic = shot.series("plastic_heat", "disc")[-1]
    assert plastic == pytest.approx(SOFT.mechanical.taylor_quinney * shot.series("plastic_energy", "disc")[-1], rel=1e-6)
    ohmic = float(shot.energy.final_energies()["heat in disc"])
    assert shot.series("plastic_heat_share", "disc")[-1] == pytest.approx(plastic / (plastic + ohmic), rel=0.02)
    mean, content = shot.series("mean_temperature", "disc")[-1], heat_content(SOFT)
    heat = np.pi * 15e-3**2 * 2e-3 * np.interp(mean, content.temperature(np.linspace(0, 1e9, 2000)), np.linspace(0, 1e9, 2000))
    assert plastic + ohmic == pytest.approx(heat, rel=0.03)


def test_the_energies_of_motion_are_separate(shot):
    for name, kinds in (("disc", ("plastic", "viscous")), ("coil", ("plastic", "lost"))):
        parts = sum(shot.series(f"{kind}_energy", name) for kind in kinds)
        assert parts == pytest.approx(shot.series("dissipated_energy", name), abs=1e-9)


def test_every_series_has_its_unit(shot):
    pure = {"hoop_strain", "plastic_strain", "mean_plastic_strain", "plastic_heat_share", "plastic_heat_share_hottest", "molten_share",
            "boiled_share", "action_share"}
    assert {quantity for quantity, _ in shot.history.values} - set(UNITS) <= pure


def test_the_figures_are_facts(shot):
    facts = json.loads(json.dumps(shot_facts(shot), allow_nan=False))
    coil, disc = facts["coils"]["coil"], facts["bodies"]["disc"]
    assert facts["beyond_the_model_from_s"] == coil["burst_time_s"] == facts["coil_burst_time_s"] == shot.burst_time("coil").value
    assert coil["burst_latest_time_s"] > coil["burst_time_s"]
    assert coil["burst"]["turn"].startswith("coil, turn") and coil["burst"]["speed_m_per_s"] == shot.burst("coil").speed
    assert disc["outer_radius_end_m"] == pytest.approx(disc["radius_ratio"] * 15e-3)
    assert disc["leaves_coil_after_record"] and disc["plastic_strain_peak"] > 0
    assert 0 < facts["inductance_seen_first_H"] < facts["inductance_seen_last_H"]


# ---- figures and tables ----------------------------------------------------------------------------------------------

def test_the_sections_are_drawn_where_the_metal_is_then(shot):
    """To one scale, before, during and after."""
    axes = plot_sections(shot)
    assert axes[0].get_title() == "at 0 µs" and "beyond the model" in axes[-1].get_title()
    assert len({(ax.get_xlim(), ax.get_ylim(), ax.get_aspect()) for ax in axes}) == 1
    assert {text.get_text() for text in axes[0].texts} == {"coil", "disc"}
    filled = [ax.collections[0].get_paths() for ax in axes]
    assert [max(path.vertices[:, 0].max() for path in paths) for paths in (filled[0], filled[-1])] == pytest.approx(
        [1e3 * shot.series("outer_radius", "coil")[k] for k in (0, -1)], rel=1e-6)


def test_series_are_faded_from_the_burst_on_in_their_own_style(shot):
    axes, at = plot_shape(shot), 1e6 * shot.burst("coil").time
    assert [ax.get_ylabel() for ax in axes] == ["radius [mm]", "thickness [mm]", "largest speed [m/s]"]
    complete, broken = axes[0].lines[:2]
    assert complete.get_xdata()[-1] == broken.get_xdata()[0] == pytest.approx(at)
    assert complete.get_ydata()[-1] == broken.get_ydata()[0]
    assert broken.get_alpha() < 0.5 and not broken.get_label().strip("_")
    assert complete.get_linestyle() == broken.get_linestyle() and complete.get_color() == broken.get_color()
    assert broken.get_xdata()[-1] == 1e6 * shot.times[-1]
    line = plot_inductance(shot).lines
    assert np.concatenate([line[0].get_ydata(), line[1].get_ydata()[1:]]).min() > 0.1


def test_maps_have_a_scale_each_with_their_unit(shot):
    axes = plot_metal(shot, 9e-6)
    assert [ax.get_xlabel() for ax in axes[0].figure.axes[3:]] == ["temperature [K]", "plastic share of the heat", "plastic strain"]
    assert axes[0].collections[0].get_array().max() == pytest.approx(shot.metal_at(9e-6).temperature.max())


def test_a_plate_above_its_coil_has_figures_and_never_leaves_it():
    winding = geo.winding(inner_radius=27e-3, outer_radius=55e-3, height=52e-3, turns=960, at=-26e-3, name="winding")
    plate = geo.plate(radius=65e-3, thickness=3e-3, at=6e-3, material=SOFT, name="plate")
    drive = fs.PrescribedCurrents({"winding": lambda t: 60.0 * np.sin(np.pi * t / 5e-3)})
    shot = fs.solve_shot(geo.CrossSection([winding, plate]), drive, end_time=5e-4, heating=False, accuracy=3e-2,
                         motion={"plate": fs.AxialMotion()})
    assert shot.departure("plate") is None
    assert not has_maps(shot) and len(plot_shape(shot)) == 2 and len(plot_sections(shot)) == 3
    assert plot_inductance(shot).lines[0].get_ydata().min() > 0
    json.dumps(shot_facts(shot), allow_nan=False)


@pytest.mark.slow
def test_a_shot_stopped_at_once_has_figures_still(tmp_path):
    def stop(time):
        raise KeyboardInterrupt
    early = fs.solve_shot(geo.CrossSection([coil_of(COPPER), DISC]), BANK, end_time=10e-6, accuracy=3e-2, motion=MOTION, progress=stop)
    assert early.interrupted and len(early.times) == 2
    assert fs.write_shot_figures(early, tmp_path)
    json.dumps(shot_facts(early), allow_nan=False)
    early.summary()


def test_held_cold_metal_has_no_such_figures():
    held = fs.solve_shot(geo.CrossSection([coil_of(COPPER)]), BANK, end_time=1e-6, accuracy=3e-2, motion=False, heating=False)
    for draw, words in ((plot_sections, "no metal moved"), (plot_shape, "no metal moved"), (plot_metal, "nothing in this shot heats")):
        with pytest.raises(InputError, match=words):
            draw(held)


def test_tables_say_from_when_on_they_are_beyond_the_model(shot, tmp_path):
    write_csv(shot, tmp_path / "out.csv")
    assert (tmp_path / "out.csv").read_text().startswith(f"# BEYOND THE MODEL from {shot.validity_end:.6g} s on")
    write_npz(shot, tmp_path / "out.npz")
    assert float(np.load(tmp_path / "out.npz")["beyond_the_model_from"]) == shot.validity_end


def test_the_meshes_of_a_series_carry_temperature_and_strain(shot, tmp_path):
    grid = meshio.read(fs.write_vtu_series(shot, tmp_path, every=len(shot.times))[-1])
    region, there = grid.cell_data["region"][0], shot.metal_at(shot.times[-1])
    of_disc = region == 1 + there.mesh.regions.index(("disc", 0))
    of_map = np.isin(there.triangles, there.mesh.part_triangles("disc"))
    assert grid.cell_data["temperature"][0][of_disc].max() == pytest.approx(there.temperature[of_map].max())
    assert (grid.cell_data["plastic_strain"][0][region == 0] == 0).all() and (grid.cell_data["temperature"][0][region == 0] == 293.15).all()


@pytest.mark.slow
def test_a_washer_has_facts_and_a_summary_without_what_it_lacks():
    washer = geo.washer(radius=15e-3, thickness=2e-3, hole_radius=5e-3, material=SOFT, name="washer")
    shot = fs.solve_shot(geo.CrossSection([coil_of(COPPER), washer]), BANK, end_time=4e-6, accuracy=3e-2,
                         motion={"washer": fs.FlowMotion(0.5)})
    body = json.loads(json.dumps(shot_facts(shot), allow_nan=False))["bodies"]["washer"]
    assert body["thickness_ratio_axis"] is None and body["thickness_ratio_mid-radius"] > 0
    assert body["inner_radius_end_m"] == pytest.approx(5e-3, rel=0.05)
    assert "hole 5 to" in shot.summary() and "at axis" not in shot.summary()


# ---- formers ---------------------------------------------------------------------------------------------------------

def test_a_former_without_stiffness_breaks_at_two_percent():
    assert fs.Former(0.08, strength=25e3).stiffness_and_break_strain == (25e3 / BREAK_STRAIN, BREAK_STRAIN)
    assert fs.Former(0.08, 4e6, 25e3).stiffness_and_break_strain == (4e6, 25e3 / 4e6)
    assert fs.Former(0.08).stiffness_and_break_strain == (0.0, np.inf)
    with pytest.raises(InputError, match="without strength"):
        fs.Former(0.08, stiffness=4e6)


def test_a_former_beside_given_motions_is_refused():
    with pytest.raises(InputError, match=r"give it to fs.HoopMotion\(former"):
        fs.solve_shot(geo.CrossSection([coil_of(COPPER)]), BANK, end_time=1e-6, motion={"coil": fs.HoopMotion()}, former=fs.Former(0.1))


def test_coils_share_their_former_by_turns():
    both = geo.CrossSection([coil_of(COPPER), geo.solenoid(turns=2, bore_radius=30e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER,
                                                           name="outer")])
    motions, _ = default_motions(both, fs.Former(0.06, strength=30e3))
    assert (motions["coil"].former.mass, motions["outer"].former.mass) == pytest.approx((0.04, 0.02))
    assert motions["outer"].former.strength == pytest.approx(10e3)


@pytest.mark.slow
def test_a_former_slows_the_turns():
    def strain(former):
        run = fs.solve_shot(geo.CrossSection([coil_of(COPPER)]), BANK, end_time=10e-6, accuracy=3e-2, former=former, heating=False)
        return run.series("hoop_strain", "coil")[-1]
    assert strain(fs.Former(0.2)) < 0.5 * strain(None)


def test_the_series_that_the_page_names_are_there(shot):
    page = (Path(__file__).resolve().parents[2] / "fieldsolve" / "shot" / "README.md").read_text(encoding="utf-8")
    for place in ("disc", "coil"):
        row = re.search(rf'^\| `shot\.series\(quantity, "{place}"\)`, moving \| (.*) \|$', page, re.MULTILINE).group(1)
        for quantity in re.findall(r"`(\w+)`", row):
            assert len(shot.series(quantity, place)) == len(shot.times)
    for call in re.findall(r"`shot\.(\w+)", page):
        assert hasattr(shot, call), call
