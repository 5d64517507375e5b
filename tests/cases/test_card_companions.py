"""What a rig's card takes beside a shot: held metal on a coarser mesh of the same section, good to a percent."""
from dataclasses import replace

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.cases.card_companions import COIL_INDUCTANCE, HELD_SHOT, card_shots, with_card_companions
from fieldsolve.cases.case_file import read_case
from fieldsolve.cases.solve import solve_case_shot
from fieldsolve.field.transient.meshing import coarsened_mesh
from fieldsolve.motion.defaults import with_grids
from fieldsolve.rig.coil import empty_inductance, empty_inductance_on
from fieldsolve.rig.from_shot import shot_quantities
from geometries.mesher import mesh_section

CASE = read_case({
    "coil": {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm", "pitch": "3.3 mm", "material": "copper"},
    "disc": {"shape": "disc", "radius": "15 mm", "thickness": "2 mm", "material": "aluminium 1100-O"},
    "bank": {"capacitance": "120 uF", "voltage": "3 kV", "inductance": "350 nH", "resistance": "6 mohm"},
    "run": {"end_time": "12 us", "accuracy": 1e-2}})


@pytest.fixture(scope="module")
def moving():
    return solve_case_shot(CASE, error_bounds=False)


def test_the_held_shot_has_a_coarser_mesh_of_the_same_section_and_nearly_the_same_quantities(moving):
    shot = with_card_companions(CASE, moving)
    held, found = shot.companions[HELD_SHOT], card_shots(shot)
    assert held.held and not held.comparisons and held.instants[0].mesh.size < 0.8 * moving.instants[0].mesh.size
    assert (found.shot, found.moving_shot) == (held, shot)
    quantities, good = shot_quantities(held), shot_quantities(solve_case_shot(CASE, 3e-3, held=True, error_bounds=False))
    for name in ("coil_current", "current_rate", "action", "outward_force", "field_rate", "turn_voltage"):
        assert getattr(quantities, name) == pytest.approx(getattr(good, name), rel=5e-3), name
    assert quantities.action_share["disc"] == pytest.approx(good.action_share["disc"], rel=8e-3)


def test_a_thin_body_has_mapped_cells_where_the_flowing_one_had_a_grid():
    section = geo.CrossSection([geo.tube(inner_radius=10e-3, wall=0.5e-3, length=20e-3, material=fs.material("copper"))])
    flowing = mesh_section(with_grids(section, {"tube": fs.FlowMotion()}))
    mesh = coarsened_mesh(section, flowing, 1.5)
    assert not flowing.mapped and mesh.mapped["tube", 0].shape[1] > 1 and mesh.size < flowing.size


def test_what_is_there_is_not_computed_again(moving):
    held = replace(moving, companions={HELD_SHOT: moving})
    shot = with_card_companions(CASE, held, solve=lambda *_, **__: pytest.fail("solved again"))
    assert shot.companions[HELD_SHOT] is moving
    coils = (CASE.section.part("coil"),)
    assert shot.companions[COIL_INDUCTANCE] == pytest.approx(empty_inductance(CASE.section, coils, 1e-3), rel=3.5e-5)
    assert with_card_companions(CASE, shot, solve=None).companions == shot.companions


def test_on_the_mesh_of_a_rig_only_the_given_coils_count():
    copper, steel = fs.material("copper"), fs.Material(conductivity=4e6, relative_permeability=100.0)
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=copper)
    others = (geo.disc(radius=15e-3, thickness=2e-3, material=steel), geo.loop(radius=25e-3, name="pickup"),
              geo.solenoid(turns=2, bore_radius=24e-3, wire_diameter=3e-3, pitch=3.3e-3, material=copper, name="short"))
    section = geo.CrossSection([coil, *others])
    found = empty_inductance_on(mesh_section(section), section, (coil,))
    assert found == pytest.approx(empty_inductance(section, (coil,), 1e-3), rel=2.5e-5)
