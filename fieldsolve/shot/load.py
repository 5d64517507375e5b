"""A kept shot read from its file: which types it may hold, and how each is made."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.equations import Network
from fieldsolve.circuit.prescribed_currents import PiecewiseLinear, PrescribedCurrentNetwork, PrescribedCurrents
from fieldsolve.materials.bh_curve import CURVES
from fieldsolve.materials.flow_stress import LAWS
from fieldsolve.materials.heat_content import HeatContent
from fieldsolve.materials.material import Material
from fieldsolve.materials.mechanical import Mechanical
from fieldsolve.materials.thermal import Thermal
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.hoops.hoops import Burst
from fieldsolve.motion.hoops.motion import HoopMotion
from fieldsolve.motion.plastic_flow.motion import FlowMotion
from fieldsolve.motion.rigid import AxialMotion, PrescribedMotion, RadialMotion
from fieldsolve.ode import Tableau, WorkCounts
from fieldsolve.shot.history import History
from fieldsolve.shot.instant import MetalSnapshot, PlasticFlow, StoredInstant
from fieldsolve.shot.integrator.heating import HeatedMetal, HeatedZone
from fieldsolve.shot.kept.container import SHOT, content_of, read_container
from fieldsolve.shot.kept.encoding import decode
from fieldsolve.shot.kept.mesh_nodes import unpack_mesh
from fieldsolve.shot.problem import CaseText, ShotProblem
from fieldsolve.shot.result.energy_balance import EnergyBalance
from fieldsolve.shot.result.error_model import RunComparison
from fieldsolve.shot.result.shot import Shot
from fieldsolve.shot.solve import solve_shot_problem
from geometries.cross_section import CrossSection
from geometries.keywords import known_keywords
from geometries.outlines import Arc, Line, Outline
from geometries.parts import CurrentSheet, Filament, Part, Zone

TYPES = (
    CrossSection, Part, Zone, Filament, CurrentSheet, Outline, Line, Arc,
    Material, Thermal, Mechanical, *LAWS.values(), *CURVES, HeatContent,
    Bank, Crowbar, Leads, Network, PrescribedCurrents, PrescribedCurrentNetwork, PiecewiseLinear,
    AxialMotion, RadialMotion, PrescribedMotion, FlowMotion, HoopMotion, Former, Burst,
    Tableau, WorkCounts, ShotProblem, RunComparison, History, EnergyBalance, StoredInstant, MetalSnapshot, PlasticFlow, HeatedMetal,
    HeatedZone,
)


def _make_shot(**values: Any) -> Shot:
    return Shot(**values, solver=solve_shot_problem)


MAKERS: dict[str, Callable[..., Any]] = {kind.__name__: kind for kind in TYPES} | {"Mesh": unpack_mesh, "Shot": _make_shot}


@known_keywords
def load_shot(path: str | Path) -> Shot:
    """The shot that `Shot.save` has kept in a file.

    Nothing is solved; series, peaks, summary, field and metal are those of the shot that was kept, to the last digit.  Functions of a
    person's own, such as a waveform, are not in the file: only a refined run needs them, and says so.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Shot

    Raises
    ------
    InputError
        Where there is no such file, it is cut short or no kept shot, a later version has written it, or its content has changed since.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2)
    >>> import tempfile, pathlib
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     shot.save(pathlib.Path(folder, "first.shot.npz"))
    ...     load_shot(pathlib.Path(folder, "first.shot.npz")).summary() == shot.summary()
    True
    """
    header, content, arrays = read_container(path)
    with content_of(Path(path), header, SHOT):
        shot = decode(content["shot"], content["objects"], arrays, MAKERS)
        return replace(shot, case=header["case"] and CaseText(**header["case"]))
