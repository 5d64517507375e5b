"""The figures of shots: thin walls have colour, colour bars reach the peak, the larger force is marked, names stand at their bands."""
from itertools import pairwise

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

import geometries as geo
from fieldsolve.report.plots import shot as shot_plots
from fieldsolve.report.plots.current_density import plot_current_density
from fieldsolve.report.plots.energy import plot_energy
from fieldsolve.report.plots.flux_map import plot_field
from fieldsolve.report.plots.motion import plot_metal, plot_sections, plot_shape
from fieldsolve.report.plots.shot import plot_body, plot_current, plot_force, plot_temperature, write_shot_figures
from fieldsolve.report.plots.styles import figures_for_files, new_axes
from fieldsolve.report.sampling.colour_levels import colour_levels
from fieldsolve.report.sampling.thin_walls import ThickWall, describe_walls, mesh_as_drawn, thick_walls
from geometries.mesher import mesh_section
from tests.small_shots import crushed_can, thrown_plate

mpl.use("Agg")


@pytest.fixture(scope="module")
def can():
    return crushed_can()


@pytest.fixture(scope="module")
def plate():
    return thrown_plate()


def drawn(ax):
    ax.figure.canvas.draw()
    return ax


# ---- thin walls -----------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("part, axis", [(geo.tube(inner_radius=30e-3, wall=0.1e-3, length=80e-3, name="part"), 0),
                                        (geo.plate(radius=60e-3, thickness=0.1e-3, at=5e-3, name="part"), 1)])
def test_a_thin_wall_is_drawn_thicker_about_its_own_middle(part, axis):
    mesh = mesh_section(geo.CrossSection([part]))
    walls = thick_walls(mesh, ["part"], (0.0, 100e-3, -50e-3, 50e-3))
    assert walls["part"].axis == axis and walls["part"].factor == 10
    nodes = np.unique(mesh.triangles[mesh.part_triangles("part")])
    before, after = mesh.nodes[nodes], mesh_as_drawn(mesh, walls).nodes[nodes]
    assert np.ptp(after[:, axis]) == pytest.approx(10 * np.ptp(before[:, axis]))
    assert np.mean([after[:, axis].min(), after[:, axis].max()]) == pytest.approx(np.mean(part.bounds[2 * axis:2 * axis + 2]))
    assert after[:, 1 - axis] == pytest.approx(before[:, 1 - axis])
    assert describe_walls(walls) == "part drawn 10 times as thick"


def test_a_bent_wall_is_thickened_along_its_middle():
    """r + a cos(z/b) of a tube: at every height the wall keeps its middle and is as much thicker."""
    part = geo.tube(inner_radius=30e-3, wall=0.1e-3, length=80e-3, name="part")
    mesh = mesh_section(geo.CrossSection([part]))
    bent = mesh_as_drawn(mesh, {"part": ThickWall(1.0, 0, np.array([0.0]), np.array([0.0]))})
    bent.nodes[:, 0] -= 4e-3 * np.cos(bent.nodes[:, 1] / 20e-3)
    (wall,) = thick_walls(bent, ["part"], (0.0, 100e-3, -50e-3, 50e-3)).values()
    assert wall.middle == pytest.approx(30.05e-3 - 4e-3 * np.cos(wall.along / 20e-3), abs=2e-5)


def test_walls_that_can_be_seen_and_coils_stay_as_they_are(can):
    mesh = can.instants[0].mesh
    assert thick_walls(mesh, ["can", "coil"], (0.0, 20e-3, -12e-3, 12e-3)) == {}
    assert mesh_as_drawn(mesh, {}) is mesh


def test_a_thickened_wall_does_not_reach_its_neighbour():
    coil = geo.ring(radius=32.2e-3, wire_diameter=4e-3, name="ring")
    can = geo.tube(inner_radius=29.9e-3, wall=0.1e-3, length=80e-3, name="can")
    mesh = mesh_section(geo.CrossSection([coil, can]))
    assert thick_walls(mesh, ["can"], (0.0, 100e-3, -50e-3, 50e-3))["can"].factor == 2               # a gap of 0.2 mm


def test_the_current_density_of_a_thin_can_has_colour_and_says_how_it_is_drawn():
    thin = geo.tube(inner_radius=14e-3, wall=0.1e-3, length=60e-3, name="can")
    mesh = mesh_section(geo.CrossSection([thin]))
    walls = thick_walls(mesh, ["can"], (0.0, 40e-3, -30e-3, 30e-3))
    assert walls["can"].factor >= 5


def test_the_currents_of_a_long_body_fill_their_figure(can):
    ax = drawn(plot_current_density(can.field_at(can.peak("current", "coil").time)))
    box = ax.get_window_extent()
    assert box.width > 0.4 * ax.figure.bbox.width and (ax.get_xlim()[1] - ax.get_xlim()[0]) >= 0.49 * np.ptp(ax.get_ylim())
    key = ax.get_legend().get_window_extent()
    assert key.x0 >= 0 and key.x1 <= ax.figure.bbox.width and key.y1 <= ax.figure.bbox.height
    assert any("kA/mm²" in label for other in ax.figure.axes for label in (other.get_xlabel(), other.get_ylabel()))


# ---- scales of colour ---------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("top, largest", [(1.0, 1.2), (0.9, 6.052), (15.0, 28.89), (1e-3, 5.0), (2.0, 2.0), (7.0, 250.0)])
def test_levels_reach_the_largest_value_and_not_far_beyond(top, largest):
    levels = colour_levels(top, largest)
    assert levels[0] == 0 and (np.diff(levels) > 0).all() and 4 <= len(levels) <= 16
    assert largest <= levels[-1] <= 1.25 * largest
    assert colour_levels(top, 100 * largest, highest=top)[-1] <= 1.25 * top


