"""Sessions with gmsh, whose state is one for the whole process: one thread at a time, and nothing of another user's is touched."""
from __future__ import annotations

import contextlib
import importlib
import signal
import threading
from collections.abc import Iterator
from typing import Any

from geometries.errors import MeshError

SYSTEM_LIBRARIES = "libglu1-mesa libgl1 libxcursor1 libxft2 libxinerama1 libgomp1"
MODEL = "fieldsolve section"
OPTIONS = {                     # what a mesh depends on; all but the first two lines are gmsh's defaults
    "General.Terminal": 0, "General.NumThreads": 1, "Mesh.Algorithm": 6, "Mesh.LcIntegrationPrecision": 1e-3,
    "Mesh.MeshSizeFromPoints": 0, "Mesh.MeshSizeExtendFromBoundary": 0,
    "Mesh.MeshSizeFactor": 1, "Mesh.MeshSizeMin": 0, "Mesh.MeshSizeMax": 1e22, "Mesh.MeshSizeFromCurvature": 0,
    "Mesh.MeshSizeFromParametricPoints": 0, "Mesh.ElementOrder": 1, "Mesh.Optimize": 1, "Mesh.HighOrderOptimize": 0,
    "Mesh.SecondOrderLinear": 0, "Mesh.SecondOrderIncomplete": 0, "Mesh.RecombineAll": 0, "Mesh.Smoothing": 1, "Mesh.RandomFactor": 1e-9,
    "Mesh.RandomSeed": 1, "Mesh.AlgorithmSwitchOnFailure": 1, "Mesh.SubdivisionAlgorithm": 0, "Mesh.MeshOnlyVisible": 0,
    "Mesh.MeshOnlyEmpty": 0, "Mesh.Renumber": 1, "Mesh.FirstElementTag": 1, "Mesh.FirstNodeTag": 1, "Mesh.MinimumCurvePoints": 3,
    "Mesh.MinimumCircleNodes": 7, "Mesh.AllowSwapAngle": 10, "Mesh.ToleranceEdgeLength": 0, "Mesh.MaxNumThreads1D": 0,
    "Mesh.MaxNumThreads2D": 0, "Mesh.TransfiniteTri": 0, "Mesh.FlexibleTransfinite": 0, "Mesh.ScalingFactor": 1,
    "Geometry.Tolerance": 1e-8, "Geometry.ToleranceBoolean": 0, "Geometry.AutoCoherence": 1, "Geometry.OCCScaling": 1,
    "Geometry.OCCBooleanPreserveNumbering": 1, "Geometry.OCCBooleanSimplify": 1, "Geometry.OCCUnionUnify": 1, "General.AbortOnError": 2,
}
_ONE_AT_A_TIME = threading.RLock()


@contextlib.contextmanager
def gmsh_session() -> Iterator[Any]:
    """The gmsh module with an empty model and the options set; other threads wait.

    A gmsh that was in use before is left with the models, the views and the options that it had.
    """
    gmsh = load_gmsh()
    with _ONE_AT_A_TIME, (_guest if gmsh.isInitialized() else _host)(gmsh):
        for option, value in OPTIONS.items():
            gmsh.option.setNumber(option, value)
        gmsh.model.add(_free_name(gmsh))
        yield gmsh


@contextlib.contextmanager
def gmsh_kept() -> Iterator[None]:
    """Start gmsh once for several sessions, which each start it otherwise; other threads wait until all are done."""
    gmsh = load_gmsh()
    with _ONE_AT_A_TIME, contextlib.nullcontext() if gmsh.isInitialized() else _host(gmsh):
        yield


def empty_model(gmsh: Any) -> None:
    """Put an empty model in the place of the session's."""
    gmsh.model.remove()
    gmsh.model.add(_free_name(gmsh))


@contextlib.contextmanager
def failures_as_mesh_errors() -> Iterator[None]:
    """What the mesher raises becomes a MeshError."""
    try:
        yield
    except Exception as failure:
        raise MeshError(f"the mesher gave up ({failure}); look for parts that nearly touch") from failure


def load_gmsh() -> Any:
    """The gmsh module; a missing system library becomes a MeshError that names the packages."""
    try:
        return importlib.import_module("gmsh")
    except OSError as missing:
        raise MeshError(f"gmsh cannot load a system library ({missing}); on Debian: apt-get install {SYSTEM_LIBRARIES}") from missing


@contextlib.contextmanager
def _host(gmsh: Any) -> Iterator[None]:
    """Start gmsh and end it."""
    gmsh.initialize(interruptible=False, readConfigFiles=False)
    _restore_termination()
    try:
        yield
    finally:
        gmsh.finalize()


def _restore_termination() -> None:
    """Let SIGTERM be handled as Python says: gmsh takes it away when it starts."""
    handler = signal.getsignal(signal.SIGTERM)
    if callable(handler) and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, handler)


@contextlib.contextmanager
def _guest(gmsh: Any) -> Iterator[None]:
    """Remove what was added to a gmsh that somebody else has started, and put back what was changed."""
    models, current, views = {*gmsh.model.list()}, gmsh.model.getCurrent(), {*gmsh.view.getTags()}
    options = {option: gmsh.option.getNumber(option) for option in OPTIONS}
    try:
        yield
    finally:
        for view in {*gmsh.view.getTags()} - views:
            gmsh.view.remove(view)
        for model in {*gmsh.model.list()} - models:
            gmsh.model.setCurrent(model)
            gmsh.model.remove()
        gmsh.model.setCurrent(current)
        for option, value in options.items():
            gmsh.option.setNumber(option, value)


def _free_name(gmsh: Any) -> str:
    """A name that no model has."""
    taken = gmsh.model.list()
    return next(name for k in range(len(taken) + 1) if (name := f"{MODEL} {k}") not in taken)
