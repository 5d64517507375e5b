"""What a case describes, solved: its shot, its field, and the shots behind its rig's card."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.cases.case_file import Case, setting_tables
from fieldsolve.cases.shot_tables import missing_key, require_keys
from fieldsolve.errors import InputError, SolveError
from fieldsolve.motion.defaults import cell_fineness, default_motions
from fieldsolve.rig.coil import empty_inductance
from fieldsolve.rig.rig import Rig
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.field import HarmonicField
    from fieldsolve.field.harmonic.solve import HarmonicSweep
    from fieldsolve.field.static.solve import StaticField
    from fieldsolve.shot.result.shot import Shot
    from geometries.mesh import Mesh

DEFAULT_CURRENT = 1000.0        # ampere per turn
MOVING_SHOT_ACCURACY = 3e-2     # of the shot with moving metal: its speeds change by less than 1 %, and design is for twice the bound


@known_keywords
def solve_case(case: Case, *, accuracy: float | None = None, held: bool = False, current: float = DEFAULT_CURRENT,
               progress: Callable[[float], None] | None = None,
               checkpoint: str | Path | None = None) -> Shot | StaticField | HarmonicField | HarmonicSweep:
    """Solve what a case describes: the shot where there is a [bank], else the field, at rest or at the frequencies of [field].

    Parameters
    ----------
    case : Case
        From `read_case`.
    accuracy : float, optional
        Relative, in place of the case's; where neither gives one, the solver's default.
    held : bool
        Hold the metal of a shot still, whatever [run] motion says.
    current : float
        Ampere per turn of each coil of a field whose table gives none, a peak value at a frequency.
    progress : callable, optional
        Called with the time in seconds after each step of a shot.
    checkpoint : str or Path, optional
        A file in which a shot is kept as it is computed, for `resume_shot`; see `solve_shot`.

    Returns
    -------
    Shot, StaticField, HarmonicField or HarmonicSweep
        As from `solve_shot`, `solve_static`, or `solve_harmonic` at one frequency or several.

    Raises
    ------
    InputError
        Where the case lacks what a shot needs, or gives what a shot cannot take; and what the solvers raise.

    Examples
    --------
    >>> from fieldsolve.cases.case_file import read_case
    >>> field = solve_case(read_case({"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "current": "1 kA"},
    ...                               "field": {"accuracy": 1e-2}}))
    >>> field.inductance("coil").unit
    'H'
    """
    if not isinstance(case, Case):
        raise InputError(f"case = {case!r:.60}: expected a case, from fs.read_case(path or dictionary)")
    if "bank" in setting_tables(case.tables):
        return solve_case_shot(case, accuracy, held, progress, checkpoint=checkpoint)
    return solve_case_field(case, coil_currents(case, current), accuracy=accuracy)


def check_shot_case(case: Case) -> None:
    """Refuse a case that describes no shot: InputError, with the case's name, table, key and remedy."""
    try:
        if case.field.applied_field:
            raise InputError(f"[field] applied_field = {case.field.applied_field:g} T: a shot is computed without one; take it out")
        require_keys(setting_tables(case.tables), "run", "bank")
    except InputError as error:
        raise InputError(f"{case.name}: {error}") from None


def solve_case_shot(case: Case, accuracy: float | None = None, held: bool = False,
                    progress: Callable[[float], None] | None = None, *, mesh: Mesh | None = None,
                    error_bounds: bool = True, checkpoint: str | Path | None = None) -> Shot:
    """The shot of a case, with the case's text; see `solve_case`, and `solve_shot` on a mesh of one's own and on error bounds."""
    from fieldsolve.shot.checkpoint.checkpoint import CaseOrigin
    from fieldsolve.shot.checkpoint.keeper import Keeper
    from fieldsolve.shot.problem import CaseText
    from fieldsolve.shot.result.shot import Shot
    from fieldsolve.shot.solve import solve_shot

    check_shot_case(case)
    if case.run.end_time is None:
        raise missing_key("run", "end_time")
    accuracy = case.run.accuracy if accuracy is None else accuracy
    origin, (motion, fixed_parts) = CaseText(case.name, case.text), _motion_of(case, held, accuracy)
    keeper = None if checkpoint is None else Keeper(Path(checkpoint), CaseOrigin(origin, fixed_parts))
    try:
        shot = solve_shot(case.section, case.banks, end_time=case.run.end_time, heating=case.run.heating, leads=case.leads,
                          crowbar=case.crowbar, progress=progress, mesh=mesh, error_bounds=error_bounds, checkpoint=keeper, **motion,
                          **_given_accuracy(accuracy))
    except SolveError as error:
        error.partial = replace(error.partial, case=origin) if isinstance(error.partial, Shot) else None
        raise
    return replace(shot, case=origin, fixed_parts={**shot.fixed_parts, **fixed_parts})


def _motion_of(case: Case, held: bool, accuracy: float | None) -> tuple[dict[str, Any], dict[str, str]]:
    """The motion and the former as keywords of `solve_shot`, and why parts are held still where it does not find that out itself."""
    if held or not case.run.motion:
        return {"motion": False, "former": case.former}, {}
    if not case.held_parts:
        return {"motion": True, "former": case.former}, {}
    motions, reasons = default_motions(case.section, case.former, 1.0 if accuracy is None else cell_fineness(accuracy))
    moving = {name: motion for name, motion in motions.items() if name not in case.held_parts}
    return {"motion": moving or False}, {**reasons, **dict.fromkeys(case.held_parts, "as its table says")}


