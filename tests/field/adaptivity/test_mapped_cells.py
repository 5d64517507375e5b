"""Thin zones in mapped cells: meshes that fit, sizes that follow the field and not the thickness, and the right losses."""
import math

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.field.adaptivity.anisotropic_indicators import height_fraction
from fieldsolve.field.adaptivity.error_indicators import refined_sizes
from geometries.errors import MeshError
from geometries.mesh import AIR, EXTERIOR
from geometries.mesher import mesh_section
from geometries.rows import Rows, finest_rows, first_rows, graded_rows
from geometries.sizing import thin_zones, zone_cell_sizes

STEEL = fs.Material(conductivity=7e6)
NICKEL = fs.Material(conductivity=1.05e7)


def solenoid(**changes):
    wire = {"turns": 8, "bore_radius": 15.6e-3, "wire_diameter": 3.0e-3, "pitch": 3.3e-3, "material": fs.material("copper")}
    return geo.solenoid(**(wire | changes))


def clad(coat=20e-6, core=2e-3, outside=NICKEL, **more):
    return geo.clad_disc(radius=15e-3, layers=[(coat, outside), (core, STEEL), (coat, outside)], **more)


def disc(thickness, **more):
    return geo.disc(radius=15e-3, thickness=thickness, material=STEEL, **more)


CAN = geo.tube(inner_radius=30e-3, wall=0.1e-3, length=100e-3, material=STEEL)
LAYERS = geo.clad_disc(radius=15e-3, layers=[(0.1e-3, NICKEL), (0.3e-3, STEEL), (0.05e-3, NICKEL)])
FOIL = disc(0.2e-3)
SECTIONS = {
    "foil": [solenoid(), FOIL],
    "clad": [solenoid(), clad()],
    "can": [CAN],
    "only layers": [LAYERS],
    "layers in a tube": [LAYERS, geo.tube(inner_radius=15e-3, wall=0.1e-3, length=20e-3, at=3e-3)],
    "tube on a foil": [FOIL, geo.tube(inner_radius=10e-3, wall=0.1e-3, length=10e-3, at=5.1e-3)],
    "stub on layers": [LAYERS, geo.cylinder(radius=5e-3, length=10e-3, at=5.225e-3)],
    "foil in a can": [geo.disc(radius=30e-3, thickness=0.15e-3, at=10e-3), CAN],
    "sheet on a can": [CAN, geo.sheet(radius=30.1e-3, length=30e-3, turns=3, at=7e-3)],
    "loop over a foil": [FOIL, geo.loop(radius=7e-3, at=1e-3)],
    "thin ring and core": [geo.ring_and_core(radius=15e-3, core_radius=7e-3, thickness=0.1e-3)],
    "winding": [geo.winding(inner_radius=10e-3, outer_radius=10.5e-3, height=20e-3, turns=30)],
    "rod": [geo.cylinder(radius=1e-3, length=50e-3)],
    "sphere on a foil": [FOIL, geo.sphere(radius=5e-3, at=5.1e-3)],
}


