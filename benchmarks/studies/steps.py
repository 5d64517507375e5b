"""Order in time of a discharge with heating, and its energy balance, on the rig of the case `contract-rig-held`."""
from __future__ import annotations

import math

import fieldsolve as fs
from benchmarks.cases import load
from benchmarks.shot import bank_of, section_of
from fieldsolve.field.adaptivity.refinement import surface_cell_sizes
from geometries.mesher import mesh_section

COLUMNS = ("quantity at 20 us", "change from 1 to 0.5 us", "from 0.5 to 0.25 us", "order")
BALANCE_COLUMNS = ("`accuracy`", "metal", "steps", "unknowns", "unexplained share of the energy")
END_TIME, STEPS = 20e-6, (20, 40, 80)
QUANTITIES = {"coil current": ("current", "coil"), "disc current": ("current", "disc"), "bank voltage": ("voltage", "bank"),
              "mean temperature of the disc": ("mean_temperature", "disc")}


def rows() -> list[tuple]:
    """A row a quantity: relative changes when the step is halved, and the order they tell."""
    section, bank = rig()
    mesh = mesh_section(section, part_sizes=surface_cell_sizes(section, 15e3))
    shots = [fs.solve_shot(section, bank, end_time=END_TIME, motion=False, mesh=mesh, step=END_TIME / count) for count in STEPS]
    return [_order(name, [shot.series(*key)[-1] for shot in shots]) for name, key in QUANTITIES.items()]


def balances(accuracies: tuple[float, ...] = (3e-2, 1e-2, 3e-3)) -> list[tuple]:
    """A row an accuracy, metal held and moving."""
    section, bank = rig()
    return [_balance(fs.solve_shot(section, bank, end_time=40e-6, motion=motion, accuracy=accuracy), accuracy, motion)
            for motion in (False, True) for accuracy in accuracies]


def rig():
    """Section of copper coil and aluminium disc, and the bank."""
    setup = load("shot.toml")["contract-rig-held"].setup
    return section_of(setup, fs.material("copper"), fs.material("aluminium 1100-O")), bank_of(setup)


def _order(name: str, values: list[float]) -> tuple:
    coarse, fine = values[1] - values[0], values[2] - values[1]
    return name, abs(coarse / values[2]), abs(fine / values[2]), math.log2(abs(coarse / fine))


def _balance(shot, accuracy: float, motion: bool) -> tuple:
    return accuracy, "moving" if motion else "held", shot.steps, shot.field_at(0.0).unknowns, float(shot.energy.residual)
