"""What a row of a sweep holds of a result: names, values and error bounds of a shot, or of a field at rest or at frequencies."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.errors import GeometryError, InputError
from fieldsolve.estimate import Estimate

if TYPE_CHECKING:
    from fieldsolve.shot.reduced.result import ReducedShot
    from fieldsolve.shot.result.shot import Shot

PEAKS = {               # series of a shot whose largest magnitude is a column
    "current": "current of {}", "field": "field in {}", "voltage": "voltage of {}", "current_rate": "current rate of {}",
    "turn_voltage": "turn voltage of {}", "radial_force": "radial force of {}", "axial_force": "axial force of {}",
    "temperature": "temperature of {}", "speed": "speed of {}", "axial_speed": "axial speed of {}", "hoop_strain": "hoop strain of {}",
    "plastic_strain": "plastic strain of {}",
}
ENERGY = "energy of bank"
TIMED = ("current", "field")        # of which the time of the peak is a column too
Results = dict[str, Estimate | None]


def results_of(result: Any) -> Results:
    """The results of a shot, a static field, a harmonic field or a harmonic sweep by column."""
    if hasattr(result, "instants"):
        return shot_results(result)
    if hasattr(result, "frequencies"):
        return {f"{name} at {field.frequency:g} Hz": value for field in result for name, value in _harmonic_results(field)}
    return dict(_harmonic_results(result) if hasattr(result, "frequency") else _static_results(result))


def shot_results(shot: Shot | ReducedShot) -> Results:
    """Peaks, energies and final shape of a shot, or those of a reduced discharge; None for a burst that does not happen."""
    found: Results = {}
    for quantity, place in shot.history.values:
        if quantity in PEAKS and (place != "crowbar" or shot.network.crowbar is not None):
            name = PEAKS[quantity].format(place)
            peak = found[name] = shot.peak(quantity, place)
            if quantity in TIMED:
                found[f"time of {name}"] = Estimate(peak.time, peak.time_error, "s")
    for place in shot.bank_places:
        found[f"reversal of {place}"] = shot.reversal_of(place)
        found[f"residual voltage of {place}"] = shot.residual_voltages[place]
    if not hasattr(shot, "energy"):
        return {**found, ENERGY: Estimate(sum(0.5 * bank.capacitance * bank.voltage**2 for bank in shot.network.banks), 0.0, "J")}
    found[ENERGY] = Estimate(float(shot.energy.initial), 0.0, "J")
    found["energy residual"] = shot.energy.residual
    return found if shot.held else {**found, **dict(_motion_results(shot))}


def _motion_results(shot: Shot) -> Iterator[tuple[str, Estimate | None]]:
    for name in shot.bodies:
        yield f"radius ratio of {name}", shot.radius_ratio(name)
        for place in ("axis", "rim", "waist"):
            ratio = _defined(shot.thickness_ratio, name, at=place)
            if ratio is not None:
                yield f"thickness ratio of {name} at {place}", ratio
    for name in shot.coils:
        if ("hoop_strain", name) in shot.history.values:
            yield f"burst time of {name}", shot.burst_time(name)


def _static_results(field: Any) -> Iterator[tuple[str, Estimate]]:
    driven = [part.name for part in field.section.parts if part.name in field.currents]
    yield from _filter_defined([
        *((f"inductance of {name}", field.inductance, (name,)) for name in driven),
        *((f"axial force of {name}", field.axial_force, (name,)) for name in driven if len(field.section.parts) > 1),
        *((f"field in {region}", field.peak_field, (region,)) for region in field.section.bores), ("energy", field.energy, ())])
    yield "field at centre", _centre(field)


def _harmonic_results(field: Any) -> Iterator[tuple[str, Estimate]]:
    driven = [name for name, current in field.currents.items() if abs(current) > 0]
    bodies = [part.name for part in field.section.bodies]
    yield from _filter_defined([
        *((f"{word} of {name}", method, (name,)) for name in driven
          for word, method in (("inductance", field.inductance), ("resistance", field.resistance))),
        *((f"{word} of {name}", method, (name,)) for name in bodies
          for word, method in (("current", field.net_current), ("loss", field.loss), ("radial force", field.radial_force),
                               ("axial force", field.axial_force))),
        *((f"field in {region}", field.peak_field, (region,)) for region in field.section.bores)])
    yield "field at centre", _centre(field)


def _centre(field: Any) -> Estimate:
    """Magnitude of B at r = 0, z = 0, a peak value at a frequency."""
    components = [np.abs(component[0]) for component in field.flux_density(r=[0.0], z=[0.0])]
    return Estimate(float(np.hypot(*components)), float(np.max(field.flux_density_error([0.0], [0.0]))), "T")


def _filter_defined(columns: list[tuple[str, Callable[..., Any], tuple]]) -> Iterator[tuple[str, Estimate]]:
    for name, method, arguments in columns:
        value = _defined(method, *arguments)
        if value is not None:
            yield name, Estimate(abs(value), value.error, value.unit) if isinstance(value, complex) else value


def _defined(method: Callable[..., Any], *arguments: Any, **keywords: Any) -> Any:
    """What a method of a result returns, None where it is not defined, as the inductance of a line current is not."""
    try:
        return method(*arguments, **keywords)
    except (InputError, GeometryError):
        return None
