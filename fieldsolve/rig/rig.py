"""The frozen description of a rig that every check reads, and what checks ask of it."""
from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fieldsolve.circuit.bank import SERIES_SHAPES, Bank, Leads
from fieldsolve.rig.coil import turn_area
from fieldsolve.rig.formulas import gap as gap_formulas
from fieldsolve.rig.formulas.exposure import loop_moment
from fieldsolve.rig.formulas.fragments import Fragment
from fieldsolve.rig.from_shot import BankQuantities, MovingShotQuantities, ShotQuantities
from fieldsolve.rig.tables import (
    Bleeder,
    Box,
    Capacitor,
    Charger,
    FormerTable,
    Gap,
    Instruments,
    Insulation,
    LeadLayout,
    MissingInput,
    Site,
    require,
)
from geometries.cross_section import CrossSection
from geometries.errors import InputError
from geometries.parts import Part

if TYPE_CHECKING:
    from fieldsolve.motion.hoops.hoops import Burst

LARGEST_ENERGY_LEFT = 0.1                # share of the banks' energy that may be left where heat is judged


@dataclass(frozen=True)
class Rig:
    """A rig and its shot, in SI; what is left out is not assessed.

    section           the parts as they stand for the shot
    banks, leads      as the shot takes them; capacitors  what the maker allows, one for each bank, or one for all
    site ... instruments   what the workshop tells, see `fieldsolve.rig.tables`
    limits            limits by name of check, in place of the defaults
    shot              figures of the computed shot (`shot_quantities`), None where none was computed
    coil_inductance   of the coils in series, empty, at 10 kHz, henry (`empty_inductance`)
    moving            figures of a shot with moving metal (`moving_shot_quantities`), None where none was computed
    fragment          known from elsewhere; None: one turn.  No speed below the one that the energy bounds is taken
    today             the day of the shot
    """

    section: CrossSection
    banks: tuple[Bank, ...] = ()
    leads: Leads = field(default_factory=Leads)
    capacitors: tuple[Capacitor, ...] = (Capacitor(),)
    site: Site = field(default_factory=Site)
    gap: Gap = field(default_factory=Gap)
    bleeder: Bleeder = field(default_factory=Bleeder)
    box: Box = field(default_factory=Box)
    lead_layout: LeadLayout = field(default_factory=LeadLayout)
    insulation: Insulation = field(default_factory=Insulation)
    former: FormerTable = field(default_factory=FormerTable)
    charger: Charger = field(default_factory=Charger)
    instruments: Instruments = field(default_factory=Instruments)
    limits: Mapping[str, float] = field(default_factory=dict)
    shot: ShotQuantities | None = None
    coil_inductance: float | None = None
    moving_shot: MovingShotQuantities | None = None
    fragment: Fragment | None = None
    today: datetime.date = field(default_factory=datetime.date.today)

    def __post_init__(self) -> None:
        if len(self.capacitors) not in (1, len(self.banks)):
            raise InputError(f"capacitors: {len(self.capacitors)} for {len(self.banks)} banks: give one for each bank, or one for all")
        if self.shot is not None and len(self.shot.banks) != len(self.banks):
            raise InputError(f"shot: it has {len(self.shot.banks)} banks, the rig {len(self.banks)}: give the banks it was computed with")

    @property
    def coils(self) -> tuple[Part, ...]:
        """The coils that the bank drives, in series."""
        return tuple(part for part in self.section.parts if part.shape in SERIES_SHAPES)


def require_banks(rig: Rig) -> tuple[Bank, ...]:
    """The banks, or Missing."""
    if not rig.banks:
        raise MissingInput("[bank] capacitance and voltage")
    return rig.banks


def highest_charge_voltage(rig: Rig) -> float:
    """The highest charge voltage in volt."""
    return max(bank.voltage for bank in require_banks(rig))


def total_bank_energy(rig: Rig) -> float:
    """Energy of all banks in joule."""
    return sum(bank.energy for bank in require_banks(rig))


def rated_banks(rig: Rig) -> tuple[tuple[str, Bank, Capacitor], ...]:
    """Name, bank and what its maker allows, for each bank."""
    banks = require_banks(rig)
    capacitors = rig.capacitors if len(rig.capacitors) == len(banks) else rig.capacitors[:1] * len(banks)
    return tuple(zip(_bank_names(banks), banks, capacitors, strict=True))


