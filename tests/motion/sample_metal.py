"""Mechanical data for tests of motion."""
from fieldsolve.materials.mechanical import FlowStress, Mechanical
from fieldsolve.motion.plastic_flow.solid import build_solid

# OFHC copper: G. R. Johnson, W. H. Cook, Proc. 7th Int. Symp. on Ballistics, The Hague, 541 (1983), from memory
COPPER = FlowStress(initial=90e6, hardening=292e6, exponent=0.31, rate=0.025, thermal=1.09, reference_rate=1.0,
                    reference_temperature=293.15, melting=1356.0)


def mechanical(law=COPPER, density=8960.0, youngs_modulus=117e9, poissons_ratio=0.34, ductility=(0.3, 0.5)):
    return Mechanical(density, youngs_modulus, poissons_ratio, law, ductility)


def elastic():
    """Copper that never yields."""
    return plastic(1e15)


def plastic(flow_stress, **changed):
    """Metal of a constant flow stress in Pa, whatever its strain and rate."""
    law = FlowStress(initial=flow_stress, hardening=0.0, exponent=1.0, rate=0.0, thermal=1.0, reference_rate=1.0,
                     reference_temperature=293.15, melting=1356.0)
    return mechanical(law, **changed)


def solid(mesh, metal, content=None):
    """Bodies of one metal."""
    return build_solid(mesh, [metal] * len(mesh.zones), [content] * len(mesh.zones))
