"""The blank of a shot: dimensions against its outline, its drawing, its picture in the round, and the shot in motion."""
import numpy as np
import pytest
from scipy.integrate import trapezoid

import fieldsolve as fs
import geometries as geo
from fieldsolve.cli.main import main
from fieldsolve.errors import InputError
from fieldsolve.report.animation.flux_lines import flux_lines
from fieldsolve.report.animation.frames import frame_at, movie_times
from fieldsolve.report.animation.movie import write_movie
from fieldsolve.report.animation.scene import make_scene
from fieldsolve.report.blank.in_the_round import CUT, revolved
from geometries.mesh import AIR


@pytest.fixture(scope="module")
def shot():
    coil = geo.solenoid(turns=3, bore_radius=10.6e-3, wire_diameter=2.5e-3, pitch=2.8e-3, material=fs.material("copper"))
    disc = geo.disc(radius=10e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    bank = fs.Bank(capacitance=60e-6, voltage=4e3, resistance=6e-3, inductance=250e-9, arc_voltage=80.0)
    return fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=15e-6, accuracy=3e-2)


@pytest.fixture(scope="module")
def held():
    coil = geo.solenoid(turns=2, bore_radius=10.6e-3, wire_diameter=2.5e-3, pitch=2.8e-3, material=fs.material("copper"))
    disc = geo.disc(radius=10e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    return fs.solve_shot(geo.CrossSection([coil, disc]), fs.Bank(capacitance=60e-6, voltage=2e3, inductance=250e-9), end_time=3e-6,
                         motion=False, heating=False, accuracy=3e-2, error_bounds=False)


def test_dimensions_are_those_of_the_part_at_the_start(shot):
    found = shot.dimensions("disc", 0.0)
    for name in ("largest_thickness", "rim_thickness", "mid_radius_thickness", "axis_thickness"):
        assert float(getattr(found, name)) == pytest.approx(2e-3, rel=1e-9), name
    for name in ("diameter_at_corners", "diameter_at_middle", "largest_diameter"):
        assert float(getattr(found, name)) == pytest.approx(20e-3, rel=1e-9), name


def test_dimensions_at_the_end_agree_with_outline_and_series(shot):
    found, profile = shot.dimensions("disc"), shot.profile("disc", float(shot.times[-1]))
    assert float(found.largest_diameter) == pytest.approx(2 * shot.series("outer_radius", "disc")[-1], rel=1e-9)
    assert float(found.axis_thickness) == pytest.approx(shot.series("axis_thickness", "disc")[-1], rel=1e-3)
    assert float(found.rim_thickness) == pytest.approx(shot.series("rim_thickness", "disc")[-1], rel=1e-3)
    assert float(found.largest_thickness) == pytest.approx(profile.thickness.max(), rel=5e-3)
    assert float(found.largest_thickness) > 2.05e-3 > 2e-3
    volume = 2 * np.pi * trapezoid(profile.radius * profile.thickness, profile.radius)
    assert volume == pytest.approx(np.pi * 10e-3**2 * 2e-3, rel=0.02)                      # metal keeps its volume
    assert 0 < found.largest_diameter.error < 0.1 * float(found.largest_diameter)


def test_what_did_not_move_has_no_dimensions(shot, held):
    with pytest.raises(InputError, match="no flat body that moved"):
        shot.dimensions("coil")
    with pytest.raises(InputError, match="no flat body moved"):
        held.plot_dimensions()


def test_the_drawing_says_the_dimensions(shot):
    texts = [text.get_text() for text in shot.plot_dimensions().texts]
    found = shot.dimensions("disc")
    assert any(f"{1e3 * float(found.diameter_at_corners):.2f} over the corners" in text for text in texts)
    assert any(f"axis {1e3 * float(found.axis_thickness):.2f}" in text for text in texts)


def test_summary_and_json_name_them(shot):
    from fieldsolve.report.text.shot import shot_errors, shot_facts
    found = shot.dimensions("disc")
    facts, errors = shot_facts(shot)["bodies"]["disc"], shot_errors(shot)["bodies"]["disc"]
    assert facts["diameter_at_corners_end_m"] == float(found.diameter_at_corners)
    assert errors["largest_thickness_end_m"] == found.largest_thickness.error
    assert "over the rim's corners" in shot.summary().replace("\n", " ").replace("                 ", "")


def test_the_solid_of_revolution_has_the_body_s_volume_but_for_the_quarter():
    square = np.array([[2.0, 0.0], [3.0, 0.0], [3.0, 1.0], [2.0, 1.0]])
    points = revolved(square, steps=400)
    radius = np.append(square, square[:1], axis=0)[:, :1]
    assert np.hypot(points[..., 0], points[..., 1]) == pytest.approx(np.broadcast_to(radius, points.shape[:2]))
    first, last = (np.arctan2(points[1, k, 1], points[1, k, 0]) for k in (0, -1))
    assert (first - last) % (2 * np.pi) == pytest.approx(CUT)


def test_start_and_end_are_drawn_in_the_round(shot):
    axes = shot.plot_blank()
    axes[0].figure.canvas.draw()
    assert [single.get_title() for single in axes] == ["disc at the start", "disc at 15 µs"]
    assert all(len(single.collections) == 3 for single in axes)                            # skin and two cut faces


# ---- in motion --------------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("quantity", ["field", "current", "temperature"])
def test_a_frame_shows_the_radius_of_the_series(shot, quantity):
    """At ten times; temperatures are those of the stored instant that is nearest."""
    for time in np.linspace(0, shot.times[-1], 10):
        frame = frame_at(shot, quantity, time)
        metal = frame.mesh.triangles[np.isin(np.arange(len(frame.mesh.triangles)), frame.mesh.part_triangles("disc"))]
        outer = frame.mesh.nodes[metal, 0].max()
        assert outer == pytest.approx(np.interp(frame.time, shot.times, shot.series("outer_radius", "disc")), rel=2e-3)


def test_the_field_of_a_frame_is_the_shot_s(shot):
    frame = frame_at(shot, "field", 8e-6)
    r, z = frame.mesh.nodes[frame.triangles].mean(axis=1).T
    chosen = np.flatnonzero((r < 9e-3) & (np.abs(z) > 3e-3) & (np.abs(z) < 8e-3))[::25]
    exact = np.hypot(*shot.field_at(8e-6).flux_density(r[chosen], z[chosen]))
    assert frame.values[chosen] == pytest.approx(exact, abs=0.05 * exact.max())
    assert np.median(np.abs(frame.values[chosen] / exact - 1)) < 0.02


def test_the_current_density_of_a_frame_is_that_of_each_of_its_triangles(shot):
    """Largest at the rim, where a pulse's current runs; its integral over the blank is the net current."""
    frame, field = frame_at(shot, "current", 8e-6), shot.field_at(8e-6)
    blank = np.isin(np.flatnonzero(field.mesh.region > AIR), field.mesh.part_triangles("disc"))
    corners = frame.mesh.nodes[frame.triangles[blank]]
    edges = corners[:, 1:] - corners[:, :1]
    area = 0.5 * np.abs(np.linalg.det(edges))
    assert 1e9 * np.sum(area * frame.values[blank]) == pytest.approx(abs(float(field.net_current("disc"))), rel=0.02)
    assert corners[frame.values[blank].argmax()].mean(axis=0)[0] > 9e-3


def test_flux_lines_cross_triangles_where_the_flux_has_their_value():
    rng = np.random.default_rng(7)
    corners, slope = rng.random((200, 3, 2)), np.array([2.0, -1.0])
    flux = corners @ slope
    pieces = flux_lines(corners, flux, 0.1)
    level = (pieces @ slope) / 0.1 - 0.5
    assert level == pytest.approx(np.round(level[:, :1]) * [[1, 1]], abs=1e-9)
    crossed = np.floor(flux.max(axis=1) / 0.1 - 0.5) - np.ceil(flux.min(axis=1) / 0.1 - 0.5) + 1
    assert len(pieces) == crossed.sum() > 500
    assert len(flux_lines(corners, np.zeros((200, 3)), 0.1)) == 0


def test_the_temperature_of_a_frame_is_the_metal_s(shot):
    frame = frame_at(shot, "temperature", float(shot.times[-1]))
    assert frame.values.max() == shot.metal_at(float(shot.times[-1])).temperature.max()
    assert len(frame.values) == np.sum(frame.mesh.region > AIR)


def test_the_cursor_moves_with_the_frame(shot):
    scene = make_scene(shot, "field", movie_times(shot, 5))
    scene.show(frame_at(shot, "field", 6e-6))
    assert [cursor.get_xdata()[0] for cursor in scene.cursors] == [6.0, 6.0]
    assert scene.section.get_title().split() == ["6.0", "µs"]
    before = len(scene.section.collections)
    scene.show(frame_at(shot, "field", 7e-6))
    assert len(scene.section.collections) == before                                        # nothing of the frame before is left


def test_the_movie_draws_the_radius_of_the_series_at_ten_times(shot):
    times = movie_times(shot, 10)
    scene = make_scene(shot, "field", times)
    for time in times:
        scene.show(frame_at(shot, "field", float(time)))
        drawn = np.concatenate(scene.section.collections[-1].get_segments())               # outlines, both halves
        of_disc = drawn[np.abs(drawn[:, 0]) < 10.4]                                        # mm: within the bore
        exact = 1e3 * np.interp(time, shot.times, shot.series("outer_radius", "disc"))
        assert [of_disc[:, 0].min(), of_disc[:, 0].max()] == pytest.approx([-exact, exact], rel=1e-6)
        assert float(scene.section.get_title().split()[0]) == pytest.approx(1e6 * time, abs=0.051)


def test_a_movie_is_written_frame_by_frame(shot, tmp_path):
    from PIL import Image
    seen = []
    write_movie(shot, tmp_path / "shot.gif", frames=3, progress=lambda number, count: seen.append(number))
    with Image.open(tmp_path / "shot.gif") as movie:
        assert movie.n_frames == 3
    assert seen == [0, 1, 2] and [path.name for path in tmp_path.iterdir()] == ["shot.gif"]


@pytest.mark.parametrize("call, words", [
    (lambda shot, held: shot.animate("fiels"), "did you mean 'field'"), (lambda shot, held: shot.animate(frames=1), "from 2 to 1000"),
    (lambda shot, held: held.animate("temperature"), "nothing heats"), (lambda shot, held: write_movie(shot, "a.avi"), ".gif or .mp4"),
])
def test_wrong_requests_are_refused(shot, held, call, words):
    with pytest.raises(InputError, match=words):
        call(shot, held)


def test_the_command_refuses_a_movie_that_it_cannot_write_before_it_computes(tmp_path, capsys):
    case = tmp_path / "case.toml"
    case.write_text('[coil]\nshape = "solenoid"\nturns = 2\nbore_radius = "10 mm"\nwire_diameter = "2 mm"\npitch = "2.5 mm"\n'
                    'material = "copper"\n[bank]\ncapacitance = "60 uF"\nvoltage = "1 kV"\ninductance = "250 nH"\n'
                    '[run]\nend_time = "2 us"\n')
    assert main(["shot", str(case), "--movie", str(tmp_path / "a.avi")]) == 2
    error = capsys.readouterr().err
    assert "--movie" in error and ".gif or .mp4" in error and error.count("\n") == 1


# ---- solids for external viewers -------------------------------------------------------------------------------------------

def test_the_solids_have_the_metal_s_volume_and_temperature(shot, tmp_path):
    import xml.etree.ElementTree as ElementTree

    import meshio
    paths = fs.write_vtu_series(shot, tmp_path, every=1000, revolved=True)
    assert [path.name for path in paths] == ["shot_0000.vtu", "shot_0001.vtu"]
    solid = meshio.read(paths[-1])
    x = solid.points[solid.cells_dict["wedge"]]
    base, top = (np.cross(x[:, a + 1] - x[:, a], x[:, a + 2] - x[:, a]) for a in (0, 3))
    volume = np.abs(np.sum((base + top) / 4 * (x[:, 3:].mean(axis=1) - x[:, :3].mean(axis=1)), axis=1))
    metal = shot.metal_at(float(shot.times[-1]))
    corners = metal.mesh.nodes[metal.mesh.triangles[metal.triangles][:, :3]]
    edges = corners[:, 1:] - corners[:, :1]
    exact = np.sum(np.pi * np.abs(np.linalg.det(edges)) * corners[:, :, 0].mean(axis=1))
    assert volume.sum() == pytest.approx(exact, rel=5e-3)                                  # of 48 straight steps: 0.3 % less
    assert solid.cell_data["temperature"][0].max() == metal.temperature.max()
    entries = ElementTree.parse(tmp_path / "shot.pvd").getroot().findall("Collection/DataSet")       # noqa: S314
    assert [(entry.get("file"), float(entry.get("timestep"))) for entry in entries] == [
        (path.name, pytest.approx(time)) for path, time in zip(paths, (0.0, shot.times[-1]), strict=True)]