def lower_rating(bank: Bank, capacitor: Capacitor, key: str) -> float:
    """The lower of what bank and capacitor tell of a rating; Missing where neither tells it."""
    ratings = [getattr(owner, key) for owner in (bank, capacitor) if getattr(owner, key) is not None]
    if not ratings:
        raise MissingInput(f"[capacitor] {key}")
    return min(ratings)


def _bank_names(banks: tuple[Bank, ...]) -> tuple[str, ...]:
    return ("bank",) if len(banks) == 1 else tuple(f"bank {k + 1}" for k in range(len(banks)))


def require_shot(rig: Rig) -> ShotQuantities:
    """The figures of the shot; Missing where there is none, or it was ended early."""
    require_banks(rig)
    if rig.shot is None:
        raise MissingInput("a computed shot: [run] end_time and a coil")
    if rig.shot.interrupted:
        raise MissingInput("a shot that runs to its end: this one was interrupted")
    return rig.shot


def require_moving_shot(rig: Rig) -> MovingShotQuantities:
    """The figures of the shot with moving metal; Missing where there is none."""
    require_banks(rig)
    if rig.moving_shot is None:
        raise MissingInput("a computed shot with moving turns: [run] motion = true, and a coil of solid turns with mechanical data")
    return rig.moving_shot


def require_burst(rig: Rig) -> Burst:
    """The coil that bursts first; Missing where none does in the record."""
    moving_shot = require_moving_shot(rig)
    if moving_shot.burst is None:
        raise MissingInput(
            f"a turn that reaches the strain its metal breaks at; none does in the {1e6 * moving_shot.end_time:.4g} us computed"
        )
    return moving_shot.burst


def require_settled_banks(rig: Rig) -> tuple[BankQuantities, ...]:
    """Peak current and reversal of each bank; Missing where the record is too short for them."""
    shot = require_shot(rig)
    if not all(bank.settled for bank in shot.banks):
        raise MissingInput(f"[run] end_time beyond the first current zero of every bank, later than {1e6 * shot.end_time:.4g} us")
    return shot.banks


def require_spent_shot(rig: Rig) -> ShotQuantities:
    """The figures of a shot whose energy is all but spent, for what adds up over it; Missing where much is left."""
    shot = require_shot(rig)
    if not shot.energy_left <= LARGEST_ENERGY_LEFT:
        raise MissingInput(
            f"[run] end_time later than {1e6 * shot.end_time:.4g} us: {100 * shot.energy_left:.3g} % of the energy is still to "
            f"come, at most {100 * LARGEST_ENERGY_LEFT:g} % may"
        )
    return shot


def total_turns(rig: Rig) -> float:
    """Turns of all coils in series; Missing where there is no coil."""
    if not rig.coils:
        raise MissingInput("a coil: a solenoid, spiral or winding")
    return sum(coil.turns for coil in rig.coils)


def air_state(rig: Rig) -> tuple[float, float]:
    """(relative density, water in g/m^3) of today's air; dry where no humidity is told."""
    site, temperature = rig.site, require(rig.site, "temperature")
    if site.pressure is None and site.altitude is None:
        raise MissingInput("[site] pressure, or altitude")
    pressure = gap_formulas.pressure_at(site.altitude) if site.pressure is None else site.pressure
    water = 0.0 if site.humidity is None else gap_formulas.absolute_humidity(site.humidity, temperature)
    return gap_formulas.air_density(pressure, temperature), water


def stray_magnetic_moment(rig: Rig) -> float:
    """Largest magnetic moment of leads and coil together in A m^2:  I A_loop + I sum of pi r^2 over the turns, disc left out."""
    shot, layout = require_shot(rig), rig.lead_layout
    area = layout.loop_area
    if area is None:
        if layout.length is None or layout.spacing is None:
            raise MissingInput("[leads] loop_area, or length and spacing")
        area = layout.length * layout.spacing
    return loop_moment(shot.coil_current, area + sum(turn_area(coil) for coil in rig.coils))
