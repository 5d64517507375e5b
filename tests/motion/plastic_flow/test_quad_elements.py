"""Quadrilaterals of revolution: uniform strain, rotation, work, no locking, no mode without resistance."""
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import i0, i1, j0, j1

import geometries as geo
from fieldsolve.motion.plastic_flow.quad_elements import (
    SHAPE_TABLE,
    characteristic_lengths,
    element_geometry,
    element_nodal_forces,
    element_rotation,
    evaluate_map,
    reference_frame,
    strain_increments,
)
from fieldsolve.motion.plastic_flow.quad_mesh import mesh_part, mesh_parts
from fieldsolve.motion.plastic_flow.solid import as_complex, as_vectors
from tests.motion.sample_metal import elastic, solid

DISC = geo.disc(radius=15e-3, thickness=2e-3)


def disturbed(part=DISC, amount=0.2e-3, seed=1):
    """The body's corners, and its nodes off their places but for those on the outline; on the axis they keep to the axis."""
    r, z = part.bounds[:2], part.bounds[2:]
    mesh = mesh_part(part, np.linspace(*r, 9), np.linspace(*z, 5))
    inside = (mesh.nodes[:, 0] < r[1]) & (np.abs(mesh.nodes[:, 1]) < z[1])
    shift = np.random.default_rng(seed).uniform(-amount, amount, mesh.nodes.shape) * inside[:, None]
    shift[mesh.on_axis, 0] = 0.0
    return mesh, as_complex(mesh.nodes + shift), inside & ~mesh.on_axis


def test_uniform_strain_is_seen_by_every_point_of_a_distorted_mesh():
    """u_r = a r, u_z = b z: the hoop strain equals the radial one everywhere, at the axis too."""
    mesh, places, _ = disturbed()
    corners, (a, b) = np.ascontiguousarray(mesh.quads.T), (1e-6, -3e-6)
    frame = reference_frame(evaluate_map(as_complex(mesh.nodes), corners))
    old, move = element_geometry(evaluate_map(places, corners)), evaluate_map(a * places.real + 1j * b * places.imag, corners)
    new = element_geometry(old.maps + move)
    plane, hoop = strain_increments(old, new, move, frame)
    assert plane * element_rotation(old.maps, frame) == pytest.approx(np.full(plane.shape, (a - b) / 2), abs=1e-11)
    assert hoop == pytest.approx(np.full(hoop.shape, (a - b) / 3), abs=1e-11)
    assert np.log(new.volume / old.volume) == pytest.approx(np.full(new.volume.shape, 2 * a + b), abs=1e-11)


def test_uniform_stress_leaves_no_force_inside():
    """Equal radial and hoop stress, another axial one: in equilibrium, so only the outline feels it, with the exact total."""
    mesh, places, inside = disturbed()
    corners = np.ascontiguousarray(mesh.quads.T)
    shape, frame = element_geometry(evaluate_map(places, corners)), reference_frame(evaluate_map(as_complex(mesh.nodes), corners))
    radial, axial = 3e8, -1e8
    mean = (2 * radial + axial) / 3
    points = np.ones((4, len(mesh.quads)))
    force = element_nodal_forces(
        shape, (radial - axial) / 2 * points / element_rotation(shape.maps, frame), (radial - mean) * points, mean * points[0], frame
    )
    total = np.bincount(corners.ravel(), force.real.ravel()) + 1j * np.bincount(corners.ravel(), force.imag.ravel())
    scale = radial * 2 * np.pi * 15e-3 * 2e-3
    assert np.abs(total[inside]).max() < 1e-12 * scale
    top = np.abs(mesh.nodes[:, 1] - 1e-3) < 1e-12
    assert total[top].imag.sum() == pytest.approx(axial * np.pi * 15e-3**2, rel=1e-12)


