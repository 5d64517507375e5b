"""What is read off a shot: stranded coils, insulation, the whole field at an instant, errors, the screen and the notebook."""
import math
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.field.quantities.bore_peak import BoreBoundary, LocatedPoints
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.report.text.shot import shot_facts
from fieldsolve.shot.history import Recorder
from fieldsolve.shot.observables import insulation
from fieldsolve.shot.observables.probes import locate_rims
from fieldsolve.shot.result.error_model import SAFETY_FACTOR, RunComparison
from geometries.mesher import mesh_section
from geometries.outlines import polyline

COPPER, ALUMINIUM = fs.material("copper"), fs.material("aluminium 1100-O")
BANK = fs.Bank(120e-6, 4e3, 6e-3, 350e-9, 80.0)
WINDING = {"inner_radius": 15.6e-3, "outer_radius": 18.6e-3, "height": 6e-3, "turns": 3, "fill": 0.7, "material": COPPER}


def solved(*parts, banks=BANK, **options):
    return fs.solve_shot(geo.CrossSection(parts), banks, motion=False, **{"end_time": 20e-6, "accuracy": 1e-2} | options)


@pytest.fixture(scope="module")
def stranded():
    return solved(geo.winding(**WINDING), geo.disc(radius=15e-3, thickness=2e-3, material=ALUMINIUM), accuracy=6e-3).refined()


@pytest.fixture(scope="module")
def field(stranded):
    """At the stored instant nearest to 10 us."""
    return stranded.field_at(stranded.times[np.abs(stranded.times - 10e-6).argmin()])


def test_a_quantity_that_agrees_with_another_run_by_chance_is_off_as_others_are(field):
    lucky = replace(field, compared=(RunComparison(None, False, 0.3, {"T": 1e-3, "": 2e-3}), field))
    assert lucky.peak_field("bore").error == pytest.approx(SAFETY_FACTOR * 1e-3 * lucky.peak_field("bore"))
    for quantity in (lucky.axial_force("coil"), lucky.net_current("disc")):
        assert quantity.error == pytest.approx(SAFETY_FACTOR * 2e-3 * abs(quantity.value), abs=1e-12)


def test_the_rim_is_where_a_body_is_widest():
    """Of a disc at half its thickness, of a cone at its wide end."""
    cone = polyline([(0.0, 0.02), (12e-3, 0.02), (6e-3, 0.03), (0.0, 0.03)])
    parts = geo.disc(radius=15e-3, thickness=2e-3, material=COPPER), geo.Part("cone", "cone", (geo.Zone("cone", cone, COPPER),))
    section = geo.CrossSection([geo.winding(**WINDING), *parts])
    mesh = mesh_section(section)
    rims = locate_rims(section, mesh, ("disc", "cone")).sample_on(mesh)
    assert rims.r[:, 0] == pytest.approx([15e-3, 12e-3], rel=1e-8)
    assert rims.z[:, 0] == pytest.approx([0.0, 20e-3], abs=1e-9)


# ---- stranded coils ----------------------------------------------------------------------------------------------------

def test_a_stranded_coil_heats_by_its_action_and_the_balance_closes(stranded):
    """J = N I / (area fill) in its metal, the same everywhere: the action to its temperature is the integral of J^2."""
    assert stranded.energy.residual < 2e-3
    per_ampere = WINDING["turns"] / (3e-3 * 6e-3 * WINDING["fill"])
    temperature = stranded.series("mean_temperature", "coil")[-1]
    assert heat_content(COPPER).action(temperature) == pytest.approx(per_ampere**2 * stranded.action("coil"), rel=2e-3)
    assert stranded.series("temperature", "coil")[-1] == pytest.approx(temperature, rel=1e-6) and temperature > 294


def test_a_record_ends_before_a_time():
    recorder = Recorder()
    for time in (0.0, 1e-6, 2e-6):
        recorder.add(time, {("current", "coil"): time}, np.zeros(1), np.zeros(1), np.zeros(1), None)
    recorder.truncate(2e-6)
    assert recorder.times.tolist() == [0.0, 1e-6] == recorder.history.series("current", "coil").tolist()


def test_its_resistance_rises_as_it_heats():
    hot = solved(geo.winding(**WINDING | {"fill": 0.02}), end_time=15e-6, accuracy=2e-3)      # little copper: it nearly melts
    resistance = hot.series("power", "coil")[1:] / hot.series("current", "coil")[1:] ** 2
    content, temperature = heat_content(COPPER), hot.series("mean_temperature", "coil")[1:]
    assert temperature[-1] > 500
    assert resistance / resistance[0] == pytest.approx(content.resistivity(temperature) / content.resistivity(temperature[0]), rel=5e-3)
    assert hot.energy.residual < 2e-3


