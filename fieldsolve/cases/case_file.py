"""A case, from a TOML file or from a dictionary, as typed objects in SI."""
from __future__ import annotations

import tomllib
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from fieldsolve.cases.calibration_file import scaled_section, with_calibration
from fieldsolve.cases.changes import changed_tables
from fieldsolve.cases.field_table import FieldSettings, read_field_settings
from fieldsolve.cases.part_tables import build_part, material_files, with_resolved_paths
from fieldsolve.cases.rig_tables import read_limits, read_rig_tables
from fieldsolve.cases.shot_tables import RunSettings, read_banks, read_crowbar, read_former, read_leads, read_run_settings
from fieldsolve.cases.table_keys import UNITS
from fieldsolve.cases.toml_text import outside_a_table, write_toml
from fieldsolve.cases.uncertainties import split_uncertainties
from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.errors import FieldError, InputError, suggestion
from fieldsolve.files.toml_reading import parse_toml, read_toml_text
from fieldsolve.motion.hoops.former import Former
from fieldsolve.rig.rig import Rig
from fieldsolve.units import parse_quantity
from geometries.cross_section import CrossSection
from geometries.keywords import known_keywords
from geometries.parts import Part

Tables = dict[str, dict[str, Any]]
Read = TypeVar("Read")            # what is read: a case or a rig
DICTIONARY = "case"             # name of a case that comes from no file


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Case:
    """What a case file or a dictionary says, in SI.  Made by `read_case`.

    Two cases are equal where their tables and their metals are.

    Attributes
    ----------
    name : str
        The file's name, for messages; "case" for a dictionary.
    folder : Path
        From which names of material files start.
    text : str
        The case as TOML: the file's text as it was read, or the dictionary's tables.
    section : CrossSection
        The parts, in the order of their tables.
    currents : dict
        Ampere per turn by name of part, for the parts that give one.
    field : FieldSettings
        Applied field, accuracy and frequencies of the table [field].
    banks : tuple of Bank
        With the ratings of [capacitor]; empty where [bank] is not there or lacks capacitance or voltage.
    leads : Leads
    crowbar : Crowbar or None
    former : Former or None
    run : RunSettings
        End time, motion, heating and accuracy of the table [run].
    rig_tables : dict
        Site, gap, bleeder, box, insulation, charger and instruments by name.
    limits : dict
        Limits of the card's checks, in place of the defaults.
    uncertainties : dict
        (value, standard uncertainty) in SI by dotted key, of the values that are written with one, such as "120 uF +- 3 %".

    Examples
    --------
    >>> case = read_case({"coil": {"shape": "loop", "radius": "10 mm", "current": "2 kA"}})
    >>> case.with_values({"coil.current": "3 kA"}).currents
    {'coil': 3000.0}
    """

    name: str
    folder: Path
    text: str
    section: CrossSection
    currents: Mapping[str, float]
    field: FieldSettings
    banks: tuple[Bank, ...]
    leads: Leads
    crowbar: Crowbar | None
    former: Former | None
    run: RunSettings
    rig_tables: Mapping[str, Any]
    limits: Mapping[str, float]
    uncertainties: Mapping[str, tuple[float, float]]

    @property
    def tables(self) -> Tables:
        """All tables as written, a copy."""
        return tomllib.loads(self.text)

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts of the section."""
        return tuple(self.section.parts)

    @property
    def held_parts(self) -> tuple[str, ...]:
        """Names of the parts whose tables say that a shot holds them still."""
        return tuple(name for name, table in self.tables.items() if "shape" in table and table.get("held"))

    def to_toml(self) -> str:
        """The case as TOML text, which `read_case` reads from a file in the same folder."""
        return self.text

    def with_values(self, values: Mapping[str, Any]) -> Case:
        """The same case with some values changed, read and checked again.

        Parameters
        ----------
        values : mapping
            New values by dotted key as the tables are written, such as {"bank.voltage": "5 kV", "coil.turns": 6}: text with a unit or a
            number in SI.  None removes the key, or the table where the key is its name alone.  A new part needs its "NAME.shape".

        Returns
        -------
        Case

        Raises
        ------
        InputError
            For an unknown table or key, with the nearest name, and as `read_case`.

        Examples
        --------
        >>> case = read_case({"coil": {"shape": "loop", "radius": "10 mm"}})
        >>> case.with_values({"coil.radius": "12 mm"}).tables
        {'coil': {'shape': 'loop', 'radius': '12 mm'}}
        """
        def read() -> Case:
            text = write_toml(changed_tables(self.tables, values))
            return _build_case(self.name, self.folder, text, read_tables(text))
        return _with_place(self.name, read)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Case):
            return NotImplemented
        return self.tables == other.tables and _metals(self) == _metals(other)

    def __repr__(self) -> str:
        tables = ", ".join(setting_tables(self.tables)) or "none"
        return f"Case({self.name!r}: parts {', '.join(part.name for part in self.parts)}; tables {tables})"


@known_keywords
def read_case(source: str | Path | Mapping[str, Mapping[str, Any]] | Case) -> Case:
    """The case in a TOML file, or in a dictionary of the same tables.

    Every table with a `shape` is a part, named as the table.  Its other keys are the keywords of the builder of that shape.
    A quantity is text with a unit, or a number in SI.

    Parameters
    ----------
    source : str, Path or mapping
        Path of a file, or its tables: {"coil": {"shape": "solenoid", ...}, "bank": {...}, "run": {...}}.  Names of material files start
        from the file's folder, of a dictionary from the working folder.  A Case is handed back as it is.

    Returns
    -------
    Case

    Raises
    ------
    InputError
        For what cannot be read, with file (or "case"), table, key, value and remedy.
    GeometryError
        For a part that cannot exist.

    Examples
    --------
    >>> case = read_case({"coil": {"shape": "loop", "radius": "10 mm", "current": "2 kA"}, "field": {"accuracy": 1e-2}})
    >>> case.currents, case.field.accuracy
    ({'coil': 2000.0}, 0.01)
    """
    if isinstance(source, Case):
        return source
    if isinstance(source, Mapping):
        def read_dictionary() -> Case:
            text = write_toml(source)
            return _build_case(DICTIONARY, Path.cwd(), text, read_tables(text))
        return _with_place(DICTIONARY, read_dictionary)
    if not isinstance(source, (str, Path)):
        raise InputError(f"case = {source!r}: expected the path of a TOML file, or a dictionary of its tables")
    path = Path(source)

    def read_file() -> Case:
        text = read_toml_text(path, "case file")
        return _build_case(path.name, path.parent.absolute(), text, read_tables(text))
    return _with_place(path.name, read_file)


@known_keywords
def read_rig(source: str | Path | Mapping[str, Mapping[str, Any]] | Case) -> Rig:
    """The rig in a case, as its tables say.  Nothing is computed.

    Parameters
    ----------
    source : str, Path, mapping or Case
        As for `read_case`.

    Returns
    -------
    Rig
        Dated today.  What the case does not give is left out of it.

    Raises
    ------
    InputError, GeometryError
        As `read_case`.

    Examples
    --------
    >>> rig = read_rig({"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper"}})
    >>> rig.banks, rig.section.parts[0].name
    ((), 'coil')
    """
    case = read_case(source)
    return Rig(section=case.section, banks=case.banks, leads=case.leads, former=case.former or Former(), limits=case.limits,
               **case.rig_tables)


def kept_rig(name: str, text: str, section: CrossSection) -> Rig:
    """The rig in a case's text whose parts are there already, as with a kept shot: no file of a material is read again."""
    def read() -> Rig:
        tables = setting_tables(split_uncertainties(read_tables(text))[0])
        return Rig(section=section, banks=read_banks(tables), leads=read_leads(tables), former=read_former(tables) or Former(),
                   limits=read_limits(tables), **read_rig_tables(tables))
    return _with_place(name, read)