@pytest.mark.parametrize("angle", [0.01, 0.5, np.pi / 2, 3.0])
def test_a_turn_leaves_no_strain_and_takes_the_stress_along(angle):
    """A ring of so large a radius that its section can turn freely; the step as long as one likes."""
    mesh = mesh_parts([geo.tube(inner_radius=4.0, wall=1e-3, length=1e-3)])
    corners, far = np.ascontiguousarray(mesh.quads.T), 1e7
    rest = evaluate_map(as_complex(mesh.nodes - [4.0005, 0.0]), corners)
    frame = reference_frame(rest)
    rest[:4] += far
    old = element_geometry(rest)
    turned = rest.copy()
    turned[4:] *= np.exp(1j * angle)
    turned[:4] = far + (rest[:4] - far) * np.exp(1j * angle)
    new = element_geometry(turned)
    plane, hoop = strain_increments(old, new, turned - rest, frame)
    assert np.abs(plane).max() < 1e-9
    assert np.abs(hoop).max() < 1e-9
    stress = np.random.default_rng(2).normal(size=(3, 4, len(mesh.quads)))
    before, after = (element_nodal_forces(shape, stress[0] + 1j * stress[1], 0 * stress[2], stress[2, 0], frame) for shape in (old, new))
    scale = np.abs(before).max()
    hoop_share = np.abs(before * np.exp(1j * angle) - after).max()
    assert hoop_share < 1e-6 * scale


def test_forces_do_the_work_of_the_stress():
    """For any stress and any small motion: sum of force times move = integral of stress times strain."""
    mesh, places, _ = disturbed()
    corners, random = np.ascontiguousarray(mesh.quads.T), np.random.default_rng(5)
    frame = reference_frame(evaluate_map(as_complex(mesh.nodes), corners))
    cells = len(mesh.quads)
    numbers = random.normal(size=(3, 4, cells))
    plane, hoop, mean = numbers[0] + 1j * numbers[1], numbers[2], random.normal(size=cells)
    move = 1e-9 * (random.normal(size=len(places)) * (places.real > 0) + 1j * random.normal(size=len(places)))
    old, half, new = (element_geometry(evaluate_map(places + share * move, corners)) for share in (-0.5, 0.0, 0.5))
    force = element_nodal_forces(half, plane, hoop, mean, frame)
    strain, hoop_strain = strain_increments(old, new, evaluate_map(move, corners), frame)
    axial = 2 * (plane * strain.conj()).real + 1.5 * hoop * hoop_strain
    work = (half.weights * axial).sum() + (mean * (new.volume - old.volume)).sum()
    assert np.vdot(move[corners], force).real == pytest.approx(work, rel=1e-5)


def elastic_modes(mesh, places=None):
    """Angular frequencies in rad/s of the small elastic motions about a stress-free place, from the lowest; and the step's length."""
    bodies = solid(mesh, elastic())
    places = as_complex(mesh.nodes) if places is None else places
    old, count = element_geometry(evaluate_map(places, bodies.corners)), len(places)

    def force(move):
        maps = evaluate_map(move, bodies.corners)
        new = element_geometry(old.maps + maps)
        plane, hoop = strain_increments(old, new, maps, bodies.frame)
        mean = bodies.bulk * np.log(new.volume / old.volume)
        stress = 2 * bodies.shear * plane, 2 * bodies.shear * hoop, mean
        return as_vectors(bodies.to_nodes(element_nodal_forces(new, *stress, bodies.frame))).ravel()

    unit = 1e-9 * np.repeat(np.eye(count), 2, axis=0) * np.tile([1, 1j], count)[:, None]
    stiffness = np.array([(force(move) - force(-move)) / 2e-9 for move in unit])
    free = np.stack([~mesh.on_axis, np.ones(count, bool)], axis=1).ravel()
    mass = np.repeat(bodies.mass, 2)[free]
    matrix = stiffness[np.ix_(free, free)] / np.sqrt(np.outer(mass, mass))
    assert np.abs(matrix - matrix.T).max() < 1e-8 * np.abs(matrix).max()
    sound = np.sqrt((bodies.bulk + 4 / 3 * bodies.shear) / bodies.density)
    return np.sqrt(np.maximum(np.linalg.eigvalsh((matrix + matrix.T) / 2), 0.0)), (characteristic_lengths(old) / sound).min()


