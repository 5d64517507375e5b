"""The command `fieldsolve materials`: the list of metals, the sheet of one, and what is only from memory."""
from __future__ import annotations

import argparse

from fieldsolve.errors import InputError
from fieldsolve.materials import material_data
from fieldsolve.materials.catalogue import custom_material_data
from fieldsolve.report.files.atomic import check_output_file, write_json
from fieldsolve.report.plots.field_figure import FIGURE_SUFFIXES
from fieldsolve.report.text.material import material_list, material_summary, unconfirmed_summary


def add_materials(commands) -> None:
    """Add the command to those of the parser."""
    materials = commands.add_parser("materials", help="the metals, their numbers and where these come from", allow_abbrev=False,
                                    description="List the metals, or show every number of one with its source.")
    materials.add_argument("name", metavar="NAME", nargs="?", help="name, designation or alias of a metal, or a file of your own (.toml)")
    materials.add_argument("--unconfirmed", action="store_true", help="list the numbers that are known from memory only")
    materials.add_argument("--json", metavar="FILE", help="write the metal's sheet as JSON, in SI units")
    materials.add_argument("--figure", metavar="FILE", help=f"draw its resistivity and flow stress ({', '.join(FIGURE_SUFFIXES)})")
    materials.set_defaults(run=_run_materials)


def _run_materials(options: argparse.Namespace) -> None:
    check_output_file("--json", options.json)
    check_output_file("--figure", options.figure, FIGURE_SUFFIXES)
    if options.name is None:
        _print_list(options)
        return
    if options.unconfirmed:
        raise InputError(f"--unconfirmed lists all metals; leave it or {options.name!r} out: the sheet of one marks every number")
    properties = custom_material_data(options.name) if options.name.lower().endswith(".toml") else material_data(options.name)
    print(material_summary(properties))
    if options.json:
        write_json(options.json, properties)
    if options.figure:
        from fieldsolve.report.plots.material import write_material_figure

        write_material_figure(properties, options.figure)


def _print_list(options: argparse.Namespace) -> None:
    for option, file in (("json", options.json), ("figure", options.figure)):
        if file:
            raise InputError(f"--{option} is for one metal: name it, such as fieldsolve materials copper --{option} {file}")
    print(unconfirmed_summary() if options.unconfirmed else material_list())
