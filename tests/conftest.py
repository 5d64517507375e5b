"""Options of the test run, and one BLAS thread a process: pytest runs as many processes as there are cores."""
import os
import shutil
import sys
import tempfile

import pytest

from tests.computed_once import FOLDER

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):        # before numpy is imported, and for the processes that tests start
    os.environ.setdefault(variable, "1")


def pytest_addoption(parser):
    parser.addoption("--without-cvxopt", action="store_true", help="run as if cvxopt were not installed")


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config):
    """Give each worker of `pytest -n` one half of the modules, and what the other has not begun: few of their fixtures are made twice."""
    if config.getoption("numprocesses", None) and config.option.dist == "no":
        config.option.dist = "worksteal"


def pytest_configure(config):
    if os.name == "posix" and config.getoption("numprocesses", None):       # in the process that starts the workers
        os.environ[FOLDER] = tempfile.mkdtemp(prefix="fieldsolve-tests-")
        config.add_cleanup(lambda: shutil.rmtree(os.environ.pop(FOLDER), ignore_errors=True))
    if config.getoption("--without-cvxopt"):
        assert "cvxopt" not in sys.modules
        sys.modules["cvxopt"] = None            # makes `import cvxopt` an ImportError


@pytest.fixture
def without_pictures(monkeypatch):
    """Makes the page of a shot without its pictures, which take most of its time: for tests of what else stands there."""
    monkeypatch.setattr("fieldsolve.report.sheet.page.image_data", lambda draw, lettering, dpi=0: "data:,")


@pytest.fixture(autouse=True)
def no_figure_is_left_open():
    """Close the figures that a test has drawn: pyplot warns from twenty open ones on."""
    yield
    if "matplotlib.pyplot" in sys.modules:
        sys.modules["matplotlib.pyplot"].close("all")
