"""`python -m benchmarks.inference radius | coverage | calibration FOLDER`: studies on synthetic records, which keep what they compute."""
from __future__ import annotations

import argparse
import sys
from pathlib import Path

from benchmarks.inference import calibration, coverage, radius
from benchmarks.inference.kept import read_rows
from benchmarks.inference.synthetic import NOISE


def main(arguments: list[str] | None = None) -> int:
    """Compute what the folder lacks, then print what the rows say."""
    options = parser().parse_args(arguments)
    kinds = options.kind or list(radius.RECORDS)
    if options.study == "calibration":
        print(calibration.summary(calibration.run_benches(options.folder)))
    elif options.study == "coverage":
        print(radius.summaries(coverage.run_coverage(options.folder, kinds, options.draws, options.noise), kinds))
    else:
        if not options.table:
            radius.run_trials(options.folder, kinds)
        print(radius.summaries(read_rows(options.folder / radius.ROWS), kinds))
    return 0


def parser() -> argparse.ArgumentParser:
    """The words of the command."""
    found = argparse.ArgumentParser(prog="python -m benchmarks.inference", description="Does inference hold what it says?")
    found.add_argument("study", choices=("radius", "coverage", "calibration"))
    found.add_argument("folder", type=Path, help="where shots, fits and rows are kept")
    found.add_argument("--kind", action="append", choices=tuple(radius.RECORDS), help="of the records (default: all)")
    found.add_argument("--table", action="store_true", help="radius: only print what the rows say")
    found.add_argument("--draws", type=int, default=4, metavar="N", help="coverage: draws of the noise of each record")
    found.add_argument("--noise", type=float, default=NOISE, metavar="SHARE", help="coverage: noise, a share of the current's peak")
    return found


if __name__ == "__main__":
    sys.exit(main())
