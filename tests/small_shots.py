"""Two small shots with metal that moves, each computed once a run: a can crushed by three turns, a plate thrown by a spiral."""
import fieldsolve as fs
import geometries as geo
from fieldsolve.shot.result.shot import Shot
from tests.computed_once import computed_once

BANK = fs.Bank(capacitance=60e-6, voltage=2.5e3, resistance=8e-3, inductance=300e-9)


@computed_once
def crushed_can() -> Shot:
    coil = geo.solenoid(turns=3, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.4e-3, material=fs.material("copper"))
    can = geo.tube(inner_radius=14e-3, wall=0.5e-3, length=24e-3, material=fs.material("aluminium 1100-O"), name="can")
    return fs.solve_shot(geo.CrossSection([coil, can]), BANK, end_time=25e-6, accuracy=5e-2)


@computed_once
def thrown_plate() -> Shot:
    coil = geo.spiral(turns=5, inner_radius=6e-3, wire_section=(2e-3, 4e-3), pitch=2.8e-3, material=fs.material("copper"))
    plate = geo.plate(radius=25e-3, thickness=1e-3, at=3.5e-3, material=fs.material("aluminium 1100-O"), name="plate")
    return fs.solve_shot(geo.CrossSection([coil, plate]), BANK, end_time=25e-6, accuracy=5e-2)