def _with_place(name: str, read: Callable[[], Read]) -> Read:
    """What `read` gives; its errors with the name of the case in front."""
    try:
        return read()
    except FieldError as error:
        raise type(error)(f"{name}: {error}") from error


def read_tables(text: str) -> Tables:
    """The tables of the text of a case; InputError where it is not that."""
    content = parse_toml(text)
    if isinstance(content.get("case"), str):
        kind = "design" if "vary" in content else "sweep"
        raise InputError(f"this is the file of a {kind}, and its case is {content['case']!r}: give that, or `fieldsolve {kind}` this file")
    for name, table in content.items():
        if not isinstance(table, dict):
            raise outside_a_table(name, table)
    return content


def setting_tables(tables: Tables) -> Tables:
    """The tables that are no parts."""
    return {name: table for name, table in tables.items() if "shape" not in table}


def _say_files_outside(name: str, folder: Path, tables: Tables) -> None:
    """Warn of each metal file that a case takes from outside of its own folder: a case from elsewhere says so."""
    for path in material_files(tables, folder):
        if path.is_file() and not path.resolve().is_relative_to(folder.resolve()):
            warnings.warn(f"{name}: takes the metal file {path.resolve()} from outside of its own folder", UserWarning, stacklevel=2)


def _build_case(name: str, folder: Path, text: str, written: Tables) -> Case:
    tables, uncertainties = split_uncertainties(written)
    if name != DICTIONARY:
        _say_files_outside(name, folder, tables)
    tables, uncertainties, factors = with_calibration(tables, folder, uncertainties)
    part_tables = {part: with_resolved_paths(folder, table) for part, table in tables.items() if "shape" in table}
    others = setting_tables(tables)
    for other in others:
        if other not in UNITS:
            raise InputError(f"[{other}]: neither a part (no shape=) nor a known table; {suggestion(other, UNITS)}")
    if not part_tables:
        raise InputError("no part: give at least one table with a shape=, such as [coil] with shape = 'solenoid'")
    return Case(
        name=name, folder=folder, text=text,
        section=scaled_section(CrossSection(tuple(build_part(part, table) for part, table in part_tables.items())), factors),
        currents={part: parse_quantity(table["current"], "A", f"[{part}] current") for part, table in part_tables.items()
                  if "current" in table},
        field=read_field_settings(others), banks=read_banks(others), leads=read_leads(others), crowbar=read_crowbar(others),
        former=read_former(others), run=read_run_settings(others), rig_tables=read_rig_tables(others), limits=read_limits(others),
        uncertainties=uncertainties,
    )


def _metals(case: Case) -> list[Any]:
    """The metal of every zone, which parts leave out where they are compared."""
    return [zone.material for part in case.parts for zone in part.zones]
