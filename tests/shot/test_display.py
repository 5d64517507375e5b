"""What a shot offers at a prompt and in a notebook: a short line, its series with units, a table, and every figure as a method."""
import sys
from types import ModuleType

import matplotlib as mpl
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.report.plots import shot as shot_plots
from tests.small_shots import crushed_can

mpl.use("Agg")
DRAWN = [name for name in shot_plots.__all__ if name.startswith("plot_")]


@pytest.fixture(scope="module")
def can():
    return crushed_can()


@pytest.mark.parametrize("name", DRAWN)
def test_every_figure_of_a_shot_is_a_method(can, name):
    axes = getattr(can, name)()
    figure = getattr(axes, "figure", None) or axes[0].figure
    assert len(figure.axes) >= 1 and any(ax.lines or ax.collections or ax.patches for ax in figure.axes)


def test_every_figure_takes_axes_under_one_name(can):
    from matplotlib.figure import Figure

    for name in set(DRAWN) - {"plot_current", "plot_body", "plot_sections", "plot_shape", "plot_metal"}:
        ax = Figure().add_subplot()
        assert getattr(can, name)(ax=ax) is ax and (ax.lines or ax.collections or ax.patches)
    for name, count in {"plot_current": 2, "plot_body": 2, "plot_sections": 3, "plot_metal": 3}.items():
        axes = Figure().subplots(1, count)
        assert list(getattr(can, name)(ax=axes)) == list(axes)


def test_the_series_are_listed_with_their_units(can):
    units = can.quantities
    assert units["current", "coil"] == "A" and units["waist_thickness", "can"] == "m" and units["plastic_strain", "can"] == "1"
    assert set(units) == {key for key in can.history.values if key[1] != "crowbar"}
    assert all(len(can.series(*key)) == len(can.times) for key in units)


def test_the_table_needs_pandas_and_says_so(can, monkeypatch):
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(InputError, match="pip install pandas"):
        can.to_dataframe()


def test_the_table_holds_every_series_over_time(can, monkeypatch):
    class Frame(dict):
        def set_index(self, name):
            self.index = self.pop(name)
            return self

    stand_in = ModuleType("pandas")
    stand_in.DataFrame = Frame
    monkeypatch.setitem(sys.modules, "pandas", stand_in)
    frame = can.to_dataframe()
    assert (frame.index == can.times).all() and (frame["current of coil [A]"] == can.series("current", "coil")).all()
    assert "energy: unexplained [J]" in frame


def test_what_is_printed_at_a_prompt_is_short_and_tells_sizes(can):
    coil, section = can.section.part("coil"), can.section
    field = fs.solve_static(geo.CrossSection([coil]), currents={"coil": 1.0}, accuracy=3e-2)
    harmonic = fs.solve_harmonic(geo.CrossSection([coil]), 1e4, {"coil": 1.0}, accuracy=3e-2)
    sweep = fs.solve_harmonic(geo.CrossSection([coil]), [1e3, 1e4], {"coil": 1.0}, accuracy=3e-2)
    for thing, size in ((can, f"{len(can.instants)} instants"), (can.field_at(1e-6), "unknowns"), (field, "unknowns"),
                        (harmonic, "unknowns"), (sweep, "unknowns"), (section, "2 parts"), (coil, "3 turns"), (field.mesh, "nodes"),
                        (coil.zones[0], "turn 1"), (can.history, "series"), (can.energy, "stores")):
        assert size in repr(thing) and len(repr(thing)) <= 260 and "\n" not in repr(thing), repr(thing)[:400]


def test_every_figure_of_a_field_is_a_method(can):
    coil = can.section.part("coil")
    field = fs.solve_static(geo.CrossSection([coil]), currents={"coil": 1.0}, accuracy=3e-2)
    sweep = fs.solve_harmonic(geo.CrossSection([coil]), [1e3, 1e4], {"coil": 1.0}, accuracy=3e-2)
    for single in (field, sweep[0], can.field_at(1e-6)):
        for ax in (single.plot_map(), single.plot_axis(), single.plot_radius(), single.plot_line((0, 0), (1e-2, 0)), single.plot_mesh()):
            assert ax.lines or ax.collections
    assert sweep[0].plot_currents().get_legend() and can.field_at(1e-6).plot_currents().get_legend()
    assert len(sweep.plot_impedance("coil")) == 2
