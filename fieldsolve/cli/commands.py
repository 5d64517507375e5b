"""The commands that there are, and the parser of their arguments."""
from __future__ import annotations

import argparse

import fieldsolve
from fieldsolve.cli.band import add_band
from fieldsolve.cli.bridge import add_bridge
from fieldsolve.cli.cases.check import add_check
from fieldsolve.cli.cases.draw import add_draw
from fieldsolve.cli.cases.new import add_new
from fieldsolve.cli.field import add_field
from fieldsolve.cli.many.design import add_design
from fieldsolve.cli.many.sweep import add_sweep
from fieldsolve.cli.materials import add_materials
from fieldsolve.cli.records.calibrate import add_calibrate
from fieldsolve.cli.records.compare import add_compare
from fieldsolve.cli.records.log import add_log
from fieldsolve.cli.records.radius import add_radius
from fieldsolve.cli.records.ringdown import add_ringdown
from fieldsolve.cli.rig import add_rig
from fieldsolve.cli.shot import add_shot
from fieldsolve.cli.show import add_show


def parse(arguments: list[str]) -> argparse.Namespace:
    """The options of a command, among them `run`, the function that does what it says; SystemExit where they are wrong."""
    return build_parser().parse_args(arguments)


def build_parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    parser = argparse.ArgumentParser(prog="fieldsolve", description="Axisymmetric fields of pulsed-power coils and metal discs.",
                                     allow_abbrev=False)
    parser.add_argument("--version", action="version", version=f"fieldsolve {fieldsolve.__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for add in (add_new, add_check, add_draw, add_field, add_bridge, add_shot, add_show, add_rig, add_sweep, add_design, add_ringdown,
                add_compare, add_radius, add_calibrate, add_band, add_log, add_materials):
        add(commands)
    return parser
