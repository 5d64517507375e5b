"""What drives a shot: capacitor banks, their spark gaps, a crowbar and the leads."""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from fieldsolve.bounds import check_bounds, is_finite_number
from fieldsolve.constants import MU_0
from geometries.errors import InputError
from geometries.keywords import known_keywords

UNITS = {"capacitance": "F", "voltage": "V", "resistance": "ohm", "inductance": "H", "arc_voltage": "V", "fires_at": "s",
         "rated_voltage": "V", "rated_current": "A"}                # of what is checked against the bounds of a rig
SERIES_SHAPES = ("solenoid", "spiral", "winding")       # coils that a bank drives in series unless `circuit=` says otherwise


@known_keywords
@dataclass(frozen=True)
class Bank:
    """A charged capacitor bank behind a spark gap.

    Parameters
    ----------
    capacitance : float
        Farad.
    voltage : float
        Charge in volt, positive and above `arc_voltage`.
    resistance, inductance : float
        Of capacitor, gap and leads, ohm and henry.
    arc_voltage : float
        Constant drop of the arc in volt, against the current.
    fires_at : float
        When its gap closes, seconds.
    rated_voltage, rated_reversal, rated_current : float, optional
        What the maker allows: largest charge in volt, largest reversal as a fraction of the charge voltage, largest peak current in
        ampere; None where it is not known.  A charge above its rating can be described; a shot refuses to fire it.

    Raises
    ------
    InputError
        For values that cannot be.

    Examples
    --------
    >>> print(f"{Bank(capacitance=120e-6, voltage=6e3).energy:.0f} J")
    2160 J
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
        _check_within("bank", self)
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


@known_keywords
@dataclass(frozen=True)
class Crowbar:
    """A switch that shorts the coil leads or the capacitor.

    Parameters
    ----------
    resistance, inductance : float
        Of the crowbar itself, ohm and henry; the inductance may be 0.
    across : str
        'coil' (the coil leads) or 'capacitor'.
    fires_at : float, optional
        Seconds; None: at the first zero of the bank's voltage.

    Raises
    ------
    InputError
        For values that cannot be.

    Examples
    --------
    >>> Crowbar(resistance=5e-3, fires_at=20e-6).across
    'coil'
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
        _check_within("crowbar", self)
        if self.across not in ("coil", "capacitor"):
            raise InputError(f"crowbar: across = {self.across!r}: choose 'coil' or 'capacitor'")
        if self.across == "capacitor" and self.resistance == 0 and self.inductance == 0:
            raise InputError("crowbar: a short without resistance and inductance across a capacitor carries no finite current: "
                             "give one of them")


@known_keywords
@dataclass(frozen=True)
class Leads:
    """Connection in series with the coils, and how it runs.

    The circuit takes resistance and inductance; only the card of the rig needs the rest, each None where it is not known.

    Parameters
    ----------
    resistance, inductance : float
        In series with the coils, ohm and henry.
    spacing : float, optional
        Between the centres of the two conductors, metres.
    length : float, optional
        Of the leads, metres.
    width, wire_diameter : float, optional
        Of the conductors in metres, where they are plates or wires.
    loop_area : float, optional
        That the leads span, m^2.

    Raises
    ------
    InputError
        For values that cannot be.

    Examples
    --------
    >>> Leads(resistance=0.5e-3, inductance=40e-9).inductance
    4e-08
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
        _check_within("leads", self)


@known_keywords
def plate_leads(*, length: float, width: float, gap: float, thickness: float, conductivity: float) -> Leads:
    """Leads of two parallel plates: L = mu_0 length gap / width, R = 2 length / (sigma width thickness).

    Parameters
    ----------
    length, width, gap, thickness : float
        Metres; the width much larger than the gap between the plates.
    conductivity : float
        S/m.

    Returns
    -------
    Leads
        Resistance and inductance.

    Raises
    ------
    InputError
        For a number that is not positive.

    Notes
    -----
    Source: F. W. Grover, Inductance Calculations (1946), chapter 5, limit of wide plates (from memory).

    Examples
    --------
    >>> leads = plate_leads(length=0.5, width=0.1, gap=2e-3, thickness=2e-3, conductivity=5.8e7)
    >>> print(f"{1e9 * leads.inductance:.2f} nH, {1e6 * leads.resistance:.1f} uohm")
    12.57 nH, 86.2 uohm
    """
    for name, value in (("length", length), ("width", width), ("gap", gap), ("thickness", thickness), ("conductivity", conductivity)):
        _check_positive("leads", name, value)
    return Leads(2 * length / (conductivity * width * thickness), plate_inductance(length, width, gap))


def plate_inductance(length: float, width: float, gap: float) -> float:
    """Inductance in henry of two parallel plates, all in metres:  mu_0 length gap / width.  Source: as `plate_leads`."""
    return MU_0 * length * gap / width


@known_keywords
def wire_leads(*, length: float, spacing: float, wire_diameter: float, conductivity: float) -> Leads:
    """Leads of two parallel round wires: L = mu_0 length / pi (ln(2 spacing / diameter) + 1/4), R = 8 length / (pi sigma diameter^2).

    Parameters
    ----------
    length, spacing, wire_diameter : float
        Metres; the spacing between the wires' centres.
    conductivity : float
        S/m.

    Returns
    -------
    Leads
        Resistance and inductance.

    Raises
    ------
    InputError
        For a number that is not positive, and for wires that overlap.

    Notes
    -----
    Source: F. W. Grover, Inductance Calculations (1946), chapter 5 (from memory).

    Examples
    --------
    >>> leads = wire_leads(length=0.5, spacing=20e-3, wire_diameter=5e-3, conductivity=5.8e7)
    >>> print(f"{1e9 * leads.inductance:.0f} nH, {1e6 * leads.resistance:.0f} uohm")
    466 nH, 878 uohm
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
    if not is_finite_number(value) or value <= 0:
        raise InputError(f"{owner}: {name} = {value!r} must be a positive number")


def _check_not_negative(owner: str, name: str, value: float) -> None:
    if not is_finite_number(value) or value < 0:
        raise InputError(f"{owner}: {name} = {value!r} must be a number, zero or more")


def _check_within(owner: str, component: Bank | Crowbar | Leads) -> None:
    """Refuse a component with a number that no rig has."""
    for name, unit in UNITS.items():
        value = getattr(component, name, None)
        if value is not None:
            check_bounds(f"{owner}: {name}", value, unit)
