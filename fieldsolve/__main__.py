"""`python -m fieldsolve`: the command line."""
import sys

from fieldsolve.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
