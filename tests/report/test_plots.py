"""Figures: what they draw is what the field says, in labelled axes, and files are whole."""
import os
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.report.plots import field_figure
from fieldsolve.report.plots.flux_map import magnitude
from fieldsolve.report.plots.styles import checked_after_drawings, figures_for_files
from fieldsolve.report.sampling.outlines import default_extent, metal_spans
from fieldsolve.report.sampling.triangulation import triangulate_field
from fieldsolve.report.sampling.two_sided_field import visible_triangles
from geometries.mesh import EXTERIOR

IRON = fs.Material(conductivity=0.0, relative_permeability=50.0)


@pytest.fixture(scope="module")
def field():
    coil = geo.winding(inner_radius=20e-3, outer_radius=25e-3, height=20e-3, turns=100)
    core = geo.cylinder(radius=8e-3, length=30e-3, name="core", material=IRON)
    return fs.solve_static(geo.CrossSection([coil, core]), currents={"coil": 10.0}, accuracy=3e-2)


@pytest.fixture(scope="module")
def shown(field):
    return triangulate_field(field, default_extent(field.section))


@pytest.fixture(scope="module")
def loop_field():
    return fs.solve_static(geo.CrossSection([geo.loop(radius=50e-3)]), currents={"coil": 100.0}, accuracy=1e-2)


class Scaled:
    """A field times a number: a phase makes it phasors, as a time-harmonic field's are."""

    def __init__(self, field, factor):
        self.mesh, self.section, self.field, self.factor = field.mesh, field.section, field, factor

    @property
    def solution(self):
        known = self.field.solution
        return replace(known, u=self.factor * known.u, applied_field=self.factor * known.applied_field)

    def flux_density(self, r, z):
        return self.solution.flux_density(r, z)

    def flux(self, r, z):
        return self.solution.flux(r, z)

    def vector_potential(self, r, z):
        return self.solution.vector_potential(r, z)


def drawn(ax, number=0):
    """Places in metres and values of a line."""
    x, y = ax.lines[number].get_data()
    return np.asarray(x) / 1e3, np.asarray(y)


# curves

def test_the_curve_on_the_axis_is_the_field_there(field):
    ax = field_figure.plot_axis(field)
    z, B = drawn(ax)
    assert field.flux_density(np.zeros_like(z), z)[1] == pytest.approx(B, rel=1e-9)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("z [mm]", "$B_z$ [T]")
    assert z[-1] - z[0] == pytest.approx(2 * 1.3 * field.section.extent)


def test_the_curve_along_r_is_the_field_there_with_the_metal_shaded(field):
    ax = field_figure.plot_radius(field, z=3e-3)
    r, B_z = drawn(ax)
    at = field.flux_density(r, np.full_like(r, 3e-3))
    assert at[1] == pytest.approx(B_z, rel=1e-9)
    assert at[0] == pytest.approx(drawn(ax, 1)[1], rel=1e-9)
    assert [line.get_linestyle() for line in ax.lines[:2]] == ["-", "--"]
    shaded = [patch.get_patch_transform().transform_path(patch.get_path()).vertices[:, 0] for patch in ax.patches]
    assert [(x.min(), np.ptp(x)) for x in shaded] == [pytest.approx(span) for span in ((0, 8), (20, 5))]
    assert (ax.get_xlabel(), ax.get_ylabel(), ax.get_title()) == ("r [mm]", "$B$ [T]", "at z = 3 mm")


def test_what_is_zero_by_symmetry_is_not_drawn(field):
    ax = field_figure.plot_radius(field)
    assert ax.get_ylabel() == "$B_z$ [T]"
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["metal", "$B_z$"]


def test_the_caller_s_axes_are_used_and_a_line_is_measured_from_its_start(field):
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    assert field_figure.plot_line(field, (30e-3, -40e-3), (0.0, 0.0), axes) is axes
    distance, B_z = drawn(axes)
    assert distance[-1] == pytest.approx(50e-3)
    assert B_z[-1] == pytest.approx(field.flux_density(0.0, 0.0)[1], rel=1e-9)
    assert axes.get_xlabel() == "distance [mm]"


def test_spans_of_metal_follow_the_line():
    sphere = geo.sphere(radius=10e-3, material=IRON)
    section = geo.CrossSection([sphere, geo.tube(inner_radius=15e-3, wall=2e-3, length=5e-3, material=IRON)])
    assert np.ravel(metal_spans(section, (0.0, 0.0), (20e-3, 0.0))) == pytest.approx([0, 10e-3, 15e-3, 17e-3], abs=1e-6)
    assert np.ravel(metal_spans(section, (0.0, -20e-3), (0.0, 20e-3))) == pytest.approx([10e-3, 30e-3], abs=1e-6)
    assert metal_spans(section, (0.0, 11e-3), (20e-3, 11e-3)) == []


# the map

def test_the_map_covers_its_box_and_more_with_the_field_s_own_numbers(field, shown):
    box = default_extent(field.section)
    assert max(np.hypot(shown.r, shown.z)) > np.hypot(box[1], box[3]) > field.mesh.open_radius
    far = np.flatnonzero(np.hypot(shown.r, shown.z) > 1.01 * field.mesh.open_radius)
    away = np.flatnonzero((np.abs(shown.r - 14e-3) < 3e-3) & (np.abs(shown.z) < 5e-3))       # air between core and coil
    for chosen, slack in ((far, 1e-12), (away, 3e-2)):
        assert len(chosen) > 50
        assert field.flux(shown.r[chosen], shown.z[chosen]) == pytest.approx(shown.flux[chosen], rel=1e-9, abs=1e-18)
        B = magnitude(*field.flux_density(shown.r[chosen], shown.z[chosen]))
        assert magnitude(shown.B_r[chosen], shown.B_z[chosen]) == pytest.approx(B, abs=slack * B.max())


