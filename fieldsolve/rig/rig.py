"""The frozen description of a rig: parts, banks, leads, and what the workshop says of the rest."""
from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field

from fieldsolve.circuit.bank import SERIES_SHAPES, Bank, Leads
from fieldsolve.motion.hoops.former import Former
from fieldsolve.renamed import old_attributes
from fieldsolve.rig.formulas import gap as gap_formulas
from fieldsolve.rig.formulas.fragments import Fragment
from fieldsolve.rig.tables import Bleeder, Box, Charger, Gap, Instruments, Insulation, MissingInput, Site, require
from geometries.cross_section import CrossSection
from geometries.keywords import known_keywords
from geometries.parts import Part


@known_keywords
@dataclass(frozen=True, kw_only=True)
class Rig:
    """A rig as it stands for the shot, in SI; what is left out is not assessed.

    Parameters
    ----------
    section : CrossSection
        The parts.
    banks : tuple of Bank
        With the ratings that their makers give.
    leads : Leads
        Resistance and inductance as the shot takes them, and how the leads run.
    former : Former
        What the coils are wound on or cast in.
    site, gap, bleeder, box, insulation, charger, instruments
        What the workshop says, a class of `fieldsolve.rig.tables` each.
    limits : dict
        Limits by name of check, in place of the defaults.
    fragment : Fragment, optional
        What the box must hold, known from elsewhere; one turn where it is left out.  No speed below the one that the energy bounds is
        taken.
    today : date
        The day of the shot.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> fs.read_rig({"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper"}}).banks
    ()
    """

    section: CrossSection
    banks: tuple[Bank, ...] = ()
    leads: Leads = field(default_factory=Leads)
    former: Former = field(default_factory=Former)
    site: Site = field(default_factory=Site)
    gap: Gap = field(default_factory=Gap)
    bleeder: Bleeder = field(default_factory=Bleeder)
    box: Box = field(default_factory=Box)
    insulation: Insulation = field(default_factory=Insulation)
    charger: Charger = field(default_factory=Charger)
    instruments: Instruments = field(default_factory=Instruments)
    limits: Mapping[str, float] = field(default_factory=dict)
    fragment: Fragment | None = None
    today: datetime.date = field(default_factory=datetime.date.today)

    __getattr__ = old_attributes("Rig")

    @property
    def coils(self) -> tuple[Part, ...]:
        """The coils that the bank drives, in series."""
        return tuple(part for part in self.section.parts if part.shape in SERIES_SHAPES)


def require_banks(rig: Rig) -> tuple[Bank, ...]:
    """The banks; MissingInput where there is none."""
    if not rig.banks:
        raise MissingInput("[bank] capacitance and voltage")
    return rig.banks


def named_banks(rig: Rig) -> tuple[tuple[str, Bank], ...]:
    """Name and bank, of each; MissingInput where there is none."""
    banks = require_banks(rig)
    return tuple(zip(("bank",) if len(banks) == 1 else [f"bank {k + 1}" for k in range(len(banks))], banks, strict=True))


def require_rating(bank: Bank, key: str) -> float:
    """A rating of a bank; MissingInput where its maker's is not given."""
    if getattr(bank, key) is None:
        raise MissingInput(f"[capacitor] {key}")
    return getattr(bank, key)


def highest_charge_voltage(rig: Rig) -> float:
    """The highest charge voltage in volt."""
    return max(bank.voltage for bank in require_banks(rig))


def total_bank_energy(rig: Rig) -> float:
    """Energy of all banks in joule."""
    return sum(bank.energy for bank in require_banks(rig))


def total_turns(rig: Rig) -> float:
    """Turns of all coils in series; MissingInput where there is no coil."""
    if not rig.coils:
        raise MissingInput("a coil: a solenoid, spiral or winding")
    return sum(coil.turns for coil in rig.coils)


def air_state(rig: Rig) -> tuple[float, float]:
    """(relative density, water in g/m^3) of today's air; dry where no humidity is given."""
    site, temperature = rig.site, require(rig.site, "temperature")
    pressure = site.pressure
    if pressure is None:
        if site.altitude is None:
            raise MissingInput("[site] pressure, or altitude")
        pressure = gap_formulas.pressure_at(site.altitude)
    water = 0.0 if site.humidity is None else gap_formulas.absolute_humidity(site.humidity, temperature)
    return gap_formulas.air_density(pressure, temperature), water


def lead_loop_area(rig: Rig) -> float:
    """Area in m^2 that the leads span: as given, else length times spacing; MissingInput where neither is."""
    leads = rig.leads
    if leads.loop_area is not None:
        return leads.loop_area
    if leads.length is None or leads.spacing is None:
        raise MissingInput("[leads] loop_area, or length and spacing")
    return leads.length * leads.spacing
