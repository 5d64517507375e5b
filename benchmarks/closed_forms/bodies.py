"""Permeable and magnetised bodies, and the pressure of a field."""
from __future__ import annotations

import numpy as np

from benchmarks.closed_forms.solenoids import nagaoka_coefficient, sheet_axis_field
from fieldsolve.constants import MU_0


def sphere_inside_field(relative_permeability) -> np.ndarray:
    """Flux density inside a permeable sphere over the applied one:  B / B0 = 3 mu_r / (mu_r + 2), a pure number.

    Source: J. D. Jackson, Classical Electrodynamics, sec. 5.11.
    """
    mu_r = np.asarray(relative_permeability, dtype=float)
    return 3 * mu_r / (mu_r + 2)


def sphere_dipole_coefficient(relative_permeability) -> np.ndarray:
    """Dipole strength of a permeable sphere:  m = (4 pi R^3 B0 / mu0) (mu_r - 1) / (mu_r + 2), a pure number.

    Source: J. D. Jackson, Classical Electrodynamics, sec. 5.11.
    """
    mu_r = np.asarray(relative_permeability, dtype=float)
    return (mu_r - 1) / (mu_r + 2)


def sphere_axis_field(relative_permeability, radius, applied, z) -> np.ndarray:
    """B_z on the axis through a permeable sphere in the uniform field `applied` along z.

        B_z = B0 3 mu_r / (mu_r + 2)                               |z| <= R
        B_z = B0 [ 1 + 2 (mu_r - 1) / (mu_r + 2) (R / |z|)^3 ]     |z| > R

    radius, z in metres, applied in tesla.  Returns tesla, shape of z.
    Source: J. D. Jackson, Classical Electrodynamics, sec. 5.11.
    """
    distance = np.maximum(np.abs(z), radius)
    outside = 1 + 2 * sphere_dipole_coefficient(relative_permeability) * (radius / distance) ** 3
    return applied * np.where(np.abs(z) <= radius, sphere_inside_field(relative_permeability), outside)


def magnetised_cylinder_axis_field(radius, length, polarisation, z) -> np.ndarray:
    """B_z on the axis of a cylinder with uniform mu0 M = `polarisation`: that of a sheet with N I / b = M.

    radius, length, z in metres, polarisation in tesla.  Returns tesla, shape of z.
    Source: equivalent surface current, J. D. Jackson, Classical Electrodynamics, sec. 5.9.
    """
    return sheet_axis_field(radius, length, polarisation / MU_0 * length, z)


def cylinder_demagnetising_factor(diameter_over_length) -> np.ndarray:
    """Volume-mean (magnetometric) demagnetising factor at zero susceptibility:  N = 1 - K_N(2 R / L).

    The mean of B_z / (mu0 M) is flux linkage of the equivalent sheet, hence Nagaoka's coefficient.
    Source: D.-X. Chen, J. A. Brug and R. B. Goldfarb, IEEE Trans. Magn. 27 (1991) 3601.
    """
    return 1 - nagaoka_coefficient(diameter_over_length)


def magnetic_pressure(flux_density) -> np.ndarray:
    """Pressure of a field along a wall:  p = B^2 / (2 mu0).  Tesla to pascal.  Source: Maxwell (1873) art. 643."""
    return np.asarray(flux_density, dtype=float) ** 2 / (2 * MU_0)
