"""Turns as hoops that stretch and move, and the state they are in."""
from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.materials.flow_stress import FlowStressLaw
from fieldsolve.materials.flow_stress.cells import MixedLaws, law_of_cells
from fieldsolve.materials.heat_content import HeatContent
from fieldsolve.motion.constitutive.temperature import HeatContents
from fieldsolve.motion.contract import MotionEnergy
from fieldsolve.motion.hoops.contact import gaps
from fieldsolve.motion.hoops.former import Former
from geometries.parts import Part

INSULATION_FILM = 0.02                # of the thinner wire: the insulation that stays between two turns pressed together


@dataclass(frozen=True, eq=False)
class Hoops:
    """The turns of coils, made by `build_hoops`; nothing here changes while they move.  Each array has one entry a turn.

    names               coil and turn
    coil                number in `coils`, the coils' names
    positions           (turns, 2) r and z of the section's middle at rest, m
    rest_half_widths    (turns, 2) half widths of the section at rest along r and z, m
    is_round            whether the section is a circle
    volume              m^3 of metal
    mass                kg with its share of the former
    stiffness           Young's modulus, Pa
    flow_stress         flow-stress law
    taylor_quinney      share of the plastic work that turns into heat
    ductility           (turns, 2) logarithmic hoop strain at which it breaks at the earliest and at the latest
    heat_contents       heat content
    former_stiffness    N, and former_strain the logarithmic strain at which its share of the former breaks
    pairs, film         (pairs, 2) turns that could meet, and the least distance in m that stays between them
    """

    names: tuple[str, ...]
    coil: np.ndarray
    coils: tuple[str, ...]
    positions: np.ndarray
    rest_half_widths: np.ndarray
    is_round: np.ndarray
    volume: np.ndarray
    mass: np.ndarray
    stiffness: np.ndarray
    flow_stress: FlowStressLaw | MixedLaws
    taylor_quinney: np.ndarray
    ductility: np.ndarray
    heat_contents: HeatContents
    former_stiffness: np.ndarray
    former_strain: np.ndarray
    pairs: np.ndarray
    film: np.ndarray


@dataclass(frozen=True)
class Burst:
    """A coil at the moment its first turn breaks.

    time            s
    turn            the one that breaks
    kinetic_energy  J of all the coil's turns
    speed           m/s of the fastest of them
    mass            kg of them all, former included
    """

    time: float
    turn: str
    kinetic_energy: float
    speed: float
    mass: float


@dataclass(frozen=True, eq=False)
class HoopState:
    """The turns at one instant; `advance_hoops` makes the next state and leaves this one as it is.

    time            s
    positions       (turns, 2) r and z of the section's middle, m
    velocities      (turns, 2) m/s
    stress          (turns,) hoop stress of the metal in Pa
    plastic_strain  (turns,) equivalent plastic strain, and strain_rate its rate in 1/s
    enthalpy        (turns,) J/m^3 of cold metal above 293.15 K
    former_holds    (turns,) whether its share of the former has not broken
    plastic_work    (turns,) J since the start
    contact_loss    J lost since the start where turns met without bouncing
    former_loss     J released by the former where it broke
    bursts          (earliest, latest) by coil, each a `Burst` once its time has come
    """

    time: float
    positions: np.ndarray
    velocities: np.ndarray
    stress: np.ndarray
    plastic_strain: np.ndarray
    strain_rate: np.ndarray
    enthalpy: np.ndarray
    former_holds: np.ndarray
    plastic_work: np.ndarray
    contact_loss: float
    former_loss: float
    bursts: Mapping[str, tuple[Burst | None, Burst | None]]


def build_hoops(coils: Sequence[Part], metals: Sequence, heat_contents: Sequence[HeatContent | None],
                formers: Mapping[str, Former] | None = None) -> Hoops:
    """The turns of coils, one hoop for each zone.

    metals         mechanical data of each coil's turns
    heat_contents  heat content of each coil's metal, None where its temperature is not followed
    formers        by the coil's name
    Raises InputError for a coil without section, and for a former that belongs to no coil.
    """
    unknown = set(formers or ()) - {coil.name for coil in coils}
    if unknown:
        raise InputError(f"former of {', '.join(sorted(unknown))}: no such coil moves; moving are {', '.join(coil.name for coil in coils)}")
    for coil in coils:
        if not coil.zones:
            raise InputError(f"{coil.name} has no section, so it has no mass and cannot move: hold it still")
    coil = np.repeat(np.arange(len(coils)), [len(part.zones) for part in coils])
    zones = [zone for part in coils for zone in part.zones]
    bounds = np.array([zone.outline.bounds for zone in zones])
    middle, half = bounds.reshape(-1, 2, 2).mean(axis=2), np.diff(bounds.reshape(-1, 2, 2), axis=2)[:, :, 0] / 2
    fill = np.array([part.fill or 1.0 for part in coils])[coil]
    volume = fill * 2 * np.pi * middle[:, 0] * np.array([zone.outline.area for zone in zones])
    former = [(formers or {}).get(part.name) for part in coils]
    former_mass, former_stiffness, former_strain = np.array(
        [(entry.mass, *entry.stiffness_and_break_strain) if entry else (0.0, 0.0, np.inf) for entry in former]).T
    turns = np.bincount(coil)
    is_round = np.array([not zone.outline.is_rectangle for zone in zones])
    pairs = np.array(list(combinations(range(len(zones)), 2)), dtype=int).reshape(-1, 2)
    by_turn = {name: np.array([getattr(metal, name) for metal in metals])[coil]
               for name in ("density", "youngs_modulus", "taylor_quinney", "ductility")}
    return Hoops(
        names=tuple(f"{part.name}, {zone.name}" for part in coils for zone in part.zones), coil=coil,
        coils=tuple(part.name for part in coils), positions=middle, rest_half_widths=half, is_round=is_round, volume=volume,
        mass=by_turn["density"] * volume + (former_mass / turns)[coil],
        stiffness=by_turn["youngs_modulus"], flow_stress=law_of_cells([metal.flow_stress for metal in metals], coil),
        taylor_quinney=by_turn["taylor_quinney"], ductility=by_turn["ductility"],
        heat_contents=tuple((np.flatnonzero(coil == k), content) for k, content in enumerate(heat_contents)),
        former_stiffness=(former_stiffness / turns)[coil],
        former_strain=former_strain[coil],
        pairs=pairs, film=_min_distances(pairs, middle, half, is_round),
    )


