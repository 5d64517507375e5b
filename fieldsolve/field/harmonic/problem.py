"""What a time-harmonic solve is given: the section, and what drives the field in it."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from geometries.cross_section import Section


@dataclass(frozen=True)
class HarmonicProblem:
    """A section and what drives the field in it; phasors are peak values with exp(+j omega t).

    currents       ampere per turn by coil;  voltages  volt at the terminals by coil
    applied_field  uniform field along z in tesla
    face_fields    of a strip: tangential field in A/m by face, "inner" and "outer"
    Every other solid coil is closed on itself (V = 0), every other stranded winding or line current is open (I = 0).
    """

    section: Section
    currents: Mapping[str, complex]
    voltages: Mapping[str, complex]
    applied_field: complex = 0.0
    face_fields: Mapping[str, complex] | None = None


def closed_coils(problem: HarmonicProblem) -> list[str]:
    """Solid coils that nothing drives: closed on themselves."""
    driven = problem.currents.keys() | problem.voltages.keys()
    return [p.name for p in problem.section.parts if p.is_coil and p.zones and not p.stranded and p.name not in driven]