def solve_case_field(case: Case, currents: dict[str, float], frequencies: tuple[float, ...] | None = None,
                     accuracy: float | None = None) -> StaticField | HarmonicField | HarmonicSweep:
    """The field of a case with these currents in ampere per turn; frequencies and accuracy None are the case's; see `solve_case`."""
    from fieldsolve.field.harmonic.solve import solve_harmonic
    from fieldsolve.field.static.solve import solve_static

    frequencies = case.field.frequencies if frequencies is None else frequencies
    _check_driven(case, currents, frequencies)
    options = {"applied_field": case.field.applied_field, **_given_accuracy(case.field.accuracy if accuracy is None else accuracy)}
    if not frequencies:
        return solve_static(case.section, currents, **options)
    return solve_harmonic(case.section, frequencies if len(frequencies) > 1 else frequencies[0], currents, **options)


def _check_driven(case: Case, currents: dict[str, float], frequencies: tuple[float, ...]) -> None:
    """Refuse a field that is zero everywhere: InputError."""
    from fieldsolve.field.system.coefficients import has_magnet

    if not any(currents.values()) and not case.field.applied_field and (frequencies or not has_magnet(case.section)):
        magnet = "" if frequencies else ", or a magnet"
        raise InputError(f"{case.name}: nothing drives the field, it is zero everywhere: give a coil a current = \"1 kA\", or [field] "
                         f"applied_field = \"10 mT\"{magnet}")


def coils_without_current(case: Case) -> tuple[str, ...]:
    """Coils whose table gives no current; a ring is closed metal unless its table gives one."""
    return tuple(part.name for part in case.parts if part.is_coil and part.shape != "ring" and part.name not in case.currents)


def coil_currents(case: Case, current: float = DEFAULT_CURRENT) -> dict[str, float]:
    """Ampere per turn of each coil: its table's, or else `current`."""
    return {**case.currents, **dict.fromkeys(coils_without_current(case), current)}


def _given_accuracy(accuracy: float | None) -> dict[str, Any]:
    """The accuracy as a keyword; without one the solver takes its default."""
    return {} if accuracy is None else {"accuracy": accuracy}


@dataclass(frozen=True)
class RigShots:
    """What was computed for a rig's card; None where the case describes none.

    shot             with the metal held
    moving_shot      with moving metal, up to where it could be followed; None where [run] motion = false
    coil_inductance  of the coils in series, empty, at 10 kHz, in henry
    """

    shot: Shot | None = None
    moving_shot: Shot | None = None
    coil_inductance: float | None = None


@known_keywords
def solve_rig_shots(case: Case, accuracy: float | None = None, solve: Callable[[Case, float | None, bool], Shot] | None = None) -> RigShots:
    """Compute what the card of a case's rig needs, as far as the case describes it.

    The shot with the metal held overstates currents and forces: the checks judge that one.  Unless [run] motion = false the shot is
    computed once more with moving metal, which says when the coil bursts and how fast its turns are.  A bank may be charged above its
    rated voltage here: the card says so.

    Parameters
    ----------
    case : Case
        From `read_case`.
    accuracy : float, optional
        Relative, of the shots, in place of the case's.
    solve : callable, optional
        Computes a shot of (case, accuracy, held) in place of the solver.

    Returns
    -------
    RigShots
        For `rig_card(read_rig(case), shots.shot, shots.moving_shot, shots.coil_inductance)`.

    Raises
    ------
    FieldError
        What the solvers raise.

    Examples
    --------
    >>> from fieldsolve.cases.case_file import read_case
    >>> case = read_case({"coil": {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm",
    ...                            "pitch": "3.3 mm", "material": "copper"},
    ...                   "bank": {"capacitance": "120 uF", "voltage": "1 kV", "inductance": "300 nH"},
    ...                   "run": {"end_time": "5 us", "motion": False, "accuracy": 3e-2}})
    >>> shots = solve_rig_shots(case)
    >>> shots.shot.held, shots.moving_shot
    (True, None)
    """
    rig, solve = Rig(section=case.section), solve or solve_case_shot
    if not case.banks or not rig.coils:
        return RigShots()
    inductance = empty_inductance(case.section, rig.coils)
    if case.run.end_time is None:
        return RigShots(coil_inductance=inductance)
    case = replace(case, banks=tuple(replace(bank, rated_voltage=None) for bank in case.banks))
    accuracy = case.run.accuracy if accuracy is None else accuracy
    held = solve(case, accuracy, True)
    return RigShots(held, _solve_moving_shot(case, accuracy, solve) if case.run.motion else None, inductance)


def _solve_moving_shot(case: Case, accuracy: float | None, solve: Callable[[Case, float | None, bool], Shot]) -> Shot | None:
    """The shot with moving metal, coarser than the held one; where it fails on the way, what was computed up to there."""
    from fieldsolve.shot.result.shot import Shot

    try:
        return solve(case, max(accuracy or MOVING_SHOT_ACCURACY, MOVING_SHOT_ACCURACY), False)
    except SolveError as error:
        return error.partial if isinstance(error.partial, Shot) else None
