"""The few quantities of a computed shot that the card needs."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from fieldsolve.renamed import old_attributes
from geometries.keywords import known_keywords

if TYPE_CHECKING:                        # the module loads what the command does not need for a card without a shot
    from fieldsolve.motion.hoops.hoops import Burst

ENDED_CURRENT_SHARE = 0.01               # of its peak: a current below that has ended


@dataclass(frozen=True)
class BankQuantities:
    """Largest current in ampere and reversal of one bank; `settled` where the shot is long enough for both."""

    peak_current: float
    reversal: float
    settled: bool


@dataclass(frozen=True, kw_only=True)
class ShotQuantities:
    """What the card takes from a shot, in SI.

    banks             a BankQuantities for each bank
    frequency         hertz: half over the time of the first bank's first current zero, None where there is none
    turn_voltage      largest from turn to turn, volt; None for stranded coils
    action_share      of each body, its largest action over that to the solidus; None where nothing heated or nothing can melt
    energy_left       fraction of the banks' energy that is still in bank, leads and field at the end
    residual          of the energy balance, as a fraction of the banks' energy
    coil_current      largest current of the coils, ampere
    current_rate      largest rate of rise of the coils' current, A/s
    action            largest integral of I^2 dt of the coils, A^2 s
    outward_force     largest radial force on the coils over the full circumference, newton
    field_rate        largest dB/dt in the gap, T/s; None where there is no gap
    residual_voltage  largest voltage of a bank since its current last changed sign, volt: a ringing one is zero by chance at the end
    end_time          seconds
    interrupted       whether it ended early
    held              whether the metal was held still
    """

    banks: tuple[BankQuantities, ...]
    frequency: float | None
    turn_voltage: float | None
    action_share: dict[str, float | None]
    energy_left: float
    residual: float
    coil_current: float
    current_rate: float
    action: float
    outward_force: float
    field_rate: float | None
    residual_voltage: float
    end_time: float
    interrupted: bool = False
    held: bool = True

    __getattr__ = old_attributes("ShotQuantities")


@dataclass(frozen=True)
class MovingShotQuantities:
    """What the card takes from a shot with moving metal, in SI.

    largest_speed      of any turn up to the end, m/s
    burst              the coil that bursts first, at the least strain its metal breaks at; None where none does before the end
    latest_burst_time  when it bursts at the latest, seconds; None where that is after the end
    end_time           seconds
    stop_reason        why the shot ends early, in words; empty where it does not
    residual_voltage   as in ShotQuantities, volt
    """

    held: ClassVar[bool] = False
    largest_speed: float
    burst: Burst | None
    latest_burst_time: float | None
    end_time: float
    stop_reason: str = ""
    residual_voltage: float = 0.0

    __getattr__ = old_attributes("MovingShotQuantities")


@known_keywords
def moving_shot_quantities(shot) -> MovingShotQuantities | None:
    """What the card takes from a shot whose turns move.

    Parameters
    ----------
    shot : Shot
        From `solve_shot`, also one that ended early.

    Returns
    -------
    MovingShotQuantities or None
        Up to the end of the shot; None where the turns are held.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=True, accuracy=3e-2)
    >>> moving_shot_quantities(shot).burst is None
    True
    """
    coils = [name for name in shot.coils if ("hoop_strain", name) in shot.history.values]
    if not coils:
        return None
    earliest, latest = min((shot.metal.bursts(name) for name in coils), key=lambda pair: pair[0].time if pair[0] else math.inf)
    return MovingShotQuantities(
        max(float(shot.series("speed", name).max()) for name in coils),
        earliest,
        latest and latest.time,
        float(shot.times[-1]),
        shot.stop_reason or ("it was interrupted" if shot.interrupted else ""),
        _residual_voltage(shot),
    )


@known_keywords
def shot_quantities(shot) -> ShotQuantities:
    """What the checks of the card judge of a shot.

    Parameters
    ----------
    shot : Shot or ReducedShot
        From `solve_shot`, or a discharge of a reduced model, which has no energy balance: what needs that is then not a number.

    Returns
    -------
    ShotQuantities
        In SI.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2)
    >>> shot_quantities(shot).coil_current == shot.peak("current", "coil").value
    True
    """
    coils, values = shot.coils, shot.history.values
    turn_voltages = [_largest_magnitude(shot, "turn_voltage", name) for name in coils if ("turn_voltage", name) in values]
    return ShotQuantities(
        banks=tuple(_bank_quantities(shot, place, bank) for place, bank in zip(shot.bank_places, shot.network.banks, strict=True)),
        frequency=_ringing_frequency(shot), turn_voltage=max(turn_voltages, default=None),
        action_share={name: _action_share(shot, name) for name in shot.bodies},
        **_balance(shot),
        coil_current=max(_largest_magnitude(shot, "current", name) for name in coils),
        current_rate=max(_largest_magnitude(shot, "current_rate", name) for name in coils),
        action=max(float(shot.action(name)) for name in coils),
        outward_force=max(float(shot.series("radial_force", name).max()) for name in coils),
        field_rate=float(np.abs(np.gradient(shot.series("field", "gap"), shot.times)).max()) if ("field", "gap") in values else None,
        residual_voltage=_residual_voltage(shot),
        end_time=float(shot.times[-1]), interrupted=bool(shot.interrupted or shot.stop_reason), held=shot.held,
    )


def _balance(shot) -> dict[str, float]:
    """What is left of the energy, and what its balance leaves unexplained; not numbers where the shot has no balance."""
    energy = getattr(shot, "energy", None)
    if energy is None:
        return {"energy_left": math.nan, "residual": math.nan}
    return {"energy_left": float(sum(series[-1] for series in energy.stores.values()) / energy.initial), "residual": float(energy.residual)}


def _residual_voltage(shot) -> float:
    """Largest voltage of any bank since its current last changed sign, volt."""
    found = [0.0]
    for place in shot.bank_places:
        sign = np.sign(shot.series("current", place))
        changes = np.flatnonzero(sign[1:] * sign[:-1] < 0)
        found.append(float(np.abs(shot.series("voltage", place)[changes[-1] if len(changes) else 0:]).max()))
    return max(found)


def _largest_magnitude(shot, quantity: str, place: str) -> float:
    return abs(float(shot.history.peak(quantity, place)[0]))


def _bank_quantities(shot, place: str, bank) -> BankQuantities:
    """The reversal is there once the voltage has turned or the current has ended."""
    voltage, current = shot.series("voltage", place), np.abs(shot.series("current", place))
    turned = int(voltage.argmin()) < len(voltage) - 1
    settled = bank.fires_at < shot.times[-1] and current.max() > 0 and (turned or current[-1] < ENDED_CURRENT_SHARE * current.max())
    return BankQuantities(_largest_magnitude(shot, "current", place), max(0.0, -float(voltage.min())) / bank.voltage, bool(settled))


def _ringing_frequency(shot) -> float | None:
    place, bank = shot.bank_places[0], shot.network.banks[0]
    current = shot.series("current", place)
    crossings = np.flatnonzero((current[:-1] > 0) & (current[1:] <= 0))
    if not len(crossings):
        return None
    k = int(crossings[0])
    (t0, t1), (i0, i1) = shot.times[k:k + 2], current[k:k + 2]
    return float(0.5 / (t0 + (t1 - t0) * i0 / (i0 - i1) - bank.fires_at))


def _action_share(shot, name: str) -> float | None:
    if ("action_share", name) not in shot.history.values:
        return None
    from fieldsolve.materials.heat_content import heat_content

    melts = [math.isfinite(heat_content(zone.material).melting_range[0]) for zone in shot.section.part(name).zones]
    return float(shot.series("action_share", name).max()) if all(melts) else None
