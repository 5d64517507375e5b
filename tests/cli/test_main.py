"""The command line as a whole: what it loads, and names of commands that changed."""
import subprocess
import sys

import pytest

from fieldsolve.cli.main import main

HEAVY = ("numpy", "scipy", "matplotlib", "gmsh", "skfem", "pint", "fieldsolve.errors")


@pytest.mark.parametrize("arguments", [["--help"], ["shot", "--help"], ["--version"], ["field", "a.toml", "--acuracy", "1"], ["fild"], []])
def test_help_and_a_wrong_option_load_nothing_heavy(arguments):
    script = ("import sys\nfrom fieldsolve.cli.main import main\ntry:\n    main(sys.argv[1:])\nexcept SystemExit as end:\n"
              f"    print('loaded', [name for name in {HEAVY!r} if name in sys.modules], end.code)")
    run = subprocess.run([sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=True)
    code = 0 if "--help" in arguments or "--version" in arguments else 2
    assert run.stdout.splitlines()[-1] == f"loaded [] {code}"


def test_a_command_that_changed_its_name_says_the_new_one(capsys):
    assert main(["bench", "rig.toml"]) == 2
    assert capsys.readouterr().err == "fieldsolve: fieldsolve bench is called fieldsolve bridge since 0.2\n"


@pytest.mark.parametrize("command", ["field", "bridge", "shot", "rig", "materials"])
def test_help_names_the_suffixes_that_are_written(command, capsys):
    from fieldsolve.report.plots.field_figure import FIGURE_SUFFIXES

    with pytest.raises(SystemExit):
        main([command, "--help"])
    out = capsys.readouterr().out
    assert "--figure FILE" not in out or all(suffix in out for suffix in FIGURE_SUFFIXES)


def test_no_help_shows_a_doubled_percent_sign():
    import argparse

    from fieldsolve.cli.commands import build_parser

    parsers = [build_parser()]
    while parsers:
        parser = parsers.pop()
        assert "%%" not in parser.format_help(), parser.prog
        parsers += [each for action in parser._actions if isinstance(action, argparse._SubParsersAction)
                    for each in action.choices.values()]
