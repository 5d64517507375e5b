"""Metal that swings, yields and flows: how each setup of reference/flow.toml becomes a motion."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.special import j0, j1

import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.closed_forms.plasticity import free_disc_root
from benchmarks.runner import run_file
from fieldsolve.materials.flow_stress import FlowStressLaw, JohnsonCook, ZerilliArmstrong
from fieldsolve.materials.flow_stress.cells import law_of_cells
from fieldsolve.materials.mechanical import Mechanical
from fieldsolve.motion.constitutive.return_mapping import plastic_strain_increment
from fieldsolve.motion.hoops.explicit_step import advance_hoops
from fieldsolve.motion.hoops.hoops import build_hoops, half_widths, hoops_at_rest
from fieldsolve.motion.plastic_flow.explicit_step import advance_solid
from fieldsolve.motion.plastic_flow.quad_mesh import mesh_part, mesh_parts
from fieldsolve.motion.plastic_flow.solid import Solid, SolidState, build_solid, solid_at_rest

UNREACHABLE_STRESS = 1e15               # Pa, a flow stress that is not reached
LEVELS = 5                 # of halved steps, extrapolated


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of flow, or of those named."""
    return run_file("flow.toml", FIELDS, FORMULAS, only)


def metal(setup, flow_stress: float) -> Mechanical:
    """A metal of one flow stress in Pa, whatever its strain, rate and temperature."""
    law = JohnsonCook(initial=flow_stress, hardening=0.0, exponent=1.0, rate=0.0, thermal=1.0, reference_rate=1.0,
                     reference_temperature=293.15, melting=1e4)
    return Mechanical(density=setup["density_kg_per_m3"], youngs_modulus=setup["youngs_modulus_Pa"],
                      poissons_ratio=setup.get("poissons_ratio", 0.3), flow_stress=law, ductility=(1.0, 2.0))


def free_disc(setup, accuracy):
    """Frequency from the rim's passages through rest, of a disc pushed in the shape of the swing."""
    radius, poisson, speed = setup["radius_m"], setup["poissons_ratio"], 0.01
    mesh = mesh_parts([geo.disc(radius=radius, thickness=setup["thickness_m"])])
    disc, (r, z), k = build_solid(mesh, [metal(setup, UNREACHABLE_STRESS)], [None]), mesh.nodes.T, free_disc_root(poisson) / radius
    push = speed * np.stack([j1(k * r), -poisson / (1 - poisson) * k * j0(k * r) * z], axis=1)
    zero, rim = np.zeros_like(mesh.nodes), np.isclose(r, radius)
    history = integrate_motion(disc, lambda state: zero, 60e-6, 0.25e-6, replace(solid_at_rest(disc), velocities=push))
    path = CubicHermiteSpline(*np.transpose([(state.time, state.positions[rim, 0].mean() - radius, state.velocities[rim, 0].mean())
                                             for state in history]))
    passages = path.roots(extrapolate=False)
    return {"frequency_Hz": (len(passages) - 1) / (2 * np.ptp(passages))}


def integrate_motion(solid: Solid, force: Callable[[SolidState], np.ndarray], until: float, step: float,
                     state: SolidState | None = None, stop: Callable[[SolidState], bool] = lambda state: False) -> list[SolidState]:
    """States of bodies step by step; the force of a step's end is taken at the place where its first half-way guess leads."""
    history = [state or solid_at_rest(solid)]
    while history[-1].time < until * (1 - 1e-9) and not stop(history[-1]):
        now = history[-1]
        guess = replace(now, time=now.time + step, positions=now.positions + step * now.velocities)
        history.append(advance_solid(solid, now, (force(now), force(guess)), 0.0, step).state)
    return history


def pressure_forces(solid: Solid, edge: np.ndarray, pressure: float, positions: np.ndarray) -> np.ndarray:
    """Nodal forces of a pressure in Pa on the surface swept by an edge, its nodes in the order that leaves the metal on the left."""
    r, z = positions[edge].T
    along = np.stack([np.diff(z), -np.diff(r)], axis=1)                              # outward normal times length
    inner, outer = r[:-1], r[1:]
    forces = np.zeros_like(positions)
    for nodes, share in ((edge[:-1], (2 * inner + outer) / 6), (edge[1:], (inner + 2 * outer) / 6)):
        np.add.at(forces, nodes, -pressure * 2 * math.pi * share[:, None] * along)
    return forces


