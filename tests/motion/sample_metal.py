"""Mechanical data for tests of motion."""
from dataclasses import dataclass

from fieldsolve.errors import InputError
from fieldsolve.materials.flow_stress import JohnsonCook, ZerilliArmstrong
from fieldsolve.materials.flow_stress.power_law import power_hardening
from fieldsolve.materials.mechanical import Mechanical
from fieldsolve.motion.plastic_flow.solid import build_solid

# OFHC copper: G. R. Johnson, W. H. Cook, Proc. 7th Int. Symp. on Ballistics, The Hague, 541 (1983), from memory
COPPER = JohnsonCook(initial=90e6, hardening=292e6, exponent=0.31, rate=0.025, thermal=1.09, reference_rate=1.0,
                    reference_temperature=293.15, melting=1356.0)

# OFHC copper and Armco iron: F. J. Zerilli, R. W. Armstrong, J. Appl. Phys. 61, 1816 (1987), from memory
ZERILLI_COPPER = ZerilliArmstrong(athermal=65e6, thermal_hardening=890e6, softening=2.8e-3, rate_sensitivity=1.15e-4, melting=1356.0)
ZERILLI_IRON = ZerilliArmstrong(athermal=65e6, thermal=1033e6, athermal_hardening=266e6, exponent=0.289, softening=6.98e-3,
                                rate_sensitivity=4.15e-4, melting=1811.0)


@dataclass(frozen=True)
class SquareRoot:
    """A law that a caller might write: K e^(1/2), the same at every rate and temperature."""

    hardening: float
    scale: float = 1.0
    melting: float = 1e9
    quasi_static_rate: float = 1.0

    @property
    def initial_stress(self):
        return 0.1 * self.hardening

    def thermal_softening(self, temperature):
        return self.scale + 0.0 * temperature

    def quasi_static_stress(self, strain, softening):
        return softening * power_hardening(self.hardening, 0.5, strain)[0]

    def stress_along_step(self, strain, increment, duration, softening, above):
        stress, slope = power_hardening(self.hardening, 0.5, strain + increment)
        return softening * stress, softening * slope

    def flow_stress(self, strain, rate, temperature):
        return self.quasi_static_stress(strain, self.thermal_softening(temperature))

    def cold_worked(self, stress):
        raise InputError("no cold work")


def mechanical(law=COPPER, density=8960.0, youngs_modulus=117e9, poissons_ratio=0.34, ductility=(0.3, 0.5)):
    return Mechanical(density, youngs_modulus, poissons_ratio, law, ductility)


def elastic():
    """Copper that never yields."""
    return plastic(1e15)


def plastic(flow_stress, **changed):
    """Metal of a constant flow stress in Pa, whatever its strain and rate."""
    law = JohnsonCook(initial=flow_stress, hardening=0.0, exponent=1.0, rate=0.0, thermal=1.0, reference_rate=1.0,
                     reference_temperature=293.15, melting=1356.0)
    return mechanical(law, **changed)


def solid(mesh, metal, content=None):
    """Bodies of one metal."""
    return build_solid(mesh, [metal] * len(mesh.zones), [content] * len(mesh.zones))