def test_force_on_stranded_coils_is_that_of_the_static_field():
    """Without solid metal the field is at rest at every instant."""
    low, high = (geo.winding(**WINDING | {"at": z, "name": name}) for z, name in ((-5e-3, "low"), (5e-3, "high")))
    shot = solved(low, high, end_time=5e-6, heating=False)
    current = shot.series("current", "low")[-1]
    still = fs.solve_static(geo.CrossSection([low, high]), {"low": current, "high": current}, accuracy=1e-3)
    assert shot.series("axial_force", "low")[-1] == pytest.approx(still.axial_force("low"), rel=2e-3)
    assert shot.field_at(5e-6).flux_linkage("low") == pytest.approx(still.flux_linkage("low"), rel=1e-3)
    assert shot.field_at(5e-6).dipole_moment() == pytest.approx(still.dipole_moment(), rel=1e-3)


# ---- insulation --------------------------------------------------------------------------------------------------------

def two_layers(name="coil", at=0.0):
    return geo.solenoid(turns=4, layers=2, bore_radius=16e-3, wire_diameter=2e-3, pitch=2.3e-3, material=COPPER, name=name, at=at)


def test_layers_are_wound_there_and_back():
    """Four turns of one volt: between the layers' free ends lie all four, less the turn that the angle takes."""
    section = geo.CrossSection([two_layers()])
    found = insulation.insulation_voltages(section, (("coil",),), {"coil": 4.0}, {"coil": np.ones(4)})
    assert found == {("turn_voltage", "coil"): 1.0, ("neighbour_voltage", "coil"): 3.0, ("voltage_to_body", "coil"): 4.0}
    order, pairs = insulation.winding_order(section.part("coil"))
    assert order.tolist() == [0, 1, 3, 2] and sorted(map(sorted, pairs.tolist())) == [[0, 1], [0, 2], [1, 3], [2, 3]]


def test_the_first_coil_in_series_stands_at_the_whole_voltage():
    section = geo.CrossSection([two_layers("low", -6e-3), two_layers("high", 6e-3)])
    found = insulation.insulation_voltages(
        section, (("high", "low"),), {"low": 4.0, "high": 8.0}, {"low": np.ones(4), "high": 2 * np.ones(4)}
    )
    assert (found["voltage_to_body", "high"], found["voltage_to_body", "low"]) == (12.0, 4.0)
    assert found["neighbour_voltage", "high"] == 6.0


def test_turns_of_a_solved_coil_share_its_voltage(stranded):
    shot = solved(two_layers(), end_time=2e-6, heating=False)
    voltage, turn, to_body = (np.abs(shot.series(quantity, "coil")) for quantity in ("voltage", "turn_voltage", "voltage_to_body"))
    assert (turn >= voltage / 4 * (1 - 1e-9)).all() and (turn < voltage / 3).all()
    assert to_body == pytest.approx(voltage, rel=1e-6)
    assert stranded.series("turn_voltage", "coil") == pytest.approx(np.abs(stranded.series("voltage", "coil")) / 3)
    with pytest.raises(InputError, match="neighbour_voltage"):
        stranded.series("neighbour_voltage", "coil")                        # a winding's layers are not known


# ---- the field at an instant --------------------------------------------------------------------------------------------

def test_moment_is_that_of_the_far_field(field):
    """B_z = mu_0 m / (2 pi z^3) on the axis far away."""
    far = 5.0
    assert field.dipole_moment() == pytest.approx(2 * math.pi * far**3 * field.flux_density(0.0, far)[1] / MU_0, rel=1e-3)


def test_mean_field_of_a_disc_is_the_mean_flux_through_it(field):
    z, weight = np.polynomial.legendre.leggauss(12)
    flux = field.flux(np.full(12, 15e-3), 1e-3 * z) @ weight / 2
    assert field.mean_flux_density("disc") == pytest.approx(flux / (math.pi * 15e-3**2), rel=1e-4)


def test_linked_flux_is_the_voltage_left_of_the_resistance(stranded, field):
    voltage, current, power = (stranded.series(quantity, "coil") for quantity in ("voltage", "current", "power"))
    drop = np.divide(power, current, out=np.zeros_like(power), where=current != 0)
    linked = np.concatenate([[0.0], np.cumsum(0.5 * (voltage - drop)[1:] * np.diff(stranded.times)
                                              + 0.5 * (voltage - drop)[:-1] * np.diff(stranded.times))])
    assert field.flux_linkage("coil") == pytest.approx(np.interp(field.time, stranded.times, linked), rel=5e-3)
    with pytest.raises(InputError, match="disc is not a coil"):
        field.flux_linkage("disc")


