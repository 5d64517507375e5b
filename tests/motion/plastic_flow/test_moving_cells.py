"""Cells as they move: the formulas in place against the readable ones."""
import numpy as np
import pytest

from fieldsolve.motion.plastic_flow.moving_cells import MovingCells
from fieldsolve.motion.plastic_flow.quad_elements import element_geometry, element_nodal_forces, evaluate_map, strain_increments
from fieldsolve.motion.plastic_flow.solid import as_complex
from tests.motion.plastic_flow.test_quad_elements import disturbed
from tests.motion.sample_metal import elastic, solid


def test_moves_strains_and_forces_are_those_of_the_readable_formulas():
    """Over two moves of a distorted mesh, for any stress."""
    mesh, places, inside = disturbed()
    body, random = solid(mesh, elastic()), np.random.default_rng(3)
    cells, old = MovingCells(body, places), element_geometry(evaluate_map(places, body.corners))
    for _ in range(2):
        displacement = 2e-5 * as_complex(random.normal(size=(len(places), 2))) * inside
        move = evaluate_map(displacement, body.corners)
        new = element_geometry(old.maps + move)
        assert cells.move(displacement) == pytest.approx(new.radius_and_jacobian.min(), rel=1e-12)
        assert cells.weights == pytest.approx(new.weights, rel=1e-12)
        assert cells.volume == pytest.approx(new.volume, rel=1e-12)
        assert cells.volume_before == pytest.approx(old.volume, rel=1e-12)
        plane, hoop = strain_increments(old, new, move, body.frame)
        normal, shear, found_hoop = cells.strain_increments()
        assert normal == pytest.approx(plane.real, rel=1e-9, abs=1e-14)
        assert np.broadcast_to(shear, plane.shape) == pytest.approx(plane.imag, rel=1e-9, abs=1e-14)
        assert found_hoop == pytest.approx(hoop, rel=1e-9, abs=1e-14)
        normal, shear, hoop, mean = *random.normal(size=(3, *hoop.shape)), random.normal(size=hoop.shape[1])
        exact = body.to_nodes(element_nodal_forces(new, normal + 1j * shear, hoop, mean, body.frame))
        assert cells.nodal_forces(normal, shear, hoop, mean) == pytest.approx(exact, rel=1e-12, abs=1e-12 * np.abs(exact).max())
        old = new