def hoops_at_rest(hoops: Hoops, enthalpy: np.ndarray | None = None) -> HoopState:
    """The turns unmoved, free of stress, at 293.15 K or with a given enthalpy (turns,) in J/m^3."""
    zero = np.zeros(len(hoops.mass))
    return HoopState(
        time=0.0,
        positions=hoops.positions,
        velocities=np.zeros_like(hoops.positions),
        stress=zero,
        plastic_strain=zero,
        strain_rate=zero,
        enthalpy=zero if enthalpy is None else np.array(enthalpy, dtype=float),
        former_holds=np.ones(len(zero), bool),
        plastic_work=zero,
        contact_loss=0.0,
        former_loss=0.0,
        bursts=dict.fromkeys(hoops.coils, (None, None)),
    )


def hoop_strain(hoops: Hoops, positions: np.ndarray) -> np.ndarray:
    """Logarithmic hoop strain (turns,) of the sections' middles."""
    return np.log(positions[:, 0] / hoops.positions[:, 0])


def half_widths(hoops: Hoops, positions: np.ndarray) -> np.ndarray:
    """(turns, 2) m: a turn keeps its volume, so its section scales with 1/stretch and its width with 1/sqrt(stretch)."""
    return hoops.rest_half_widths * np.sqrt(hoops.positions[:, :1] / positions[:, :1])


def move_points(hoops: Hoops, positions: np.ndarray, turn: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Current positions of points (points, 2) of the turns at rest: `x = middle + (x_0 - middle_0) sqrt(r_0/r)`; turn (points,)."""
    scale = np.sqrt(hoops.positions[turn, :1] / positions[turn, :1])
    return positions[turn] + (points - hoops.positions[turn]) * scale


def forces_on_hoops(hoops: Hoops, positions: np.ndarray, turn: np.ndarray, points: np.ndarray, loads: np.ndarray) -> np.ndarray:
    """Forces (turns, 2) in N that do the same work on the turns' middles as `loads` (points, 2) on points that `move_points` moves.

    F_r = sum of f_r + f . (x_0 - middle_0) d(sqrt(r_0/r))/dr,    F_z = sum of f_z
    """
    slope = -0.5 * np.sqrt(hoops.positions[turn, 0] / positions[turn, 0]) / positions[turn, 0]
    radial = loads[:, 0] + slope * (loads * (points - hoops.positions[turn])).sum(axis=1)
    return np.stack([np.bincount(turn, values, minlength=len(hoops.mass)) for values in (radial, loads[:, 1])], axis=1)


def hoop_energy(hoops: Hoops, state: HoopState) -> MotionEnergy:
    """Where the work done on the turns is, in J; kinetic and elastic energy include the former's.

        elastic = V s^2/(2 E) + 2 pi r_0 k e^2/2,    k and e the former's stiffness and strain
    """
    former = np.pi * hoops.positions[:, 0] * hoops.former_stiffness * hoop_strain(hoops, state.positions)**2 * state.former_holds
    elastic = hoops.volume * state.stress**2 / (2 * hoops.stiffness) + former
    return MotionEnergy(kinetic=float((hoops.mass[:, None] * state.velocities**2).sum() / 2), elastic=float(elastic.sum()),
                        dissipated=float(state.plastic_work.sum()) + float(state.contact_loss + state.former_loss))


def _min_distances(pairs: np.ndarray, middle: np.ndarray, half: np.ndarray, is_round: np.ndarray) -> np.ndarray:
    """Least distances (pairs,) in m: a share of the thinner wire, or the gap at rest where that is less."""
    at_rest, *_ = gaps(pairs, middle, half, is_round)
    return np.minimum(INSULATION_FILM * 2 * half.min(axis=1)[pairs].min(axis=1), at_rest)
