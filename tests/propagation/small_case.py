"""A small linear case, whose currents are in proportion to its voltage, and its bands."""
import fieldsolve as fs
from fieldsolve.propagation.solve import bands
from tests.computed_once import computed_once

COIL = {"shape": "solenoid", "turns": 3, "bore_radius": "15.6 mm", "wire_diameter": "3 mm", "pitch": "3.3 mm", "material": "copper"}
TABLES = {"coil": COIL, "disc": {"shape": "disc", "radius": "14 mm", "thickness": "2 mm", "material": "copper"},
          "bank": {"capacitance": "20 uF", "voltage": "4 kV +- 2 %", "inductance": "350 nH +- 1 % (k=2)"},
          "run": {"end_time": "12 us", "motion": False, "heating": False, "accuracy": 5e-2}}


@computed_once
def small_shot():
    """Its shot, with error bounds."""
    return fs.solve_case(fs.read_case(TABLES))


@computed_once
def small_bands() -> fs.Bands:
    """Its bands by 500 draws."""
    return bands(TABLES, draws=500, checks=4, accuracy=5e-2, seed=3)