def rim_nodes(solid: Solid) -> np.ndarray:
    """Nodes of the outer face from below."""
    nodes = solid.mesh.nodes
    rim = np.flatnonzero(np.isclose(nodes[:, 0], nodes[:, 0].max(), rtol=1e-9))
    return rim[np.argsort(nodes[rim, 1])]


def speeds_at_radii(radii: np.ndarray, speeds: np.ndarray, times: np.ndarray, setup) -> dict:
    """Speeds where a ring has come to the radii asked for, and the time between two."""
    direction = np.sign(radii[-1] - radii[0])
    time_at = CubicHermiteSpline(direction * radii, times, direction / speeds)
    return {"speed_m_per_s": np.abs(1 / time_at(direction * np.array(setup["at_radius_m"]), 1)),
            "time_between_s": abs(float(np.diff(time_at(direction * np.array(setup["between_radii_m"])))[0]))}


def one_turn(setup, accuracy):
    """A hoop under a pressure on its inner face."""
    section = setup["thickness_m"], setup["height_m"]
    turn = geo.solenoid(turns=1, bore_radius=setup["radius_m"] - section[0] / 2, wire_section=section, pitch=2 * section[1])
    hoops = build_hoops([turn], [metal(setup, setup["flow_stress_Pa"])], [None])
    state, history, step = hoops_at_rest(hoops), [], 0.25e-6

    def force(positions):
        height = 2 * half_widths(hoops, positions)[0, 1]
        return np.array([[2 * math.pi * positions[0, 0] * height * setup["pressure_Pa"], 0.0]])

    while state.positions[0, 0] < max(setup["at_radius_m"]) + 0.5e-3:
        ends = force(state.positions), force(state.positions + step * state.velocities)
        state = advance_hoops(hoops, state, ends, 0.0, step).state
        history.append((state.positions[0, 0], state.velocities[0, 0], state.time))
    return speeds_at_radii(*np.array(history)[2:].T, setup)


def can_wall(setup, accuracy):
    """The wall's middle, by the mean of its nodes."""
    radius, wall = setup["radius_m"], setup["thickness_m"]
    tube = geo.tube(inner_radius=radius - wall / 2, wall=wall, length=setup["height_m"])
    can = build_solid(mesh_parts([tube]), [metal(setup, setup["flow_stress_Pa"])], [None])
    rim = rim_nodes(can)
    history = integrate_motion(can, lambda state: pressure_forces(can, rim, -setup["pressure_Pa"], state.positions), 1e-4, 0.5e-6,
                               stop=lambda state: mean_radius_and_speed(can, state)[0] < min(setup["at_radius_m"]) - 0.5e-3)
    return speeds_at_radii(*np.array([(*mean_radius_and_speed(can, state), state.time) for state in history[4:]]).T, setup)


def mean_radius_and_speed(solid: Solid, state: SolidState) -> np.ndarray:
    """Mean radius and radial speed, weighted by mass."""
    return np.array([np.average(values[:, 0], weights=solid.mass) for values in (state.positions, state.velocities)])


def first_yield(solid: Solid, highest: float, rise_time: float) -> tuple[float, SolidState]:
    """Pressure in Pa on the rim half-way through the step in which plastic work begins, and the state then.

    The pressure rises with t^2 to `highest` Pa.
    """
    rim, step = rim_nodes(solid), rise_time / 800

    def pressure(time):
        return highest * (time / rise_time) ** 2

    history = integrate_motion(solid, lambda state: pressure_forces(solid, rim, pressure(state.time), state.positions), rise_time, step,
                               stop=lambda state: state.plastic_work.max() > 0)
    return pressure(history[-1].time - step / 2), history[-1]


def solid_disc(setup, accuracy):
    """First yield, and the spread of the equivalent stress over the disc then, over the flow stress."""
    disc = geo.disc(radius=setup["radius_m"], thickness=setup["thickness_m"])
    solid = build_solid(mesh_parts([disc], 0.5), [metal(setup, setup["flow_stress_Pa"])], [None])
    pressure, state = first_yield(solid, 1.2 * setup["flow_stress_Pa"], setup["rise_time_s"])
    return {"first_yield_over_flow_stress": pressure / setup["flow_stress_Pa"],
            "spread_of_equivalent_stress": float(np.ptp(equivalent_stress(state)) / setup["flow_stress_Pa"])}


