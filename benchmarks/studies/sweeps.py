"""What many runs cost, and what a design finds against brute force, with a winding whose shot takes a quarter of a second."""
from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

import fieldsolve as fs
from benchmarks.documents.module_table import ROOT
from fieldsolve.sweeps.design.acquisition import meets
from fieldsolve.sweeps.design.problem import read_problem
from fieldsolve.sweeps.points import spaced_values

CASE = ROOT / "benchmarks" / "rigs" / "field_coil.toml"
GRID = {"winding.turns": list(range(6, 15)), "bank.voltage": spaced_values("bank.voltage", "5 kV", "7.4 kV", 7),
        "bank.capacitance": spaced_values("bank.capacitance", "60 uF", "180 uF", 7)}                    # 441 points
VARY = {"winding.turns": (6, 14), "bank.voltage": ("5 kV", "7.4 kV"), "bank.capacitance": ("60 uF", "180 uF")}
GOAL = "field in bore"
RUNS = (20, 200)
COST_COLUMNS = ("held shots", "where", "time, s", "of one process", "processor time of the parent, s", "of the workers, s")
DESIGN_COLUMNS = ("how", "shots", "reduced discharges", "largest field in the bore within the limits, T", "turns", "voltage", "capacitance")


def costs(runs: tuple[int, ...] = RUNS) -> list[tuple]:
    """Rows of `COST_COLUMNS` for each number of runs: this process, two processes, and dask.distributed with two workers over TCP."""
    rows = []
    for count in runs:
        serial = None
        for where in ("1 process", "2 processes", "dask, 2 workers"):
            seconds, parent, workers = _measure(count, where)
            serial = serial or seconds
            rows.append((count, where, seconds, seconds / serial, parent, workers))
    return rows


def _measure(count: int, where: str) -> tuple[float, float, float]:
    """Seconds, and processor seconds of this process and of its children, of a sweep with a store."""
    over = {"bank.voltage": [5000.0 + 10.0 * k for k in range(count)]}
    before, started = _processor_times(), time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        keywords = {"error_bounds": False, "store": Path(folder, "runs")}
        if where == "dask, 2 workers":
            from distributed import LocalCluster

            with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", protocol="tcp",
                              dashboard_address=None) as cluster:
                table = fs.sweep(CASE, over, scheduler=cluster.scheduler_address, **keywords)
        else:
            table = fs.sweep(CASE, over, workers=int(where[0]), **keywords)
    seconds, after = time.perf_counter() - started, _processor_times()
    if table.failed:
        raise RuntimeError(table.failed[0]["reason"])
    return seconds, after[0] - before[0], after[1] - before[1]


def _processor_times() -> tuple[float, float]:
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    parent, children = (each.ru_utime + each.ru_stime for each in used)
    return parent, children


def designs(store: str | Path | None = None) -> list[tuple]:
    """Rows of `DESIGN_COLUMNS`: every point of a grid, and the search without and with its first pass; what is stored is not run again."""
    table = fs.sweep(CASE, GRID, error_bounds=False, store=store)
    problem = read_problem(VARY, GOAL)
    limits, _ = problem.limits_of(table.rows, table.case.limits)
    best = max((row for row in table.rows if meets(row, problem, limits)), key=lambda row: row[GOAL])
    return [("every point of a grid", len(table.rows), "", *_design_cells(best)),
            _searched("search, with frontier and band", store, False), _searched("the same after a first pass", store, True)]


def _searched(how: str, store: str | Path | None, first_pass: bool) -> tuple:
    found = fs.design(CASE, VARY, largest=GOAL, runs=36, store=store, first_pass=first_pass)
    if found.best is None:
        raise RuntimeError(found.summary())
    first = found.first_pass
    discharges = f"{len(first.rows)} through {first.models} models" if first_pass else ""
    return how, len(found.rows) + 1 + found.band_runs, discharges, *_design_cells(found.best)


def _design_cells(row: dict) -> tuple:
    return (f"{row[GOAL]:.2f}", *(row[name] for name in VARY))
