"""Options of the test run, and one BLAS thread a process: pytest runs as many processes as there are cores."""
import os
import sys

import pytest

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):        # before numpy is imported, and for the processes that tests start
    os.environ.setdefault(variable, "1")


def pytest_addoption(parser):
    parser.addoption("--without-cvxopt", action="store_true", help="run as if cvxopt were not installed")


def pytest_configure(config):
    if config.getoption("--without-cvxopt"):
        assert "cvxopt" not in sys.modules
        sys.modules["cvxopt"] = None            # makes `import cvxopt` an ImportError


@pytest.fixture(autouse=True)
def no_figure_is_left_open():
    """Close the figures that a test has drawn: pyplot warns from twenty open ones on."""
    yield
    if "matplotlib.pyplot" in sys.modules:
        sys.modules["matplotlib.pyplot"].close("all")