def test_the_map_of_a_shot_reaches_the_peak_of_its_bore(can):
    time = can.peak("field", "bore").time
    ax = plot_field(can.field_at(time))
    bands = next(c for c in ax.collections if getattr(c, "filled", False))
    assert bands.levels[-1] >= 0.97 * can.peak("field", "bore") and bands.extend == "neither"


def test_the_map_follows_metal_that_moved(plate):
    ends = [plot_field(plate.field_at(time)).get_ylim()[1] for time in (0.0, plate.times[-1])]
    assert ends[1] - ends[0] > 0.8e3 * plate.series("crown_height", "plate")[-1]


def test_a_title_above_a_flat_map_is_not_cut_off(plate):
    ax = drawn(plot_field(plate.field_at(5e-6)))
    assert ax.title.get_window_extent().y1 <= ax.figure.bbox.height + 1                   # pixels


# ---- series -------------------------------------------------------------------------------------------------------------

def test_the_larger_force_is_marked_and_the_axis_names_what_is_drawn(can, plate):
    value, time = plate.history.peak("axial_force", "plate")
    ax = plot_force(plate)
    assert f"{1e-3 * value:.4g} kN at {1e6 * time:.3g}" in ax.texts[0].get_text()
    assert ax.get_ylabel() == "force [kN],\ninward and down negative"
    assert plot_force(can).get_ylabel() == "radial force [kN],\ninward negative"


def test_a_thrown_plate_shows_its_power_in_place_of_noise_at_its_rim(can, plate):
    assert plot_body(plate)[1].get_ylabel() == "ohmic power in plate [MW]"
    assert plot_body(can)[1].get_ylabel() == "voltage round the rim of can [V]"


def test_the_shape_of_a_can_is_its_waist_and_of_a_plate_its_crown(can, plate):
    axes = plot_shape(can)
    names = [text.get_text() for text in axes[0].get_legend().get_texts()]
    assert names == ["can, waist outside", "can, waist inside", "coil, widest turn"] and axes[1].get_title() == "can, wall at the waist"
    assert 1e3 * can.series("waist_inner_radius", "can") == pytest.approx(axes[0].lines[2].get_ydata())
    assert "crown over the rim [mm]" in [ax.get_ylabel() for ax in plot_shape(plate)]


def test_the_sections_of_a_can_are_taken_as_its_waist_goes(can):
    half = float(plot_sections(can)[1].get_title().split()[1]) * 1e-6
    waist = np.interp([0.0, half, can.times[-1]], can.times, can.series("waist_inner_radius", "can"))
    assert (waist[0] - waist[1]) / (waist[0] - waist[2]) == pytest.approx(0.5, abs=0.15)


def test_no_key_lies_on_a_curve(can):
    for ax in (plot_temperature(can), plot_shape(can)[0]):
        drawn(ax)
        assert ax.get_legend().get_window_extent().y0 >= ax.get_window_extent().y1 - 1


def test_figures_say_of_which_run_they_are(can):
    assert plot_current(can)[1].get_xlabel() == "time [µs], metal moving"
    assert "metal moving" in plot_metal(can)[0].figure.get_suptitle()


def test_temperature_has_both_scales(can):
    ax = plot_temperature(can)
    assert ax.get_ylabel() == "temperature [K]" and [child.get_ylabel() for child in ax.child_axes] == ["temperature [°C]"]


# ---- energy -------------------------------------------------------------------------------------------------------------

def test_every_band_of_the_energy_has_its_name_and_a_colour_of_its_own(can):
    ax = drawn(plot_energy(can))
    bands = ax.collections
    assert len(ax.texts) == len(bands) and ax.get_legend() is None and not any(band.get_hatch() for band in bands)
    colours = [tuple(band.get_facecolor()[0]) for band in bands]
    assert len(set(colours)) == len(colours)
    grey = [float(np.dot(colour[:3], (0.299, 0.587, 0.114))) for colour in colours]
    assert min(abs(a - b) for a, b in pairwise(grey)) > 0.08, "neighbours differ on a grey printer"
    boxes = [text.get_window_extent() for text in ax.texts]
    assert not any(a.overlaps(b) for k, a in enumerate(boxes) for b in boxes[:k])
    assert all(box.x1 <= ax.figure.bbox.width and box.y1 <= ax.figure.bbox.height for box in boxes)


# ---- notebooks and files --------------------------------------------------------------------------------------------------

def test_a_figure_shows_in_a_notebook_unless_it_has_axes_or_goes_to_a_file(can, tmp_path, monkeypatch):
    import matplotlib.pyplot as plt

    plt.close("all")
    ax = plot_force(can)
    assert plt.get_fignums() == [ax.figure.number]
    plt.close("all")
    own = Figure().add_subplot()
    assert plot_force(can, ax=own) is own
    drawings = list(shot_plots._drawings(can, None))[:2]
    monkeypatch.setattr(shot_plots, "_drawings", lambda *_: drawings)
    assert len(write_shot_figures(can, tmp_path)) == 2
    with figures_for_files():
        new_axes(1, 1)
    assert plt.get_fignums() == []


def test_letters_have_one_size(can):
    for ax in (plot_force(can), plot_current(can)[1], plot_energy(can)):
        sizes = {text.get_fontsize() for text in ax.figure.findobj(mpl.text.Text) if text.get_text()}
        assert sizes == {mpl.rcParams["font.size"]}


def test_plots_side_by_side_keep_their_labels(plate):
    from matplotlib.figure import Figure
    left, right = Figure().subplots(1, 2)
    plate.plot_probes(ax=left)
    plate.plot_force(ax=right)
    assert "force [kN]" in right.get_ylabel() and right.yaxis.get_tick_params()["labelleft"]