def test_series_are_those_of_the_field(stranded, field):
    k = int(np.flatnonzero(stranded.times == field.time)[0])
    radial, axial = field.force("disc")
    assert radial == pytest.approx(stranded.series("radial_force", "disc")[k], rel=1e-9) and abs(axial) < 1e-3 * abs(radial)
    assert field.net_current("disc") == pytest.approx(stranded.series("current", "disc")[k], rel=1e-9)
    inside = field.magnetic_pressure(15e-3 * (1 - 1e-6), 0.0)                     # B has no jump there
    assert stranded.series("rim_pressure", "disc")[k] == pytest.approx(inside, rel=1e-2)
    line = field.along((0.0, 0.0), (19e-3, 0.0), 5)
    assert line["distance"][-1] == pytest.approx(19e-3) and line["J_phi"][-2] < 0 < line["B_z"][0]


def test_every_quantity_has_an_error_after_a_refined_run(stranded, field):
    figures = [field.energy(), field.peak_field("bore"), field.dipole_moment(), field.mean_flux_density("disc"), field.net_current("disc"),
               *field.force("disc")[:1], stranded.impulse("disc"), stranded.action("coil"), stranded.residual_voltages["bank"],
               stranded.peak("rim_pressure", "disc"), stranded.energy.final_energies()["field"]]
    for figure in figures:
        assert 0 < figure.error < 0.02 * abs(figure), figure
    error = stranded.series_error("current", "coil")
    assert error.shape == stranded.times.shape and 0 < error.max() < 0.01 * stranded.peak("current", "coil")
    assert 0 < field.flux_density_error(0.0, 5e-3) < 0.02 * np.hypot(*field.flux_density(0.0, 5e-3))


def test_the_largest_value_does_not_depend_on_where_the_points_lie():
    """1 - (x - c)^2 is 1 at c, between the points as at them."""
    x = np.array([0.0, 0.7, 1.0, 1.8, 2.5, 3.0])
    middle = np.arange(1, 5)
    border = BoreBoundary(LocatedPoints(x, -x, None, None), middle, middle - 1, middle + 1, np.diff(x)[:-1], np.diff(x)[1:])
    for c in np.linspace(0.9, 2.2, 27):
        peak = border.peak(2 - (x - c) ** 2)
        assert (peak.value, peak.r, peak.z) == pytest.approx((2.0, c, -c), rel=1e-12)
    assert border.peak(x).value == 3.0


# ---- the screen and the notebook ----------------------------------------------------------------------------------------

def test_banks_are_distinguished_and_nothing_that_is_not(stranded):
    banks = [BANK, fs.Bank(10e-6, 3e3, 0.0, 1e-6, fires_at=3e-6)]
    two = solved(geo.winding(**WINDING), banks=banks, end_time=6e-6, heating=False).summary()
    assert "bank 1 " in two and "bank 2 " in two and "10 uF at 3 kV" in two and "banks' energy" in two
    assert "molten" not in stranded.summary() and "hottest" in stranded.summary() and "hottest" not in two
    assert len(stranded.summary().splitlines()) < 24


def test_given_currents_and_moving_bodies_have_no_bank_and_say_how_they_move():
    section = geo.CrossSection([geo.winding(**WINDING), geo.disc(radius=12e-3, thickness=2e-3, material=ALUMINIUM)])
    drive = fs.PrescribedCurrents({"coil": lambda t: 2e3 * math.sin(2e4 * t)})
    shot = fs.solve_shot(section, drive, end_time=2e-5, motion={"disc": fs.AxialMotion()}, accuracy=1e-2)
    text, facts = " ".join(shot.summary().split()), shot_facts(shot)
    assert "metal moving" in text and "LIVE" not in text and "largest energy" in text
    assert "a coil held still" in text and "overstates" not in text
    assert facts["held"] is False and facts["reversal"] is None and facts["banks"] == {}
    with pytest.raises(InputError, match="no bank whose voltage reverses"):
        shot.reversal                                                       # noqa: B018


def test_the_notebook_shows_a_plain_table_with_names_escaped():
    html = solved(geo.winding(**WINDING | {"name": "<b>&"}), end_time=2e-6, heating=False)._repr_html_()
    assert "&lt;b&gt;&amp;" in html and "<b>" not in html and html.startswith("<table>") and "LIVE" in html


def test_the_shot_draws_a_record_over_its_current(stranded, tmp_path):
    path = tmp_path / "scope.csv"
    path.write_text("".join(f"{t:.9g},{0.95 * i:.9g}\n" for t, i in zip(stranded.times, stranded.series("current", "coil"), strict=True)))
    top, _ = stranded.plot_current(measured=path)
    assert "computed less measured" in top.get_title() and "+5.3 %" in top.get_title()
