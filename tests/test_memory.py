"""What a solve took of the memory is given back: no cycles of objects are left, and many solves take no more than some."""
import gc
import os
import subprocess
import sys
import warnings
import weakref
from pathlib import Path

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from geometries.mesher import mesh_section

ROOT = Path(__file__).parents[1]
COPPER = fs.material("copper")
MOST_GARBAGE = 1e5          # bytes of arrays in cycles of objects
MOST_GROWTH = 0.05          # of the memory in use, over the last half of the solves


def section():
    coil = geo.solenoid(turns=2, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER)
    return geo.CrossSection([coil, geo.disc(radius=12e-3, thickness=2e-3, material=COPPER)])


def static():
    fs.solve_static(section(), {"coil": 1e3}, accuracy=0.2, goals="inductance")


def held():
    bank = fs.Bank(capacitance=60e-6, voltage=2e3, inductance=300e-9)
    fs.solve_shot(section(), bank, end_time=1e-6, motion=False, accuracy=0.5, error_bounds=False)


def bytes_in_use() -> int:
    """Bytes of this process in memory."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


def cyclic_bytes(solve) -> int:
    """Bytes of the arrays that a second solve leaves in cycles of objects."""
    warnings.simplefilter("ignore")
    solve()                                                     # what is loaded and kept once
    gc.collect()
    gc.disable()
    solve()
    gc.set_debug(gc.DEBUG_SAVEALL)
    gc.collect()
    left = {id(each): each.nbytes for each in gc.garbage if isinstance(each, np.ndarray)}
    left |= {id(value): value.nbytes for each in gc.garbage for value in gc.get_referents(each) if isinstance(value, np.ndarray)}
    return sum(left.values())


@pytest.mark.parametrize("name", ["static", "held"])
def test_a_solve_leaves_no_cycles_with_arrays(name):
    """In a process of its own: what other tests left in caches may be in cycles."""
    script = f"from tests.test_memory import cyclic_bytes, {name}; print(cyclic_bytes({name}))"
    run = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True)
    assert int(run.stdout) < MOST_GARBAGE


def test_a_mesh_is_given_back_as_soon_as_nothing_holds_it():
    """Caches let go of meshes one by one: what is in a cycle would stay until cycles are looked for."""
    mesh = mesh_section(section())
    assert mesh.topology == mesh.topology and mesh.area.min() > 0 and not mesh.is_mapped.all() and mesh.cell_size.min() > 0
    gone = weakref.ref(mesh)
    gc.disable()
    try:
        del mesh
        assert gone() is None
    finally:
        gc.enable()


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the system does not say how much memory is in use")
@pytest.mark.filterwarnings("ignore::fieldsolve.errors.AccuracyWarning")
@pytest.mark.parametrize(("solve", "count"), [(static, 200), (held, 50)])
def test_many_solves_take_no_more_memory(solve, count, capsys):
    in_use = []
    for _ in range(count):
        solve()
        in_use.append(bytes_in_use())
    growth = in_use[-1] / in_use[count // 2] - 1
    with capsys.disabled():
        print(f"\n{solve.__name__}: {in_use[0] / 1e6:.0f}, {in_use[count // 2] / 1e6:.0f}, {in_use[-1] / 1e6:.0f} MB: {growth:+.1%}")
    assert growth < MOST_GROWTH
