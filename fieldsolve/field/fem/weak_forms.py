"""The weak forms as on paper, in scikit-fem: what tests and the reference solver check the fast forms by.

Unknown u = A_phi / r, test function v, weight per radian.  In the exterior domain the unknown is w, the Kelvin transform of u.
"""
from __future__ import annotations

import numpy as np
from skfem import BilinearForm, LinearForm
from skfem.assembly import CellBasis
from skfem.element import ElementTriP2
from skfem.mesh import MeshTri2

from fieldsolve.field.fem.reference_triangle import kept_entries
from geometries.mesh import Mesh

ORDER = 9       # of the quadrature: the forms are of degree 7 on straight triangles


@BilinearForm
def curl(u, v, w):
    """nu curl(A) . curl(A'), with B_r = -r u_z and B_z = 2u + r u_r."""
    r, (u_r, u_z), (v_r, v_z) = w.x[0], u.grad, v.grad
    return w.nu * r * (r**2 * u_z * v_z + (2 * u + r * u_r) * (2 * v + r * v_r))


@BilinearForm
def kelvin(u, v, w):
    """The exterior domain: nu_0 r^3 grad w . grad v."""
    (u_r, u_z), (v_r, v_z) = u.grad, v.grad
    return w.nu * w.x[0]**3 * (u_r * v_r + u_z * v_z)


@BilinearForm
def conduction(u, v, w):
    """sigma r^3 u v, the eddy current's form."""
    return w.sigma * w.x[0]**3 * u * v


@LinearForm
def current(v, w):
    """J r^2 v: a given current density."""
    return w.density * w.x[0]**2 * v


@LinearForm
def turn(v, w):
    """sigma r v: the voltage of a solid turn."""
    return w.sigma * w.x[0] * v


@LinearForm
def axial_curl(v, w):
    """s r (2v + r v_r): an axial field, magnetization or reluctivity step acting on B_z of v."""
    r, (v_r, _) = w.x[0], v.grad
    return w.strength * r * (2 * v + r * v_r)


def local_matrices(form, basis: CellBasis, **coefficients: np.ndarray) -> np.ndarray:
    """Entries a >= b of each triangle's matrix, coefficients (m,) constant over triangles; shape (m, 21)."""
    kept = kept_entries(2)
    return form.elemental(basis, **_fields(basis, coefficients)).tolocal()[:, kept.rows, kept.columns]


def local_vectors(form, basis: CellBasis, **coefficients: np.ndarray) -> np.ndarray:
    """Each triangle's vector; shape (m, 6)."""
    return form.elemental(basis, **_fields(basis, coefficients)).tolocal()


def triangle_basis(mesh: Mesh, triangles: np.ndarray) -> CellBasis:
    """Quadratic isoparametric basis over some triangles of the mesh."""
    used, local = np.unique(mesh.triangles[triangles], return_inverse=True)
    part = MeshTri2(mesh.nodes[used].T.copy(), local.reshape(-1, 6).T.copy(), sort_t=False, validate=False)
    return CellBasis(part, ElementTriP2(), intorder=ORDER)


def _fields(basis: CellBasis, coefficients: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    return {name: np.broadcast_to(np.asarray(value)[:, None], basis.dx.shape) for name, value in coefficients.items()}
