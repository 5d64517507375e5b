"""What drives a shot: capacitor banks, their spark gaps, a crowbar and the leads."""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from fieldsolve.constants import MU_0
from geometries.errors import InputError

SERIES_SHAPES = ("solenoid", "spiral", "winding")       # coils that a bank drives in series unless `circuit=` says otherwise


@dataclass(frozen=True)
class Bank:
    """A charged capacitor bank behind a spark gap.

    capacitance     farad
    voltage         charge in volt; positive
    resistance      of capacitor, gap and leads in ohm
    inductance      of the same in henry
    arc_voltage     constant drop of the arc in volt, against the current
    fires_at        when its gap closes, seconds
    rated_voltage   largest charge in volt that the maker allows; None where it is not known, as for the other ratings
    rated_reversal  largest reversal that the maker allows, as a fraction of the charge voltage
    rated_current   largest peak current in ampere that the maker allows
    Raises InputError for values that cannot be.  A charge above its rating can be described; a shot refuses to fire it.
    """

    capacitance: float
    voltage: float
    resistance: float = 0.0
    inductance: float = 0.0
    arc_voltage: float = 0.0
    fires_at: float = 0.0
    rated_voltage: float | None = None
    rated_reversal: float | None = None
    rated_current: float | None = None

    def __post_init__(self) -> None:
        for name in ("capacitance", "voltage"):
            _check_positive("bank", name, getattr(self, name))
        for name in ("resistance", "inductance", "arc_voltage", "fires_at"):
            _check_not_negative("bank", name, getattr(self, name))
        for name in ("rated_voltage", "rated_reversal", "rated_current"):
            if getattr(self, name) is not None:
                _check_positive("bank", name, getattr(self, name))
        if self.rated_reversal is not None and self.rated_reversal > 1:
            raise InputError(f"bank: rated_reversal = {self.rated_reversal:g} is a share of the charge voltage and at most 1: "
                             "give 0.8, or '80 %' in a case file, for 80 %")
        if self.voltage <= self.arc_voltage:
            raise InputError(f"bank: voltage = {self.voltage:g} V does not exceed arc_voltage = {self.arc_voltage:g} V: "
                             "no current would flow")

    @property
    def energy(self) -> float:
        """Stored energy C V^2 / 2 in joule."""
        return 0.5 * self.capacitance * self.voltage**2


def check_charge(banks: Iterable[Bank]) -> None:
    """Refuse to fire a bank that is charged above its rated voltage: InputError."""
    for bank in banks:
        if bank.rated_voltage is not None and bank.voltage > bank.rated_voltage:
            raise InputError(f"bank: voltage = {bank.voltage:g} V is above rated_voltage = {bank.rated_voltage:g} V: charge less")


@dataclass(frozen=True)
class Crowbar:
    """A switch that shorts the coil leads or the capacitor.

    resistance, inductance   of the crowbar itself, ohm and henry; the inductance may be 0
    across                   'coil' (the coil leads) or 'capacitor'
    fires_at                 seconds, or None: at the first zero of the bank's voltage
    """

    resistance: float
    inductance: float = 0.0
    across: str = "coil"
    fires_at: float | None = None

    def __post_init__(self) -> None:
        _check_not_negative("crowbar", "resistance", self.resistance)
        _check_not_negative("crowbar", "inductance", self.inductance)
        if self.fires_at is not None:
            _check_not_negative("crowbar", "fires_at", self.fires_at)
        if self.across not in ("coil", "capacitor"):
            raise InputError(f"crowbar: across = {self.across!r}: choose 'coil' or 'capacitor'")
        if self.across == "capacitor" and self.resistance == 0 and self.inductance == 0:
            raise InputError("crowbar: a short without resistance and inductance across a capacitor carries no finite current: "
                             "give one of them")


@dataclass(frozen=True)
class Leads:
    """Connection in series with the coils, and how it runs.

    resistance, inductance  in series with the coils, ohm and henry
    spacing        between the centres of the two conductors, metres; None where it is not known, as for the rest
    length         of the leads in metres
    width          of the conductors in metres, where they are plates
    wire_diameter  of the conductors in metres, where they are wires
    loop_area      that the leads span, m^2
    The circuit takes resistance and inductance; only the card of the rig needs the rest.  Raises InputError for values that cannot be.
    """

    resistance: float = 0.0
    inductance: float = 0.0
    spacing: float | None = None
    length: float | None = None
    width: float | None = None
    wire_diameter: float | None = None
    loop_area: float | None = None

    def __post_init__(self) -> None:
        _check_not_negative("leads", "resistance", self.resistance)
        _check_not_negative("leads", "inductance", self.inductance)
        for name in ("spacing", "length", "width", "wire_diameter", "loop_area"):
            if getattr(self, name) is not None:
                _check_positive("leads", name, getattr(self, name))


def plate_leads(*, length: float, width: float, gap: float, thickness: float, conductivity: float) -> Leads:
    """Two parallel plates: L = mu_0 length gap / width, R = 2 length / (sigma width thickness).

    All in metres and S/m; for width much larger than gap.  Source: F. W. Grover, Inductance Calculations (1946), chapter 5, limit of
    wide plates (from memory).
    """
    for name, value in (("length", length), ("width", width), ("gap", gap), ("thickness", thickness), ("conductivity", conductivity)):
        _check_positive("leads", name, value)
    return Leads(2 * length / (conductivity * width * thickness), plate_inductance(length, width, gap))


def plate_inductance(length: float, width: float, gap: float) -> float:
    """Inductance in henry of two parallel plates, all in metres:  mu_0 length gap / width.  Source: as `plate_leads`."""
    return MU_0 * length * gap / width


def wire_leads(*, length: float, spacing: float, wire_diameter: float, conductivity: float) -> Leads:
    """Two parallel round wires: L = mu_0 length / pi (ln(2 spacing / diameter) + 1/4), R = 8 length / (pi sigma diameter^2).

    All in metres and S/m; spacing between centres.  Source: F. W. Grover, Inductance Calculations (1946), chapter 5 (from memory).
    """
    for name, value in (("length", length), ("spacing", spacing), ("wire_diameter", wire_diameter), ("conductivity", conductivity)):
        _check_positive("leads", name, value)
    if spacing <= wire_diameter:
        raise InputError(f"leads: spacing = {spacing:g} m must exceed wire_diameter = {wire_diameter:g} m")
    return Leads(8 * length / (math.pi * conductivity * wire_diameter**2), wire_inductance(length, spacing, wire_diameter))


def wire_inductance(length: float, spacing: float, wire_diameter: float) -> float:
    """Inductance in henry of two parallel round wires, all in metres:  mu_0 length / pi (ln(2 spacing / diameter) + 1/4).

    Source: as `wire_leads`.
    """
    return MU_0 * length / math.pi * (math.log(2 * spacing / wire_diameter) + 0.25)


def _check_positive(owner: str, name: str, value: float) -> None:
    if not (isinstance(value, (int, float)) and math.isfinite(value) and value > 0):
        raise InputError(f"{owner}: {name} = {value} must be a positive number")


def _check_not_negative(owner: str, name: str, value: float) -> None:
    if not (isinstance(value, (int, float)) and math.isfinite(value) and value >= 0):
        raise InputError(f"{owner}: {name} = {value} must be a number, zero or more")