WASHER = geo.washer(radius=15e-3, thickness=2e-3, hole_radius=0.5e-3)
MESHES = [mesh_part(part, np.linspace(*part.bounds[:2], a + 1), np.linspace(*part.bounds[2:], b + 1))
          for part in (DISC, WASHER) for a, b in ((6, 1), (3, 6), (15, 6), (2, 8))]


@pytest.mark.parametrize("mesh", MESHES, ids=lambda mesh: f"{len(mesh.quads)} cells")
def test_only_the_axial_flight_is_without_resistance_and_no_step_too_long(mesh):
    """Every other mode, hourglass modes among them, has stiffness; the length of `lengths` bounds the fastest of them."""
    modes, crossing = elastic_modes(mesh)
    assert modes[0] < 1e-4 * modes[1]
    assert modes[1] > 1e4
    assert modes[-1] * crossing <= 2.0


@pytest.mark.parametrize("seed", range(3))
def test_no_step_too_long_in_distorted_meshes(seed):
    mesh, places, _ = disturbed(amount=0.3e-3, seed=seed)
    modes, crossing = elastic_modes(mesh, places)
    assert modes[0] < 1e-4 * modes[1]
    assert modes[-1] * crossing <= 2.0


def plate_root(poisson):
    """x of a free plate's lowest axisymmetric bending, omega = x^2/R^2 sqrt(D/(rho h)); A. W. Leissa, Vibration of Plates (1969), 2.1.

    With w = J0(k r) + c I0(k r) neither moment nor shear at the rim: at nu = 0.33 tables give x^2 = 9.068 (from memory).
    """
    def determinant(x):
        moment = (-x * x * j0(x) + (1 - poisson) * x * j1(x), x * x * i0(x) - (1 - poisson) * x * i1(x))
        shear = (x**3 * j1(x), x**3 * i1(x))
        return moment[0] * shear[1] - moment[1] * shear[0]

    return brentq(determinant, 2.0, 4.0)


def test_root_of_the_plate():
    assert plate_root(0.33) ** 2 == pytest.approx(9.068, rel=1e-3)


@pytest.mark.parametrize(("columns", "rows", "within"), [(30, 2, 0.13), (30, 4, 0.04), (15, 4, 0.04)])
def test_long_cells_bend_as_plates_do(columns, rows, within):
    """A disc of 15 x 0.3 mm, cells up to thirteen times as long as high: shear would lock them to some times the frequency."""
    disc = geo.disc(radius=15e-3, thickness=0.3e-3)
    modes, _ = elastic_modes(mesh_part(disc, np.linspace(0, 15e-3, columns + 1), np.linspace(*disc.bounds[2:], rows + 1)))
    metal = elastic()
    flexural = metal.youngs_modulus * 0.3e-3**3 / 12 / (1 - metal.poissons_ratio**2)
    exact = plate_root(metal.poissons_ratio) ** 2 / 15e-3**2 * np.sqrt(flexural / (metal.density * 0.3e-3))
    assert modes[1] == pytest.approx(exact, rel=within)


def test_second_order_in_space():
    """The slowest bending of a free disc, from cells 1, 1/2 and 1/4 as large."""
    found = [elastic_modes(mesh_part(DISC, np.linspace(0, 15e-3, columns + 1), np.linspace(-1e-3, 1e-3, columns // 3 + 1)))[0][1]
             for columns in (6, 12, 24)]
    assert abs(found[2] - found[1]) < 0.3 * abs(found[1] - found[0])
    assert abs(found[2] - found[1]) < 0.03 * found[2]


def test_shape_functions_are_one_together():
    assert SHAPE_TABLE[:4].sum(axis=1) == pytest.approx(np.ones(4))
    assert SHAPE_TABLE[4:].sum(axis=1) == pytest.approx(np.zeros(10))
