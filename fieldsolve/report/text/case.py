"""A case before it is computed, as text: parts with their sizes, gaps, what can be computed and about how long it takes."""
from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from fieldsolve.cases.shot_tables import REQUIRED, missing_keys
from fieldsolve.errors import InputError
from fieldsolve.screen import column_lines
from fieldsolve.units import display
from geometries.fit import clearance
from geometries.parts import Part

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case

GROWTH = 1.5                    # unknowns of a shot over those of the first mesh
STEPS = 80                      # of a shot of a few half periods at an accuracy of 1 %
SECONDS = {"held": 6e-6, "moving": 20e-6}        # of one processor, for each unknown and step
MOST_GAPS = 10                  # gaps shown, the smallest first


def case_summary(case: Case, first_mesh: int) -> str:
    """Lines on a case; `first_mesh` is the number of nodes of its first mesh."""
    parts = column_lines(_part_row(part, case) for part in case.parts)
    count = f"{len(case.parts)} part{'s' * (len(case.parts) > 1)}"
    return "\n".join([f"{case.name}: {count}, nothing wrong found", *parts, *_gap_lines(case), *_bank_lines(case),
                      *_cost_lines(case, first_mesh)])


def _part_row(part: Part, case: Case) -> list[str]:
    r_min, r_max, z_min, z_max = (1e3 * bound for bound in part.bounds)
    metals = ", ".join(dict.fromkeys(zone.material.name for zone in part.zones if zone.material)) or "no metal"
    held = ", held" if part.name in case.held_parts else ""
    turns = f", {part.turns:g} turns" if part.is_coil else ""
    return [part.name, f"{part.shape}{turns}", f"r = {r_min:.4g} to {r_max:.4g} mm", f"z = {z_min:.4g} to {z_max:.4g} mm", metals + held]


def _gap_lines(case: Case) -> list[str]:
    """The smallest distances between parts."""
    gaps = sorted((clearance(one, other), one.name, other.name) for one, other in combinations(case.parts, 2) if one.zones and other.zones)
    shown = [f"  gap between {one} and {other}: {1e3 * gap:.4g} mm" for gap, one, other in gaps[:MOST_GAPS]]
    return shown + ([f"  and {len(gaps) - MOST_GAPS} larger ones"] if len(gaps) > MOST_GAPS else [])


def _bank_lines(case: Case) -> list[str]:
    return [f"  {name}: {display(bank.capacitance, 'F', 4)} at {display(bank.voltage, 'V', 4)}, {display(bank.energy, 'J', 4)}"
            for name, bank in zip(("bank", "second bank"), case.banks, strict=False)]


def _cost_lines(case: Case, first_mesh: int) -> list[str]:
    """What can be computed, and about how long it takes."""
    from fieldsolve.cases.solve import check_shot_case

    lines = [f"  first mesh: {first_mesh} nodes; fieldsolve field: some seconds"]
    try:
        check_shot_case(case)
    except InputError:
        missing = [f"[{table}] {key}" for table in ("bank", "run") for key in missing_keys(case.tables, table) if key in REQUIRED[table]]
        return [*lines, f"  fieldsolve shot: not yet; missing {', '.join(missing) or 'a field without applied_field'}"]
    held, moving = (GROWTH * first_mesh * STEPS * seconds for seconds in (SECONDS["held"], SECONDS["moving"]))
    return [*lines, f"  fieldsolve shot: about {_round(held)} s with metal held, {_round(moving)} s with moving metal, at an accuracy "
            "of 1 %;", "                   two to five times that at 0.3 %"]


def _round(seconds: float) -> str:
    return f"{float(f'{seconds:.1g}'):g}"
