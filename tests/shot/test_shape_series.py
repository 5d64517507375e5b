"""The waist of a tube and the crown of a flat body, from positions that are prescribed."""
from dataclasses import replace

import numpy as np
import pytest

import geometries as geo
from fieldsolve.shot.history import History
from fieldsolve.shot.instant import MetalSnapshot, StoredInstant
from fieldsolve.shot.result.shape_series import is_tube, with_shape_series
from geometries.mesher import mesh_section

TUBE = geo.tube(inner_radius=20e-3, wall=1e-3, length=40e-3, name="can")
PLATE = geo.plate(radius=30e-3, thickness=1e-3, at=5e-3, name="lid")
TIMES = np.array([0.0, 1e-6, 2e-6, 4e-6])
SHARES = np.array([0.0, 0.1, 0.2, 0.4])


def moved(part, place):
    """History of a part whose metal stands at `place(r, z, share)` at each of TIMES."""
    section = geo.CrossSection([part])
    mesh = mesh_section(section)
    instants = []
    for time, share in zip(TIMES, SHARES, strict=True):
        nodes = np.stack(place(*mesh.nodes.T, share), axis=1)
        instants.append(StoredInstant(time, np.zeros(mesh.size), np.zeros(mesh.size), np.zeros(len(mesh.triangles)),
                                      replace(mesh, nodes=nodes), MetalSnapshot(None, {}, {})))
    values = {("outer_radius", part.name): np.ones(4), ("rim_thickness", part.name): np.ones(4)}
    return with_shape_series(History(TIMES, values), section, instants)


@pytest.mark.parametrize("sign", [-1, 1])
def test_the_waist_of_a_tube_is_where_its_radius_changes_most(sign):
    """r (1 + sign s exp(-((z - z0)/w)^2)): radii and wall at z0 are 1 + sign s times what they were; crushed or bulged."""
    z0 = float(np.linspace(-20e-3, 20e-3, 5)[3])
    history = moved(TUBE, lambda r, z, s: (r * (1 + sign * s * np.exp(-((z - z0) / 5e-3) ** 2)), z))
    for quantity, start in (("inner_radius", 20e-3), ("outer_radius", 21e-3), ("thickness", 1e-3)):
        assert history.series(f"waist_{quantity}", "can") == pytest.approx(start * (1 + sign * SHARES), rel=2e-3)
    assert history.series("waist_height", "can") == pytest.approx(np.full(4, z0), abs=1e-3)
    assert ("rim_thickness", "can") not in history.values and ("crown_height", "can") not in history.values


def test_the_crown_of_a_plate_is_its_height_over_the_rim():
    """z + s h (1 - (r/R)^2) + s d: the crown is s h high on the axis, and goes (h + d) ds/dt; the rim's own way is no crown."""
    h, d = 10e-3, 3e-3
    history = moved(PLATE, lambda r, z, s: (r, z + s * h * (1 - (r / 30e-3) ** 2) + s * d))
    assert history.series("crown_height", "lid") == pytest.approx(SHARES * h, rel=1e-9)
    assert history.series("crown_radius", "lid") == pytest.approx(np.zeros(4), abs=1e-9)
    assert history.series("crown_speed", "lid")[1:] == pytest.approx((h + d) * 1e5, rel=1e-6)
    assert ("waist_height", "lid") not in history.values and ("rim_thickness", "lid") in history.values


def test_a_tube_that_does_not_change_has_a_waist_of_its_own_size():
    history = moved(TUBE, lambda r, z, s: (r, z + s * 1e-3))
    assert history.series("waist_inner_radius", "can") == pytest.approx(np.full(4, 20e-3))
    assert np.isfinite(history.series("waist_height", "can")).all()


def test_bodies_without_faces_or_motion_have_neither():
    sphere = geo.sphere(radius=10e-3, name="ball")
    assert {quantity for quantity, _ in moved(sphere, lambda r, z, s: (r, z + s)).values} == {"outer_radius", "rim_thickness"}
    history = History(TIMES, {})
    assert with_shape_series(history, geo.CrossSection([TUBE]), ()).values == {}
    assert is_tube(TUBE) and not is_tube(PLATE) and not is_tube(geo.washer(radius=9e-3, hole_radius=4e-3, thickness=1e-3))
