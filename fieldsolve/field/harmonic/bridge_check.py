"""What a bridge reads at a coil's terminals before a shot, with and without the metal around it."""
from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fieldsolve.estimate import Estimate
from fieldsolve.field.harmonic.solve import HarmonicField, solve_harmonic
from geometries.cross_section import AxialStrip, CrossSection, check_cross_section
from geometries.errors import InputError
from geometries.keywords import known_keywords
from geometries.parts import Part

FREQUENCIES = (1e3, 2e3, 5e3, 1e4)      # of a common bridge, hertz


@dataclass(frozen=True)
class BridgeRow:
    """Resistance in ohm and inductance in henry of a coil at one `frequency` in hertz: empty, loaded, and loaded over empty.

    load   names of what loads the coil
    The three resistances are None for a sheet and for a stranded winding whose fill or material is not known.
    """

    coil: str
    load: tuple[str, ...]
    frequency: float
    resistance_empty: Estimate | None
    resistance_loaded: Estimate | None
    resistance_ratio: Estimate | None
    inductance_empty: Estimate
    inductance_loaded: Estimate
    inductance_ratio: Estimate
    accuracy_reached: bool


@known_keywords
def bridge_check(section: CrossSection, coil: str | None = None, frequencies: Iterable[float] = FREQUENCIES,
                 accuracy: float = 1e-3) -> tuple[BridgeRow, ...]:
    """Resistance and inductance of a coil with and without the metal around it, a row for each frequency.

    Parameters
    ----------
    section : CrossSection
        The coils and bodies as they stand for the shot.
    coil : str, optional
        Name of the coil at the bridge; may be left out where there is only one.
    frequencies : iterable of float
        In hertz.
    accuracy : float
        Relative bound on the error of every resistance and inductance.

    Returns
    -------
    tuple of BridgeRow

    Raises
    ------
    InputError
        Where the section has no such coil, or nothing that loads it.

    Notes
    -----
    Empty is the same section without its bodies and closed rings.  The terminals of all other coils are open.  Leads are not included.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=20e-3, turns=8)
    >>> section = geo.CrossSection([coil, geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("copper"))])
    >>> (row,) = fs.bridge_check(section, frequencies=[1e4], accuracy=1e-2)
    >>> bool(row.inductance_ratio < 1)
    True
    """
    check_cross_section(section)
    if isinstance(frequencies, str) or not isinstance(frequencies, Iterable):
        raise InputError(f"frequencies = {frequencies!r}: expected several in hertz, such as [1e3, 10e3]")
    measured, frequencies = _measured(section, coil), tuple(frequencies)
    currents = {part.name: float(part is measured) for part in section.coils if part is measured or part.shape != "ring"}
    kept = tuple(part for part in section.parts if part.name in currents)
    load = tuple(part.name for part in section.parts if part.name not in currents)
    if not load:
        raise InputError(f"nothing loads {measured.name}: this section has no body and no closed ring to compare with the empty coil")
    empty, loaded = (solve_harmonic(what, frequencies, currents, accuracy=accuracy) for what in (CrossSection(kept), section))
    return tuple(_row(measured, load, *fields) for fields in zip(empty, loaded, strict=True))


def _measured(section: CrossSection, coil: str | None) -> Part:
    """The coil at the bridge."""
    if isinstance(section, AxialStrip):
        raise InputError("a coil in an infinitely long strip has no terminals: give a CrossSection")
    coils = [part for part in section.coils if part.shape != "ring"] or list(section.coils)
    if coil is None and len(coils) != 1:
        names = ", ".join(part.name for part in coils)
        raise InputError(f"several coils: name the one at the bridge, one of {names}" if coils else "no coil to put a bridge to: add one")
    part = coils[0] if coil is None else section.part(coil)
    if not part.is_coil:
        raise InputError(f"{part.name} is a {part.shape}, not a coil: it has no terminals for a bridge")
    if part.filament:
        raise InputError(f"the inductance of {part.name}, a line current, is infinite: give the coil a wire")
    return part


def _row(coil: Part, load: tuple[str, ...], empty: HarmonicField, loaded: HarmonicField) -> BridgeRow:
    known = bool(coil.zones) and (not coil.stranded or (coil.fill is not None and coil.zones[0].material is not None))
    resistance = (empty.resistance(coil.name), loaded.resistance(coil.name)) if known else None
    inductance = empty.inductance(coil.name), loaded.inductance(coil.name)
    return BridgeRow(coil=coil.name, load=load, frequency=empty.frequency,
                     resistance_empty=resistance[0] if resistance else None, resistance_loaded=resistance[1] if resistance else None,
                     resistance_ratio=_ratio(*resistance) if resistance else None,
                     inductance_empty=inductance[0], inductance_loaded=inductance[1], inductance_ratio=_ratio(*inductance),
                     accuracy_reached=empty.accuracy_reached and loaded.accuracy_reached)


def _ratio(empty: Estimate, loaded: Estimate) -> Estimate:
    """Loaded over empty; the relative errors add."""
    ratio = loaded / empty
    return Estimate(ratio, abs(ratio) * (empty.error / abs(empty) + loaded.error / abs(loaded)))
