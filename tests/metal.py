"""Mechanical data for tests of motion."""
from types import SimpleNamespace

from fieldsolve.motion.solid import solid_of

COPPER = {"initial": 90e6, "hardening": 292e6, "exponent": 0.31, "rate": 0.025, "thermal": 1.09, "reference_rate": 1.0,
          "reference_temperature": 293.15, "melting": 1356.0, "scale": 1.0}


def mechanical(density=8960.0, youngs_modulus=117e9, poissons_ratio=0.34, **law):
    return SimpleNamespace(density=density, youngs_modulus=youngs_modulus, poissons_ratio=poissons_ratio, taylor_quinney=0.9,
                           flow_stress=SimpleNamespace(**COPPER | law))


def elastic():
    """Copper that never yields."""
    return mechanical(initial=1e15)


def plastic(flow_stress, youngs_modulus=117e9):
    """Metal of a constant flow stress in Pa."""
    return mechanical(youngs_modulus=youngs_modulus, initial=flow_stress, hardening=0.0, rate=0.0)


def solid(mesh, metal, content=None):
    """Bodies of one metal."""
    return solid_of(mesh, [metal] * len(mesh.zones), [content] * len(mesh.zones))