def equivalent_stress(state: SolidState) -> np.ndarray:
    """Equivalent stress in Pa at every point."""
    return np.sqrt(3 * np.abs(state.plane) ** 2 + 2.25 * state.hoop**2)


def washer(setup, accuracy):
    """First yield, and where."""
    hole, radius, thickness = setup["hole_radius_m"], setup["radius_m"], setup["thickness_m"]
    part = geo.washer(radius=radius, thickness=thickness, hole_radius=hole)
    r_lines = hole + (radius - hole) * (np.expm1(np.linspace(0, 3.5, 25)) / math.expm1(3.5))
    mesh = mesh_part(part, r_lines, np.linspace(-thickness / 2, thickness / 2, 3))
    solid = build_solid(mesh, [metal(setup, setup["flow_stress_Pa"])], [None])
    pressure, state = first_yield(solid, 0.6 * setup["flow_stress_Pa"], setup["rise_time_s"])
    cell = state.plastic_strain.max(axis=0).argmax()
    return {"first_yield_over_flow_stress": pressure / setup["flow_stress_Pa"],
            "first_yield_radius_over_hole": mesh.nodes[mesh.quads[cell], 0].mean() / hole}


def adiabatic_point(setup, accuracy):
    """Implicit steps of the return, halved again and again and extrapolated."""
    law = law_of_cells([law_of_case(setup)], np.zeros(1, dtype=int))
    table = [implicit_path(setup, law, 250 * 2**level) for level in range(LEVELS)]
    for order in range(1, LEVELS):
        table = [(2**order * fine - coarse) / (2**order - 1) for coarse, fine in pairwise(table)]
    return dict(zip(("stress_Pa", "plastic_strain", "final_temperature_K"), table[-1], strict=True))


def law_of_case(setup) -> FlowStressLaw:
    """The flow-stress law whose numbers a case gives."""
    if "C0_Pa" in setup:
        return ZerilliArmstrong(athermal=setup["C0_Pa"], thermal=setup["C1_Pa"], thermal_hardening=setup["C2_Pa"],
                                softening=setup["C3_per_K"], rate_sensitivity=setup["C4_per_K"], athermal_hardening=setup["C5_Pa"],
                                exponent=setup["n"], melting=setup["melting_K"])
    return JohnsonCook(initial=setup["A_Pa"], hardening=setup["B_Pa"], exponent=setup["n"], rate=setup["C"], thermal=setup["m"],
                       reference_rate=setup["reference_rate_per_s"], reference_temperature=setup["reference_temperature_K"],
                       melting=setup["melting_K"])


def implicit_path(setup, law: FlowStressLaw, steps: int) -> np.ndarray:
    """Stress (Pa), plastic strain and temperature (K) after a number of equal steps."""
    stiffness, (start, end) = np.array([3 * setup["shear_modulus_Pa"]]), setup["strain"]
    dt = (end - start) / setup["rate_per_s"] / steps
    strain, temperature, increment = np.array([start]), np.array([setup["temperature_K"]]), np.array([setup["rate_per_s"] * dt])
    stress = law.flow_stress(strain, setup["rate_per_s"], temperature)
    for _ in range(steps):
        trial = stress + stiffness * setup["rate_per_s"] * dt
        increment = plastic_strain_increment(law, trial, stiffness, strain, law.thermal_softening(temperature), dt, increment)
        before, stress, strain = stress, trial - stiffness * increment, strain + increment
        temperature = temperature + setup["heat_share"] * 0.5 * (before + stress) * increment / setup["heat_per_kelvin_J_per_m3_K"]
    return np.concatenate([stress, strain, temperature])


FIELDS = {
    "free-disc-radial-swing": free_disc,
    "plastic-ring-constant-pressure": one_turn,
    "thin-can-collapse": can_wall,
    "disc-first-yield": solid_disc,
    "washer-first-yield": washer,
    "johnson-cook-adiabatic-path": adiabatic_point,
    "zerilli-armstrong-copper-adiabatic-path": adiabatic_point,
    "zerilli-armstrong-iron-adiabatic-path": adiabatic_point,
}
FORMULAS = {"free-disc-radial-swing": lambda setup, accuracy: {"root": free_disc_root(setup["poissons_ratio"])}}
