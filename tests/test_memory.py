"""What a solve took of the memory is given back: no cycles of objects are left, and many solves take no more than some."""
import gc
import os
from pathlib import Path

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo

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


@pytest.mark.filterwarnings("ignore::fieldsolve.errors.AccuracyWarning")
@pytest.mark.parametrize("solve", [static, held])
def test_a_solve_leaves_no_cycles_with_arrays(solve):
    solve()                                                     # what is loaded and kept once
    gc.collect()
    gc.disable()
    try:
        solve()
        gc.set_debug(gc.DEBUG_SAVEALL)
        gc.collect()
        left = {id(each): each.nbytes for each in gc.garbage if isinstance(each, np.ndarray)}
        left |= {id(value): value.nbytes for each in gc.garbage for value in gc.get_referents(each) if isinstance(value, np.ndarray)}
    finally:
        gc.set_debug(0)
        gc.garbage.clear()
        gc.enable()
    assert sum(left.values()) < MOST_GARBAGE


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
