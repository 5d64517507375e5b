"""Drawings of sections and meshes, and what a notebook shows of a part and a section."""
import xml.etree.ElementTree as ElementTree

import pytest

import fieldsolve as fs
import geometries as geo


@pytest.fixture(scope="module")
def section():
    coil = geo.solenoid(turns=3, bore_radius=10e-3, wire_diameter=2e-3, pitch=2.5e-3, material=fs.material("copper"))
    disc = geo.disc(radius=9e-3, thickness=1e-3, material=fs.material("aluminium 1100-O"), name="a<b")
    return geo.CrossSection([coil, disc, geo.loop(radius=15e-3, name="loop")])


def test_a_section_is_drawn_to_scale_with_its_names(section):
    ax = section.plot()
    assert [text.get_text() for text in ax.texts] == ["coil", "a<b", "loop"]
    corners = ax.patches[-1].get_xy()                                        # the disc
    assert (corners[:, 0].max(), corners[:, 1].max()) == pytest.approx((9.0, 0.5))
    assert ax.get_xlabel() == "r [mm]" and section.plot(ax) is ax


def test_a_mesh_is_drawn_within_its_open_radius(section):
    field = fs.solve_static(section, {"loop": 1.0}, accuracy=1e-1)
    ax = field.mesh.plot()
    assert ax.dataLim.x1 <= 1e3 * field.mesh.open_radius * (1 + 1e-9) and ax.get_ylabel() == "z [mm]"
    assert field.plot().get_xlabel() == "r [mm]"


def test_a_notebook_shows_a_drawing_of_a_section_and_the_dimensions_of_a_part(section):
    text = section._repr_html_()
    drawing = ElementTree.fromstring(text[:text.index("</svg>") + 6])       # noqa: S314
    polygons = drawing.findall("{http://www.w3.org/2000/svg}polygon")
    assert len(polygons) == 4 and len(drawing.findall("{http://www.w3.org/2000/svg}circle")) == 1
    assert "a&lt;b" in text and "a<b" not in text
    assert f"outer radius {1e3 * max(part.bounds[1] for part in section.parts):.5g} mm" in text
    table = section.part("a<b")._repr_html_()
    assert "9 mm" in table and "aluminium 1100-O" in table and "a&lt;b" in table
    assert "<td>3</td>" in section.part("coil")._repr_html_()
