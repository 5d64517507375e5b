"""The command `fieldsolve materials`: the list of metals, the properties of one, and what is only from memory."""
from __future__ import annotations

import argparse

from fieldsolve.cli.arguments import add_command, add_json
from fieldsolve.cli.outputs import check_outputs, print_written


def add_materials(commands) -> None:
    """Add the command to those of the parser."""
    materials = add_command(commands, "materials", run_materials, "the metals, their numbers and where these come from",
                            "List the metals, or show every number of one with its source.")
    materials.add_argument("name", metavar="NAME", nargs="?", help="name, designation or alias of a metal, or a file of your own (.toml)")
    materials.add_argument("--unconfirmed", action="store_true", help="list the numbers that are known from memory only")
    add_json(materials)
    materials.add_argument("--figure", metavar="FILE", help="draw its resistivity and flow stress (.png, .pdf, .svg)")


def run_materials(options: argparse.Namespace) -> None:
    """Show and write what is known of the metals."""
    from fieldsolve.errors import InputError

    check_outputs(options)
    if options.name is None:
        _print_list(options)
        return
    if options.unconfirmed:
        raise InputError(f"--unconfirmed lists all metals; leave it or {options.name!r} out: the properties of one are all marked")
    _show_metal(options)


def _show_metal(options: argparse.Namespace) -> None:
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.materials import material_data
    from fieldsolve.materials.catalogue import custom_material_data
    from fieldsolve.report.text.material import material_summary

    properties = custom_material_data(options.name) if options.name.lower().endswith(".toml") else material_data(options.name)
    print(material_summary(properties))
    if options.json:
        write_json(options.json, {**properties, "provenance": provenance()})
    if options.figure:
        from fieldsolve.report.plots.material import write_material_figure

        write_material_figure(properties, options.figure)
    print_written(options)


def _print_list(options: argparse.Namespace) -> None:
    from fieldsolve.errors import InputError
    from fieldsolve.report.text.material import material_list, unconfirmed_summary

    for option, file in (("json", options.json), ("figure", options.figure)):
        if file:
            raise InputError(f"--{option} is for one metal: name it, such as fieldsolve materials copper --{option} {file}")
    print(unconfirmed_summary() if options.unconfirmed else material_list())