def open_edges(mesh):
    """Edges of a single triangle: their end nodes (k, 2)."""
    edges = np.sort(mesh.triangles[:, [[0, 1], [1, 2], [0, 2]]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    assert count.max() == 2
    return unique[count == 1]


@pytest.mark.parametrize("name", SECTIONS)
def test_the_mesh_fits(name):
    section = geo.CrossSection(SECTIONS[name])
    mesh = mesh_section(section, part_sizes={"can": 30e-6})
    assert (mesh.area > 0).all() and mesh.mapped.keys() == thin_zones(section).keys() != set()
    assert (mesh.nodes[open_edges(mesh), 0] == 0).all()                 # no hanging nodes: only the axis is open
    for k, (part, zone) in enumerate(mesh.regions):
        if section.part(part).zones[zone].outline.is_rectangle:
            area = mesh.area[mesh.region == k + 1].sum()
            assert area == pytest.approx(section.part(part).zones[zone].outline.area, rel=1e-9)
    for key, triangles in mesh.mapped.items():
        assert (mesh.region[triangles] == mesh.regions.index(key) + 1).all()
        extent = np.ptp(mesh.corners[triangles], axis=2)
        assert mesh.area[triangles] == pytest.approx(extent.prod(axis=2) / 2, rel=1e-6)          # halves of right-angled cells
        across = np.ptp(mesh.corners[triangles], axis=(0, 1, 2)).argmin()
        assert extent[..., across] == pytest.approx(np.broadcast_to(extent[0, :, across], triangles.shape), rel=1e-6)
    edges = np.linalg.norm(mesh.corners - np.roll(mesh.corners, 1, axis=1), axis=2)
    assert (4 * np.sqrt(3) * mesh.area / (edges**2).sum(axis=1))[~mesh.is_mapped].min() > 0.2
    assert mesh.size < 9000


def test_a_strip_of_thin_walls():
    walls = [geo.tube(inner_radius=0.02, wall=0.1e-3, length=5e-3), geo.tube(inner_radius=0.0201, wall=1e-3, length=5e-3, name="other")]
    strip = geo.AxialStrip(walls)
    mesh = mesh_section(strip)
    assert (mesh.area > 0).all() and list(mesh.mapped) == [("tube", 0)] and mesh.size < 9000
    assert mesh.area[mesh.mapped["tube", 0]].sum() == pytest.approx(0.1e-3 * 5e-3)              # to the flat faces: no blocks


def test_only_thin_rectangles_of_bodies_and_windings():
    foil_coil = geo.spiral(turns=3, inner_radius=0.01, wire_section=(0.1e-3, 6e-3), pitch=1.5e-3)
    ball = geo.shell(inner_radius=20e-3, outer_radius=20.1e-3)
    winding = geo.winding(inner_radius=0.03, outer_radius=0.0301, height=0.02, turns=5, name="winding")
    section = geo.CrossSection([foil_coil, winding, ball.moved(0.1)])
    assert thin_zones(section) == {("winding", 0): pytest.approx(0.1e-3)}
    assert not thin_zones(geo.CrossSection([disc(1.6e-3)]))


def test_sizes_follow_the_length_and_gaps_to_other_parts():
    alone = zone_cell_sizes(geo.CrossSection([clad()]), {"disc": 1e-6})
    assert alone["disc", 0] == alone["disc", 2] == pytest.approx(1.5e-3) and alone["disc", 1] == pytest.approx(1e-6)
    assert zone_cell_sizes(geo.CrossSection([clad()]), {})["disc", 1] == pytest.approx(2e-3 / 3)
    near = zone_cell_sizes(geo.CrossSection([FOIL, disc(2e-3, at=1.15e-3, name="other")]), {})          # a gap of 0.05 mm
    assert near["disc", 0] == near["other", 0] == pytest.approx(0.05e-3 / 0.6)


@pytest.mark.parametrize("thickness", [0.6e-6, 2e-6, 5e-6])
def test_very_thin_coats(thickness):
    mesh = mesh_section(geo.CrossSection([clad(coat=thickness)]))
    assert (mesh.area > 0).all() and len(mesh.mapped) == 2 and mesh.size < 6000


def test_a_coat_too_thin_for_the_mesher():
    with pytest.raises(MeshError, match=r"layer 1 of disc is 0.1 um thick, below the limit of 0.5 um: make it thicker"):
        mesh_section(geo.CrossSection([clad(coat=0.1e-6)]))


# ---- rows --------------------------------------------------------------------------------------------------------

def test_laws_of_rows():
    assert first_rows(math.inf, 2, 1.0) == Rows(2) and first_rows(0.11, 2, 1.0) == Rows(10)
    many = first_rows(0.01, 2, 1.0)
    assert many.lowest == pytest.approx(0.01, rel=0.05) and many.highest <= 0.1 and many.count < 25
    assert graded_rows(10, 0.01).lowest == pytest.approx(0.01, rel=0.01)
    assert graded_rows(10, 0.3) == Rows(10)
    assert finest_rows(Rows(4), graded_rows(3, 0.1)).lowest == pytest.approx(0.1, rel=0.01)


def test_rows_are_as_high_as_requested():
    mesh = mesh_section(geo.CrossSection([FOIL]), part_sizes={"disc": 4e-6})
    heights = np.ptp(mesh.corners[mesh.mapped["disc", 0][0], :, 1], axis=1)
    rows = first_rows(4e-6 / 0.2e-3, 2, 1.0)
    assert len(heights) == rows.count and heights.sum() == pytest.approx(0.2e-3)
    assert heights[0] == pytest.approx(heights[-1]) == pytest.approx(4e-6, rel=0.15)
    assert heights.max() == pytest.approx(rows.highest * 0.2e-3, rel=0.05)


def test_errors_of_length_and_height_are_separated():
    mesh = mesh_section(geo.CrossSection([FOIL]))
    triangles = mesh.mapped["disc", 0]
    r, z = mesh.nodes.T
    share = height_fraction(mesh, np.stack([(r / 15e-3) ** 3, (z / 0.1e-3) ** 3, (z / 0.1e-3) ** 3 * 1j], axis=1))
    assert share[triangles][..., 0].max() < 1e-6 and share[triangles][..., 1:].min() > 1 - 1e-6
    assert not share[~mesh.is_mapped].any()


def test_refinement_goes_where_the_error_is():
    section = geo.CrossSection([FOIL])
    mesh = mesh_section(section)
    indicator = np.where(mesh.is_mapped, 1.0, 1e-9)
    length, _ = refined_sizes(mesh, indicator, np.zeros_like(indicator), 16.0)
    height, growth = refined_sizes(mesh, indicator, indicator, 16.0)
    both, _ = refined_sizes(mesh, indicator, indicator / 2, 16.0)
    assert length.rows["disc", 0].count == 2 and 2 < both.rows["disc", 0].count < height.rows["disc", 0].count
    longer, higher = mesh_section(section, length), mesh_section(section, height)
    columns, rows = mesh.mapped["disc", 0].shape
    assert longer.mapped["disc", 0].shape[0] > 1.5 * columns and longer.mapped["disc", 0].shape[1] == rows
    assert higher.mapped["disc", 0].shape[1] == height.rows["disc", 0].count > rows and growth > 1


# ---- fields ------------------------------------------------------------------------------------------------------

@pytest.mark.slow
def test_coats_of_the_same_metal_change_nothing():
    plain, coated = (fs.solve_harmonic(geo.CrossSection([solenoid(), body]), 10e3, {"coil": 1000.0}, accuracy=1e-3)
                     for body in (disc(2.04e-3), clad(outside=STEEL)))
    assert coated.unknowns < 1.6 * plain.unknowns and coated.accuracy_reached
    for figure in ("loss", "net_current", "radial_force"):
        one, other = (getattr(field, figure)("disc") for field in (plain, coated))
        assert abs(complex(one) - complex(other)) <= one.error + other.error
    assert coated.radial_force("disc", route="stress") == pytest.approx(coated.radial_force("disc"), rel=1e-3)


def test_a_coat_takes_its_share():
    """Conductivities of thin layers add up: loss at low frequency is that of a plain disc of the mean conductivity."""
    body = geo.CrossSection([clad(coat=50e-6, core=1e-3)])
    mean = fs.Material(conductivity=(1.0 * 7e6 + 0.1 * 1.05e7) / 1.1)
    plain = geo.CrossSection([geo.disc(radius=15e-3, thickness=1.1e-3, material=mean)])
    one, other = (fs.solve_harmonic(section, 10.0, applied_field=0.1, accuracy=1e-3) for section in (body, plain))
    assert one.loss("disc") == pytest.approx(other.loss("disc"), rel=1e-5)
    layers = [one.loss("disc", f"layer {k}") for k in (1, 2, 3)]
    assert layers[0] == pytest.approx(layers[2], rel=1e-6) and layers[0] / layers[1] == pytest.approx(0.05 * 1.5, rel=1e-4)


@pytest.mark.parametrize("wall", [0.1e-3, 5e-6])
def test_wall_of_a_can_at_low_frequency(wall):
    """E = omega r B_0 / 2, so that P = pi sigma omega^2 B_0^2 length (R^4 - r^4) / 16, for a thin wall R^3 wall length / 4."""
    can = geo.tube(inner_radius=30e-3, wall=wall, length=100e-3, material=STEEL)
    field = fs.solve_harmonic(geo.CrossSection([can]), 1.0, applied_field=0.01, accuracy=1e-3)
    outer, omega = 30e-3 + wall, 2 * math.pi
    common = math.pi * 7e6 * omega**2 * 0.01**2 * 100e-3
    assert field.loss("tube") == pytest.approx(common * (outer**4 - 30e-3**4) / 16, rel=1e-7)
    assert field.loss("tube") == pytest.approx(common * (30e-3 + wall / 2) ** 3 * wall / 4, rel=1e-5)
    assert len(field.mesh.triangles) < 1500           # whatever the thickness


def test_thin_disc_in_an_alternating_field():
    """Disc of 1 mm x 50 mm at 50 Hz: 0.418125 W by rings of filaments (case thin-disc-axial-field)."""
    body = geo.disc(radius=50e-3, thickness=1e-3, material=fs.Material(conductivity=3.5e7))
    field = fs.solve_harmonic(geo.CrossSection([body]), 50.0, applied_field=0.01, accuracy=7e-4)
    assert field.loss("disc") == pytest.approx(0.418125, rel=2e-3) and field.unknowns < 5000


def test_field_inside_a_thin_wall():
    """Half of the way through the wall of a long can the field along it is half-way between the fields on its two sides."""
    field = fs.solve_harmonic(geo.CrossSection([CAN]), 100.0, applied_field=0.01, accuracy=1e-3)
    _, B_z = field.flux_density([29.999e-3, 30.05e-3, 30.101e-3], np.zeros(3))
    J = field.current_density(30.05e-3, 0.0)
    assert abs(B_z[1] - (B_z[0] + B_z[2]) / 2) < 1e-2 * abs(B_z[0] - B_z[2])
    assert B_z[0] - B_z[2] == pytest.approx(4e-7 * math.pi * complex(J) * 0.1e-3, rel=5e-3)


def test_regions_of_a_coat_are_air_free():
    mesh = mesh_section(geo.CrossSection([clad()]))
    middle = mesh.corners.mean(axis=1)
    inside = (middle[:, 0] < 15e-3) & (np.abs(middle[:, 1]) < 1.02e-3) & (mesh.region != EXTERIOR)
    assert not (mesh.region[inside] == AIR).any()
    coat = inside & (middle[:, 1] > 1e-3)
    assert (mesh.region[coat] == mesh.regions.index(("disc", 2)) + 1).all() and coat.any()
