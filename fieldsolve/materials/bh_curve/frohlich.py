"""Froehlich's law of magnetization."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.materials.number_checks import check_fields
from fieldsolve.renamed import old_attributes
from geometries.keywords import known_keywords


@known_keywords
@dataclass(frozen=True)
class Frohlich:
    """Froehlich's law, a B-H curve of two numbers.

    Parameters
    ----------
    saturation : float
        J_s, tesla.
    initial_permeability : float
        mu_i, relative, larger than 1.

    Raises
    ------
    InputError
        For a number that is not finite or not in these bounds.

    Notes
    -----
    ``B = mu_0 H + J_s H/(H + a)``, with ``a = J_s/(mu_0 (mu_i - 1))``.

    Examples
    --------
    >>> print(f"{Frohlich(saturation=2.16, initial_permeability=150.0).field_strength(1.0):.0f} A/m")
    9721 A/m
    """

    saturation: float
    initial_permeability: float

    __getattr__ = old_attributes("Frohlich")

    def __post_init__(self):
        check_fields(self)
        if self.initial_permeability <= 1:
            raise InputError(f"initial_permeability = {self.initial_permeability:g}: must be larger than 1, such as 250")

    @property
    def half_saturation_field(self) -> float:
        """a, the field in A/m at which half of the saturation is reached."""
        return self.saturation / (MU_0 * (self.initial_permeability - 1))

    def field_strength(self, B: np.ndarray) -> np.ndarray:
        """H in A/m, the positive root of `mu_0 H^2 + p H - a B = 0`, `p = mu_0 a + J_s - B`, without cancellation."""
        B, a = np.asarray(B, dtype=float), self.half_saturation_field
        p = MU_0 * a + self.saturation - B
        root = np.sqrt(p * p + 4 * MU_0 * a * B)
        return np.where(p > 0, 2 * a * B / np.where(p > 0, p + root, 1.0), (root - p) / (2 * MU_0))

    def differential_reluctivity(self, B: np.ndarray) -> np.ndarray:
        """dH/dB in m/H."""
        a = self.half_saturation_field
        return 1 / (MU_0 + self.saturation * a / (self.field_strength(B) + a) ** 2)

    def energy_density(self, B: np.ndarray) -> np.ndarray:
        """Integral of H dB in J/m^3."""
        H, a = self.field_strength(B), self.half_saturation_field
        return H * B - (MU_0 * H**2 / 2 + self.saturation * (H - a * np.log1p(H / a)))
