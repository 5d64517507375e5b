"""`python -m benchmarks [group ...] [options]`: against known results; or `errors`, `peers` and so on for a group."""
from __future__ import annotations

import argparse
import sys
from pathlib import Path

from benchmarks import errors, gallery, tables, timing_tables
from benchmarks.documents import pages
from benchmarks.peers import page as peers
from benchmarks.runner import GROUPS, SLOW_GROUPS, run_groups
from benchmarks.shot_accuracy import balances


def main(arguments: list[str] | None = None) -> int:
    """Run the groups and print their table; 0 if every deviation is within its tolerance, 1 if not, 2 for wrong use."""
    arguments = sys.argv[1:] if arguments is None else arguments
    if arguments[:1] in (["errors"], ["timing"], ["documents"], ["balances"], ["peers"], ["gallery"]):
        return {"errors": errors, "timing": timing_tables, "documents": pages, "balances": balances,
                "peers": peers, "gallery": gallery}[arguments[0]].main(arguments[1:])
    options = _parse_options(arguments)
    if not options.table:
        print(tables.COLUMNS)
    checks = []
    for check in run_groups(options.group or _default_groups(options), options.case):
        checks.append(check)
        if not options.table:
            print(tables.line(check), flush=True)
    if not checks:
        print(f"no case named {', '.join(options.case)} in these groups", file=sys.stderr)
        return 2
    failed = [check for check in checks if not check.passed]
    if options.into:
        options.into.write_text(tables.replaced(options.into.read_text(encoding="utf-8"), tables.markdown(checks)), encoding="utf-8")
    elif options.table:
        print(tables.markdown(checks))
    print(f"{len(checks) - len(failed)} of {len(checks)} quantities within tolerance", file=sys.stderr)
    if options.figures:
        _draw_figures(options.figures, options.group or _default_groups(options))
    return 1 if failed else 0


def _default_groups(options: argparse.Namespace) -> list[str]:
    """The groups run where none is named: without the long ones, but for a case by its name and for the table."""
    return [name for name in GROUPS if options.case or options.table or name not in SLOW_GROUPS]


def _draw_figures(directory: Path, groups: list[str]) -> None:
    from benchmarks.figures import draw_all

    for path in draw_all(directory, groups):
        print(f"wrote {path}", file=sys.stderr)


def _parse_options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description="Compare the program with published and closed-form results.",
                                     epilog="python -m benchmarks errors compares true errors with error bounds, errors shots those of "
                                     "random rigs, python -m benchmarks balances looks at their energy balances, "
                                     "python -m benchmarks peers compares with another library's solver, "
                                     "python -m benchmarks timing measures what fields and shots cost, "
                                     "python -m benchmarks gallery draws the pictures of benchmarks/examples.")
    parser.add_argument("group", nargs="*", metavar="group", help=f"groups to run, of: {', '.join(GROUPS)} "
                        f"(default: all but {', '.join(SLOW_GROUPS)}, which take minutes)")
    parser.add_argument("--case", action="append", default=[], metavar="ID", help="only this case (may be repeated)")
    parser.add_argument("--figures", type=Path, metavar="DIR", help="also draw computed against closed form for these groups, into DIR")
    parser.add_argument("--table", action="store_true", help="print the validation table in Markdown instead")
    parser.add_argument("--into", type=Path, metavar="FILE", help="with --table: write the table of all cases between the markers of FILE")
    options = parser.parse_args(arguments)
    unknown = [name for name in options.group if name not in GROUPS]
    if unknown:
        parser.error(f"no group {', '.join(unknown)}; there are: {', '.join(GROUPS)}")
    if options.into and (options.group or options.case or not options.table):
        parser.error("--into goes with --table and takes all cases: name no group and no case")
    if options.into:
        tables.check_markers(parser, options.into)
    return options


if __name__ == "__main__":
    sys.exit(main())