def test_the_pieces_of_the_map_fill_the_mesh_once(field):
    box = (0.0, 12e-3, -5e-3, 5e-3)                                                        # all meshed
    shown = triangulate_field(field, box)
    corners = np.stack([shown.r, shown.z], axis=1)[shown.triangles]
    (x, y), (s, t) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    assert 0.5 * np.abs(x * t - y * s).sum() == pytest.approx(field.mesh.area[visible_triangles(field.mesh, box)].sum(), rel=1e-9)


def test_b_jumps_on_the_map_at_the_border_of_permeable_metal(shown):
    border = np.flatnonzero((np.abs(shown.r - 8e-3) < 1e-9) & (np.abs(shown.z) < 5e-3))
    assert shown.B_z[border].max() > 20 * shown.B_z[border].min()


def test_flux_lines_are_equal_steps_and_the_title_gives_them(field):
    ax = field_figure.plot_field(field)
    lines = next(c for c in ax.collections if hasattr(c, "levels") and not c.filled)
    step = np.diff(lines.levels)
    assert step == pytest.approx(step[0])
    assert ax.get_title() == f"flux lines every {step[0] * 1e6:.3g} µWb"
    assert (ax.get_xlabel(), ax.get_ylabel(), ax.get_aspect()) == ("r [mm]", "z [mm]", 1.0)
    assert "|B| [T]" in [other.get_ylabel() for other in ax.figure.axes]
    assert ax.get_ylim() == pytest.approx((-24.0, 24.0)) and ax.get_xlim()[1] == pytest.approx(34.0)     # core 30 tall, coil to r = 25


def test_a_line_current_does_not_saturate_the_map(loop_field):
    ax = field_figure.plot_field(loop_field)
    bands = next(c for c in ax.collections if getattr(c, "filled", False))
    centre = loop_field.flux_density(0.0, 0.0)[1]
    assert bands.extend == "max"
    assert centre < bands.levels[-1] < 10 * centre


def test_phasors_are_drawn_by_their_peak_over_the_cycle(loop_field):
    phasors = Scaled(loop_field, np.exp(0.7j))
    r, B = drawn(field_figure.plot_radius(phasors))
    assert np.abs(loop_field.flux_density(r, np.zeros_like(r))[1]) == pytest.approx(B, rel=1e-9)
    assert magnitude(np.array(3.0), np.array(4j)) == pytest.approx(4.0)                     # an ellipse: its longer half-axis
    assert field_figure.plot_field(phasors).get_title() == "flux lines every 1 µWb"


def test_no_field_and_a_strip_can_be_drawn(loop_field):
    field_figure.static_figure(Scaled(loop_field, 0.0)).canvas.draw()
    strip = geo.AxialStrip([geo.cylinder(radius=10e-3, length=5e-3, material=IRON)], outer_radius=15e-3)
    sheet = field_figure.static_figure(fs.solve_static(strip, face_field=1e4, accuracy=1e-2))
    assert [ax.get_xlabel() for ax in sheet.axes[:2]] == ["r [mm]", "r [mm]"]


# the mesh

def test_the_mesh_is_drawn_edge_by_edge_and_curved_where_it_is(field, loop_field):
    mesh = loop_field.mesh
    ax = field_figure.plot_mesh(loop_field)
    edges = next(c for c in ax.collections).get_segments()
    inner = mesh.triangles[mesh.region != EXTERIOR]
    assert len(edges) == len(np.unique(inner[:, 3:]))
    curved = [edge for edge in edges if len(edge) > 2]
    assert len(curved) >= len(mesh.arc_edges)
    far = np.concatenate([edge for edge in curved if np.hypot(*edge[0]) > 999 * mesh.open_radius])
    assert np.hypot(*far.T) == pytest.approx(1e3 * mesh.open_radius, rel=1e-3)
    assert len(field_figure.plot_mesh(field, extent=(0.0, 10e-3, -5e-3, 5e-3)).collections[0].get_segments()) < len(field.mesh.triangles)


# files

@pytest.mark.parametrize(("suffix", "start"), [(".png", b"\x89PNG"), (".pdf", b"%PDF"), (".SVG", b"<?xml")])
def test_the_sheet_is_written_whole_by_its_suffix(loop_field, tmp_path, suffix, start):
    field_figure.write_figure(loop_field, tmp_path / f"a{suffix}", "a loop")
    assert (tmp_path / f"a{suffix}").read_bytes().startswith(start)
    assert os.listdir(tmp_path) == [f"a{suffix}"]


def test_another_suffix_is_refused_by_naming_the_valid_ones(loop_field, tmp_path):
    with pytest.raises(InputError, match=r"a\.bmp: the name must end in \.png or \.pdf or \.svg"):
        field_figure.write_figure(loop_field, tmp_path / "a.bmp")
    assert os.listdir(tmp_path) == []


def test_a_check_runs_after_each_drawing_for_a_file():
    seen = []

    def check():
        seen.append(len(seen))
        if len(seen) == 2:
            raise KeyboardInterrupt
    with pytest.raises(KeyboardInterrupt), checked_after_drawings(check):
        for _ in range(5):
            with figures_for_files():
                pass
    assert seen == [0, 1]
    with figures_for_files():
        pass
    assert seen == [0, 1]
