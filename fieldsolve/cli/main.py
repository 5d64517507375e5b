"""The command line: arguments to the command that runs, and errors to one line and an exit code.

Nothing heavy is loaded before a command runs, so that help and a wrong option cost no time.
"""
from __future__ import annotations

import argparse
import sys
import warnings

import fieldsolve
from fieldsolve.cli.bridge import add_bridge
from fieldsolve.cli.field import add_field
from fieldsolve.cli.materials import add_materials
from fieldsolve.cli.rig import add_rig
from fieldsolve.cli.shot import add_shot
from fieldsolve.cli.show import add_show
from fieldsolve.renamed import COMMANDS, renamed_text

DONE, FAILED, WRONG_USE = 0, 1, 2


def main(arguments: list[str] | None = None) -> int:
    """Run the command with `arguments` (those of the process if None); returns the exit code: 0 done, 1 failed, 2 wrong use."""
    arguments = sys.argv[1:] if arguments is None else arguments
    if arguments and arguments[0] in COMMANDS:
        return _print_error(renamed_text(f"fieldsolve {arguments[0]}", f"fieldsolve {COMMANDS[arguments[0]]}"), WRONG_USE)
    return _run(_parser().parse_args(arguments))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="fieldsolve", description="Axisymmetric fields of pulsed-power coils and metal discs.",
                                     allow_abbrev=False)
    parser.add_argument("--version", action="version", version=f"fieldsolve {fieldsolve.__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for add in (add_field, add_bridge, add_shot, add_show, add_rig, add_materials):
        add(commands)
    return parser


def _run(options: argparse.Namespace) -> int:
    from fieldsolve.errors import FieldError, GeometryError, InputError

    try:
        with warnings.catch_warnings():
            warnings.showwarning = _show_warning
            code = options.run(options) or DONE
            sys.stdout.flush()
        return code
    except (InputError, GeometryError) as error:
        return _print_error(error, WRONG_USE)
    except (FieldError, OSError) as error:
        return _print_error(error, FAILED)
    except KeyboardInterrupt:
        return _print_error("interrupted; nothing half-written is left", FAILED)


def _print_error(error: Exception | str, code: int) -> int:
    print("fieldsolve:", " ".join(str(error).split()), file=sys.stderr)
    return code


def _show_warning(message, category, filename, lineno, file=None, line=None) -> None:
    print("fieldsolve: warning:", message, file=sys.stderr)
