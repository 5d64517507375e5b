"""The metal of a shot over time: temperature, plastic strain and bursts, and maps of them at one instant."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from fieldsolve.motion.hoops.motion import HoopMotionState
from fieldsolve.motion.movement import Movement
from fieldsolve.motion.plastic_flow.motion import FlowMotionState
from fieldsolve.shot.instant import BurstRange, MetalSnapshot, PlasticFlow
from fieldsolve.shot.integrator.heating import HeatedMetal, Heating
from geometries.cross_section import CrossSection
from geometries.mesh import AIR, Mesh


@dataclass(frozen=True, eq=False)
class MetalMap:
    """Temperature and strain in every triangle of metal at one instant.

    time                seconds
    triangles           (k,) numbers in `mesh`, on which the metal stands where it is then
    temperature         (k,) K, mean over the triangle; the surface of a skin is hotter, see the series "temperature"
    plastic_heat_share  (k,) share of the heat that came of plastic flow, the rest of current; 0 where there is none
    plastic_strain      (k,) equivalent plastic strain, mean over the triangle; 0 where the metal is held
    strain_rate         (k,) its rate in 1/s
    """

    time: float
    section: CrossSection
    mesh: Mesh
    triangles: np.ndarray
    temperature: np.ndarray
    plastic_heat_share: np.ndarray
    plastic_strain: np.ndarray
    strain_rate: np.ndarray

    def __repr__(self) -> str:
        return f"MetalMap({self.time:.6g} s, {len(self.triangles)} triangles of metal)"


@dataclass(frozen=True, eq=False)
class MetalHistory:
    """The metal of a shot over time.

    instants  what was kept of the metal at every instant
    heated    what turns enthalpy into temperature; None where nothing heats
    """

    instants: tuple[MetalSnapshot, ...]
    heated: HeatedMetal | None

    def __repr__(self) -> str:
        return f"MetalHistory({len(self.instants)} instants, {'heated' if self.heated else 'cold'})"

    def remaining_magnetization(self, k: int) -> np.ndarray | None:
        """Share of its magnetization at 293.15 K that each triangle has kept at instant k, (m,); None where nothing heats."""
        return None if self.heated is None else self.heated.magnetization_at(self.instants[k].enthalpy)

    def bursts(self, coil: str) -> BurstRange:
        """A coil when its first turn reaches the least strain that its metal breaks at, and the largest; None where none does."""
        return self.instants[-1].bursts.get(coil, (None, None))

    def burst_events(self) -> list[tuple[float, str]]:
        """What bursts when: (seconds, sentence)."""
        found = []
        for early, late in self.instants[-1].bursts.values():
            if early:
                found.append((early.time, f"{early.turn} may break from here on: what follows is beyond the model"))
            if late:
                found.append((late.time, f"{late.turn} breaks at the latest"))
        return found

    def map_at(self, k: int, time: float, section: CrossSection, mesh: Mesh) -> MetalMap:
        """The metal at instant k, at `time` in seconds, on the mesh it then stands on."""
        snapshot, count = self.instants[k], len(mesh.triangles)
        metal = np.flatnonzero(mesh.region > AIR)
        is_heated = snapshot.enthalpy is not None
        temperature = self.heated.temperature_at(snapshot.enthalpy) if is_heated else np.full(count, ROOM_TEMPERATURE)
        plastic, strain, rate = np.zeros(count), np.zeros(count), np.zeros(count)
        for name, flow in snapshot.flow.items():
            in_part = mesh.part_triangles(name)
            plastic[in_part], strain[in_part], rate[in_part] = flow.heat, flow.strain, flow.rate
        share = _ratio(plastic, self.heated.heat_energy(snapshot.enthalpy)) if is_heated else np.zeros(count)
        return MetalMap(time=time, section=section, mesh=mesh, triangles=metal, temperature=temperature[metal],
                        plastic_heat_share=share[metal], plastic_strain=strain[metal], strain_rate=rate[metal])


def metal_snapshot(thermal_state: Heating | None, movement: Movement | None) -> MetalSnapshot:
    """What is kept of the metal as it is now; None in place of what does not heat or move."""
    states = {body.name: state for body, state in zip(movement.bodies, movement.states, strict=True)} if movement else {}
    flow = {name: PlasticFlow(state.heat, *_strains(state)) for name, state in states.items()
            if isinstance(state, FlowMotionState | HoopMotionState)}
    bursts = {name: state.hoop_state.bursts[name] for name, state in states.items() if isinstance(state, HoopMotionState)}
    return MetalSnapshot(None if thermal_state is None else thermal_state.enthalpy, flow, bursts)


def plastic_heat_shares(heating: Heating, movement: Movement) -> dict[tuple[str, str], float]:
    """Share of plastic heat in all heat of each part that flows or stretches, in all of it and where it is hottest, by (quantity, part)."""
    found, joule, temperature = {}, heating.metal.heat_energy(heating.enthalpy), heating.temperature()
    for body, state in zip(movement.bodies, movement.states, strict=True):
        if isinstance(state, FlowMotionState | HoopMotionState):
            in_part, hottest = joule[body.triangle_indices], temperature[body.triangle_indices].argmax()
            found["plastic_heat_share", body.name] = float(_ratio(state.heat.sum(), in_part.sum()))
            found["plastic_heat_share_hottest", body.name] = float(_ratio(state.heat, in_part)[hottest])
    return found


def _strains(state: FlowMotionState | HoopMotionState) -> tuple[np.ndarray, np.ndarray]:
    """Plastic strain and its rate in 1/s in each of a part's triangles."""
    if isinstance(state, HoopMotionState):
        return state.hoop_state.plastic_strain[state.turn_of_triangle], state.hoop_state.strain_rate[state.turn_of_triangle]
    return tuple(
        state.transfer.mean_in_triangles(values.mean(axis=0))
        for values in (state.solid_state.plastic_strain, state.solid_state.strain_rate)
    )


def _ratio(part: np.ndarray, total: np.ndarray) -> np.ndarray:
    """Part over total, 0 where there is nothing."""
    return np.divide(part, total, out=np.zeros(np.shape(total)), where=np.asarray(total) > 0)
