"""Sweeps on a scheduler of dask.distributed: a real one with two worker processes over TCP, and what goes wrong with one."""
import json
import socket

import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.sweeps import run as runs
from fieldsolve.sweeps.run import RunOptions, VersionError, compute_run, run_key
from fieldsolve.sweeps.scheduling import compute_runs
from tests.sweeps.small_runs import RING, without_time

OVER = {"coil.radius": ["20 mm", "25 mm", "30 mm", "0.5 mm"]}


@pytest.fixture(scope="module")
def scheduler():
    """The address of a scheduler with two workers, each a process with one thread."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", protocol="tcp",
                                  dashboard_address=None, silence_logs=50) as cluster:
        yield cluster.scheduler_address


def test_rows_are_those_of_one_process(scheduler, tmp_path):
    assert scheduler.startswith("tcp://127.0.0.1")
    cluster = fs.sweep(RING, OVER, scheduler=scheduler, store=tmp_path / "store")
    assert json.dumps(without_time(cluster)) == json.dumps(without_time(fs.sweep(RING, OVER, workers=1)))
    again = fs.sweep(RING, OVER, workers=1, store=tmp_path / "store")
    assert [row["seconds"] for row in again.rows] == [row["seconds"] for row in cluster.rows]           # nothing was computed again


def test_a_scheduler_that_is_not_there_is_one_line(monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("fieldsolve.sweeps.executors.PATIENCE", 0.5)
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{unused.getsockname()[1]}"
    with pytest.raises(InputError, match=r"no scheduler answers there.*dask scheduler"):
        fs.sweep(RING, OVER, scheduler=address)
    for address in ("nonsense://here", "nonsense", "tcp://10.0.0.1"):                 # dask's client would end with a traceback, later
        with pytest.raises(InputError, match="give its address with the port, such as"):
            fs.sweep(RING, OVER, scheduler=address)


def test_without_dask_the_message_says_what_to_install(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(InputError, match=r"fieldsolve\[cluster\]"):
        fs.sweep(RING, OVER, scheduler="tcp://127.0.0.1:8786")


def other_version(run):
    """A run as a worker of another version would get it."""
    return runs.Run(run.key, run.case, run.options, {**run.versions, "fieldsolve": "0.1", "gmsh": None})


def test_a_worker_of_another_version_ends_the_sweep(monkeypatch):
    case = fs.read_case(RING)
    run = other_version(runs.Run(run_key(case, RunOptions()), case, RunOptions()))
    with pytest.raises(VersionError, match=r"fieldsolve .* in place of 0.1, gmsh .* in place of none.*install the same"):
        compute_run(run)

    def handed_out(found, workers):
        return compute_runs(map(other_version, found), workers)
    monkeypatch.setattr("fieldsolve.sweeps.sweep.compute_runs", handed_out)
    with pytest.raises(VersionError, match="a worker has"):
        fs.sweep(RING, OVER, workers=1)
