"""Options of the test run."""
import sys


def pytest_addoption(parser):
    parser.addoption("--without-cvxopt", action="store_true", help="run as if cvxopt were not installed")


def pytest_configure(config):
    if config.getoption("--without-cvxopt"):
        assert "cvxopt" not in sys.modules
        sys.modules["cvxopt"] = None            # makes `import cvxopt` an ImportError
