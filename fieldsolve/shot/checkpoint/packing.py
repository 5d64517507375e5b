"""How a checkpoint becomes plain data and arrays, and which types beside those of a kept shot it holds."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from scipy.sparse import csc_array, csr_array

from fieldsolve.circuit.equations import Switches
from fieldsolve.errors import InputError
from fieldsolve.field.adaptivity.convergence import RefinementStep
from fieldsolve.field.adaptivity.error_bounds import ErrorReduction
from fieldsolve.field.fem.quadrature import QuadraturePoints
from fieldsolve.field.linear_algebra.cholesky import Cholmod
from fieldsolve.field.linear_algebra.solvers import Factor, factorize
from fieldsolve.field.linear_algebra.superlu import SuperLU
from fieldsolve.field.system.bh_curve_zone import BHCurveZone
from fieldsolve.field.system.bordered_operator import BorderedOperator
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.system.stranded_windings import StrandedWindings
from fieldsolve.field.transient.meshing import ShotMesh
from fieldsolve.materials.flow_stress.cells import MixedLaws
from fieldsolve.motion.contract import Body, MotionEnergy
from fieldsolve.motion.expected_forces import ExpectedForces, ExpectedHeat
from fieldsolve.motion.hoops.hoops import Hoops, HoopState
from fieldsolve.motion.hoops.motion import HoopMotionState
from fieldsolve.motion.movement import Movement
from fieldsolve.motion.moving_mesh.flux_transport import FluxTransport
from fieldsolve.motion.moving_mesh.moving_mesh import MovingMesh
from fieldsolve.motion.plastic_flow.conservative_transfer import ConservativeTransfer
from fieldsolve.motion.plastic_flow.motion import FlowMotionState
from fieldsolve.motion.plastic_flow.quad_mesh import InterpolationPoints, QuadMesh
from fieldsolve.motion.plastic_flow.selective_mass_scaling import MassScaling
from fieldsolve.motion.plastic_flow.solid import Solid, SolidState
from fieldsolve.motion.rigid import RigidState
from fieldsolve.pickling import declared_fields
from fieldsolve.shot.checkpoint.checkpoint import CaseOrigin, Checkpoint, MainRun
from fieldsolve.shot.integrator.corner_heating import CornerHeating, ZoneCorners
from fieldsolve.shot.integrator.demagnetization import Demagnetization
from fieldsolve.shot.integrator.field_circuit import FieldCircuit, Stage
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.integrator.stage_rates import StageRates
from fieldsolve.shot.integrator.state import DischargeState
from fieldsolve.shot.kept.encoding import Encoder, decode
from fieldsolve.shot.observables.probes import Probes, Rims
from fieldsolve.shot.problem import CaseText
from fieldsolve.shot.result.shot import Shot
from fieldsolve.shot.setup import ShotSetup
from geometries.mesh import Mesh

TYPES = (
    Checkpoint, MainRun, CaseOrigin, CaseText, ShotSetup, ShotMesh, RefinementStep, ErrorReduction, Probes, Rims,
    DischargeState, StageRates, Switches, FieldCircuit, Stage, BorderedOperator, Cholmod, SuperLU,
    EddySystem, StrandedWindings, BHCurveZone, QuadraturePoints, Mesh, ZoneCorners,
    Movement, MovingMesh, FluxTransport, Body, MotionEnergy, ExpectedForces, ExpectedHeat, RigidState,
    FlowMotionState, Solid, SolidState, QuadMesh, InterpolationPoints, ConservativeTransfer, MassScaling, MixedLaws,
    HoopMotionState, Hoops, HoopState,
)
CHANGING = (Heating, CornerHeating, Demagnetization)            # classes that are no dataclasses: they are what stands in them
MOST_SPREAD = 64                    # times its own size that an array may be spread in memory


def pack_checkpoint(checkpoint: Checkpoint) -> tuple[dict[str, Any], list[np.ndarray], list[str], list[str]]:
    """Plain data and arrays of a checkpoint; what of its problem is not in them, by name; and what of the run is not, in words."""
    encoder = Encoder({Factor: _pack_factor, Shot: _pack_shot, csc_array: _pack_sparse, csr_array: _pack_sparse,
                       **dict.fromkeys(CHANGING, _pack_changing)}, exact=True)
    encoder.encode(checkpoint.setup.problem, "problem")                          # first: what it lacks can be given again
    replaceable = list(encoder.lost)
    content = {"checkpoint": encoder.encode(checkpoint, "run"), "objects": encoder.objects,
               "strides": [[k, list(array.strides)] for k, array in enumerate(encoder.arrays) if not _is_contiguous(array)]}
    return content, encoder.arrays, replaceable, encoder.lost[len(replaceable):]


def unpack_checkpoint(content: dict[str, Any], arrays: list[np.ndarray], makers: Mapping[str, Callable[..., Any]],
                      given: Mapping[str, Any]) -> Checkpoint:
    """The checkpoint of plain data and arrays.

    makers  of the types of a kept shot
    given   what of its problem is not in the data, by name
    """
    for k, strides in content["strides"]:
        arrays[k] = _spread(arrays[k], strides)
    of_types = {kind.__name__: kind for kind in TYPES}
    of_classes = {kind.__name__: _restore(kind) for kind in CHANGING}
    of_matrices = {kind.__name__: _sparse_maker(kind) for kind in (csc_array, csr_array)}
    makers = {**makers, **of_types, **of_classes, **of_matrices, "Factor": _refactor}
    return decode(content["checkpoint"], content["objects"], arrays, makers, given)


def _pack_factor(factor: Factor) -> dict[str, Any]:
    return {"solver": factor.solver, "lower": factor.lower, "order": factor.order}


def _refactor(solver, lower: csc_array, order: np.ndarray | None) -> Factor:
    return factorize(lower, None, order, solver)


def _pack_shot(shot: Shot) -> dict[str, Any]:
    return {name: value for name, value in declared_fields(shot).items() if name != "solver"}


def _pack_sparse(matrix: csc_array | csr_array) -> dict[str, Any]:
    return {"data": matrix.data, "indices": matrix.indices, "indptr": matrix.indptr, "shape": matrix.shape}


def _sparse_maker(kind: type) -> Callable[..., Any]:
    return lambda data, indices, indptr, shape: kind((data, indices, indptr), shape=shape)


def _pack_changing(value: Any) -> dict[str, Any]:
    return dict(vars(value))


def _restore(kind: type) -> Callable[..., Any]:
    def make(**values: Any) -> Any:
        instance = kind.__new__(kind)
        vars(instance).update(values)
        return instance
    return make


def _is_contiguous(array: np.ndarray) -> bool:
    return array.flags.c_contiguous or array.flags.f_contiguous


def _spread(array: np.ndarray, strides: list[int]) -> np.ndarray:
    """The same numbers as far from each other in memory as they were: sums over them are taken in the same order."""
    steps = [(count - 1) * stride for count, stride in zip(array.shape, strides, strict=True)]
    extent = sum(map(abs, steps)) + array.itemsize
    if extent > MOST_SPREAD * max(array.nbytes, 1) or any(stride % array.itemsize for stride in strides):
        raise InputError(f"an array of {array.nbytes} bytes is spread over {extent}: it is not what was written")
    offset = -sum(step for step in steps if step < 0)
    spread = np.ndarray(array.shape, array.dtype, np.zeros(extent, dtype=np.uint8), offset, strides)
    spread[...] = array
    return spread
