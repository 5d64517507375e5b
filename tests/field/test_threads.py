"""Solves in several threads of one process: the same results as one after the other, and BLAS as it was before."""
import itertools
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from threadpoolctl import threadpool_info, threadpool_limits

import fieldsolve as fs
import geometries as geo
from fieldsolve.field.linear_algebra.blas_threads import one_thread

THREADS = 4


def inductance(turns):
    """Of a coil, at rest with an even number of turns, else at 10 kHz over a disc."""
    coil = geo.solenoid(turns=turns, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    if turns % 2 == 0:
        return fs.solve_static(geo.CrossSection([coil]), {"coil": 1e3}, accuracy=1e-1).inductance("coil").value
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    return fs.solve_harmonic(geo.CrossSection([coil, disc]), 10e3, {"coil": 1e3}, accuracy=1e-1).inductance("coil").value


@pytest.mark.parametrize("solves", [2, pytest.param(10, marks=pytest.mark.slow)])
def test_threads_give_the_results_of_one(solves):
    expected = {turns: inductance(turns) for turns in range(2, 2 + min(solves, 4))}
    turns = list(itertools.islice(itertools.cycle(expected), THREADS * solves))
    with ThreadPoolExecutor(THREADS) as pool:
        found = list(pool.map(inductance, turns))
    assert found == pytest.approx([expected[count] for count in turns], rel=1e-12)


def blas_threads():
    """Threads of each BLAS but that of the library that other tests compare with, which no solver here loads."""
    return {library["filepath"]: library["num_threads"] for library in threadpool_info()
            if library["user_api"] == "blas" and "ngsolve" not in library["filepath"]}


def test_blas_keeps_one_thread_as_long_as_any_thread_needs_it_and_gets_its_own_back():
    with one_thread():              # loads what there is to load
        pass
    with threadpool_limits(2, user_api="blas"):
        _check_that_threads_of_blas_are_given_back()


def _check_that_threads_of_blas_are_given_back():
    before, second_is_in, first_is_out = blas_threads(), threading.Event(), threading.Event()
    within = []

    def second():
        with one_thread():
            second_is_in.set()
            first_is_out.wait(10)
            within.append(blas_threads())
    with one_thread():
        thread = threading.Thread(target=second)
        thread.start()
        second_is_in.wait(10)
    first_is_out.set()
    thread.join()
    assert set(within[0].values()) == {1}
    with one_thread():
        pass
    assert blas_threads() == before
