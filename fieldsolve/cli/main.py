"""The command line: arguments to the command that runs, and errors to one line and an exit code.

Nothing heavy is loaded before a command runs, so that help and a wrong option cost no time.  Little is loaded before signals are
handled.
"""
from __future__ import annotations

import gc
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse


def main(arguments: list[str] | None = None) -> int:
    """Run the command with `arguments` (those of the process if None); returns the exit code, see `fieldsolve.cli.process.exit_codes`."""
    from fieldsolve.cli.process.interruption import end_process, received, signals_as_interrupts

    try:
        with signals_as_interrupts(restored=arguments is not None):
            from fieldsolve.cli.process.screen import robust_screen

            with robust_screen():
                code = _run_command(sys.argv[1:] if arguments is None else arguments)
    except BaseException:               # a signal within an import can come out as any error
        if not received:
            raise
        code = _report_interruption()
    if arguments is None:
        if received:
            end_process(code)
        gc.freeze()                     # else the interpreter looks through all objects once more at its end, for a quarter of a second
    return code


def _run_command(arguments: list[str]) -> int:
    from fieldsolve.cli.commands import parse
    from fieldsolve.cli.process.exit_codes import WRONG_USE
    from fieldsolve.renamed import COMMANDS, renamed_text

    if arguments and arguments[0] in COMMANDS:
        return _print_error(renamed_text(f"fieldsolve {arguments[0]}", f"fieldsolve {COMMANDS[arguments[0]]}"), WRONG_USE)
    return _run(parse(arguments))


def _run(options: argparse.Namespace) -> int:
    from fieldsolve.cli.process.exit_codes import FAILED, WRONG_USE
    from fieldsolve.cli.process.interruption import received
    from fieldsolve.errors import FieldError, GeometryError, InputError

    try:
        code = _call(options)
    except (InputError, GeometryError) as error:
        code = _print_error(error, WRONG_USE)
    except (FieldError, OSError, MemoryError) as error:
        code = _print_error(error if str(error) else "out of memory", FAILED)
    except KeyboardInterrupt:
        return _report_interruption()
    return _interruption_code() if received else code


def _call(options: argparse.Namespace) -> int:
    """Call the command's function, its warnings one line each; where an output is on the screen, all else is on standard error."""
    import contextlib
    import warnings

    from fieldsolve.cli.outputs import writes_to_screen
    from fieldsolve.cli.process.exit_codes import DONE

    with warnings.catch_warnings(), contextlib.redirect_stdout(sys.stderr if writes_to_screen(options) else sys.stdout):
        warnings.showwarning = _show_warning
        warnings.simplefilter("ignore", DeprecationWarning)          # of a library to those who call it
        code = options.run(options) or DONE
        sys.stdout.flush()
    return code


def _report_interruption() -> int:
    return _print_error("interrupted; nothing half-written is left", _interruption_code())


def _interruption_code() -> int:
    """130 after Ctrl-C, 143 after SIGTERM."""
    import signal

    from fieldsolve.cli.process.exit_codes import SIGNALLED
    from fieldsolve.cli.process.interruption import received

    return SIGNALLED + (received[0] if received else signal.SIGINT)


def _print_error(error: Exception | str, code: int) -> int:
    from fieldsolve.cli.process.screen import message_line

    print("fieldsolve:", message_line(error), file=sys.stderr)
    return code


def _show_warning(message, category, filename, lineno, file=None, line=None) -> None:
    from fieldsolve.cli.process.screen import message_line

    print("fieldsolve: warning:", message_line(message), file=sys.stderr)
