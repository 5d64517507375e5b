"""Parts and cross-sections: sizes as described, and a clear message for each thing that cannot be."""
import math
import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from functools import partial

import numpy as np
import pytest

import geometries as geo
from geometries.outlines import Arc, Outline, circle, half_ellipse, half_shell, polyline, rectangle
from geometries.parts import CurrentSheet, Filament

WIRE = {"bore_radius": 15.6e-3, "wire_diameter": 3.0e-3, "pitch": 3.3e-3}
solenoid = partial(geo.solenoid, turns=8, **WIRE)
disc = partial(geo.disc, radius=15e-3, thickness=2e-3)
probe = partial(geo.loop, name="probe")


def box(*edges, name="part", **facts):
    return geo.Part(name, "box", (geo.Zone("zone", rectangle(*edges)),), **facts)


# ---- outlines ----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("outline", "area"), [
    (rectangle(1, 3, -1, 2), 6.0),
    (circle(3.0, 1.0, 0.5), math.pi * 0.25),
    (half_ellipse(0.0, (2.0, 3.0)), math.pi * 3.0),
    (half_shell(1.0, (1.0, 1.0), (2.0, 2.0)), math.pi * 1.5),
    (Outline(tuple(Arc((3.0, 0.0), (1.0, 0.5), a, a + math.pi / 2) for a in np.arange(4) * math.pi / 2)), math.pi / 2),
])
def test_areas(outline, area):
    assert outline.area == pytest.approx(area, rel=1e-14)
    assert outline.moved(7.0).area == pytest.approx(area, rel=1e-12)


def test_outlines_close_and_lie_on_the_axis():
    for outline in (circle(3.0, 1.0, 0.5), half_ellipse(0.3, (2.0, 3.0)), half_shell(1.0, (1.0, 1.0), (2.0, 2.0))):
        for edge, following in zip(outline.edges, outline.edges[1:] + outline.edges[:1], strict=True):
            assert edge.end == pytest.approx(following.start, abs=1e-15)
    for body in (disc(), geo.sphere(radius=0.1), geo.spheroid(radial=0.1, axial=0.3), geo.shell(inner_radius=0.1, outer_radius=0.2)):
        assert body.bounds[0] == 0.0
        assert (body.zones[0].outline.polygon()[:, 0] >= 0.0).all()


# ---- coils -------------------------------------------------------------------------------------------------------

def test_solenoid():
    coil = solenoid(material="copper")
    assert (coil.name, coil.shape, coil.turns, coil.is_coil, coil.stranded) == ("coil", "solenoid", 8, True, False)
    assert coil.bounds == pytest.approx((15.6e-3, 18.6e-3, -13.05e-3, 13.05e-3))
    assert [zone.name for zone in coil.zones] == [f"turn {k}" for k in range(1, 9)]
    assert all(zone.turns == 1.0 and zone.material == "copper" for zone in coil.zones)
    assert coil.zones[0].outline.area == pytest.approx(math.pi * 1.5e-3 ** 2)
    assert np.diff([zone.outline.bounds[2] for zone in coil.zones]) == pytest.approx(np.full(7, 3.3e-3))


def test_layers_go_outward_and_share_the_turns():
    coil = solenoid(turns=6, layers=3, layer_pitch=4e-3, at=0.1)
    assert coil.bounds == pytest.approx((15.6e-3, 15.6e-3 + 2 * 4e-3 + 3e-3, 0.1 - 3.15e-3, 0.1 + 3.15e-3))
    assert [round(zone.outline.bounds[0] * 1e3, 3) for zone in coil.zones] == [15.6, 15.6, 19.6, 19.6, 23.6, 23.6]
    assert solenoid(turns=6, layers=3).bounds[1] == pytest.approx(15.6e-3 + 2 * 3.3e-3 + 3e-3)


def test_rectangular_wire_and_strands():
    coil = geo.solenoid(turns=3, bore_radius=0.01, wire_section=(2e-3, 4e-3), pitch=5e-3, stranded=True, fill=0.7)
    assert coil.bounds == pytest.approx((0.01, 0.012, -7e-3, 7e-3))
    assert (coil.stranded, coil.fill, coil.turns) == (True, 0.7, 3)


def test_one_turn_needs_no_pitch():
    assert len(geo.solenoid(turns=1, bore_radius=0.01, wire_diameter=1e-3).zones) == 1
    assert len(geo.solenoid(turns=2, layers=2, layer_pitch=2e-3, bore_radius=0.01, wire_diameter=1e-3).zones) == 2
    assert len(geo.spiral(turns=1, inner_radius=0.01, wire_diameter=1e-3).zones) == 1


def test_spiral_lies_in_one_plane():
    coil = geo.spiral(turns=5, inner_radius=0.01, wire_section=(1e-3, 6e-3), pitch=1.5e-3, at=0.02)
    assert coil.bounds == pytest.approx((0.01, 0.017, 0.017, 0.023))
    assert (coil.turns, coil.shape, coil.zones[-1].name) == (5, "spiral", "turn 5")


def test_winding_is_stranded():
    coil = geo.winding(inner_radius=0.01, outer_radius=0.02, height=0.01, turns=100.5, fill=0.6)
    assert (coil.turns, coil.stranded, coil.fill, len(coil.zones)) == (100.5, True, 0.6, 1)
    assert coil.bounds == pytest.approx((0.01, 0.02, -0.005, 0.005))


def test_loop_and_sheet():
    assert geo.loop(radius=0.1, at=0.2).filament == Filament(0.1, 0.2)
    sheet = geo.sheet(radius=0.1, length=0.4, turns=10, at=0.1)
    assert sheet.sheet == CurrentSheet(0.1, pytest.approx(-0.1), pytest.approx(0.3), 10.0)
    assert (sheet.turns, geo.loop(radius=1).turns) == (10.0, 1.0)


# ---- bodies ------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("body", "bounds"), [
    (geo.disc(radius=0.1, thickness=0.02), (0, 0.1, -0.01, 0.01)),
    (geo.washer(radius=0.1, thickness=0.02, hole_radius=0.03), (0.03, 0.1, -0.01, 0.01)),
    (geo.tube(inner_radius=0.1, wall=0.01, length=0.2), (0.1, 0.11, -0.1, 0.1)),
    (geo.ring(radius=0.1, wire_diameter=0.02), (0.09, 0.11, -0.01, 0.01)),
    (geo.plate(radius=0.1, thickness=0.02), (0, 0.1, -0.01, 0.01)),
    (geo.cylinder(radius=0.1, length=0.2), (0, 0.1, -0.1, 0.1)),
    (geo.sphere(radius=0.1), (0, 0.1, -0.1, 0.1)),
    (geo.spheroid(radial=0.1, axial=0.2), (0, 0.1, -0.2, 0.2)),
    (geo.shell(inner_radius=0.1, outer_radius=0.2), (0, 0.2, -0.2, 0.2)),
])
def test_bounds_of_bodies(body, bounds):
    assert body.bounds == pytest.approx(bounds, abs=1e-16)
    assert body.name == body.shape
    assert body.is_coil is (body.shape == "ring")
    assert body.moved(0.5).bounds == pytest.approx((*bounds[:2], bounds[2] + 0.5, bounds[3] + 0.5))
    assert body.named("other").name == "other"


def test_clad_disc_is_layered_from_below():
    body = geo.clad_disc(radius=0.01, layers=[(1e-3, "copper"), (3e-3, "steel")], thickness=4e-3, at=0.1)
    assert [(zone.name, zone.material) for zone in body.zones] == [("layer 1", "copper"), ("layer 2", "steel")]
    assert body.zones[0].outline.bounds == pytest.approx((0, 0.01, 0.098, 0.099))
    assert body.zones[0].outline.bounds[3] == body.zones[1].outline.bounds[2]
    assert body.name == "disc"


def test_ring_and_core():
    body = geo.ring_and_core(radius=0.02, core_radius=0.01, thickness=2e-3, ring="copper", core="steel")
    assert {zone.name: (zone.material, *zone.outline.bounds[:2]) for zone in body.zones} == {
        "ring": ("copper", 0.01, 0.02), "core": ("steel", 0.0, 0.01)}
    assert body.name == "disc"


def test_whole_numbers_may_come_as_floats_or_from_numpy():
    assert len(solenoid(turns=np.int64(4)).zones) == len(solenoid(turns=4.0).zones) == 4
    assert isinstance(disc(radius=np.float32(0.01)).bounds[1], float)


# ---- numbers that cannot be --------------------------------------------------------------------------------------

NAN = float("nan")
WRONG = [
    (lambda: solenoid(bore_radius=15.6), "bore_radius = 15.6 m is above the limit of 5 m: meant 15.6 mm?"),
    (lambda: disc(radius=NAN), "radius = nan is not finite"),
    (lambda: disc(radius=math.inf), "radius = inf is not finite"),
    (lambda: disc(radius="15 mm"), "radius = '15 mm' is not a number: give metres, for example 0.003"),
    (lambda: disc(radius=True), "radius = True is not a number"),
    (lambda: disc(radius=None), "radius = None is not a number"),
    (lambda: disc(thickness=0), "thickness = 0 m must be above 0: give a positive length in metres"),
    (lambda: disc(thickness=-1e-3), "thickness = -0.001 m must be above 0"),
    (lambda: disc(at=NAN), "at = nan is not finite"),
    (lambda: disc(at=-15), "at = -15 m is further than the limit of 5 m from z = 0: meant -15 mm?"),
    (lambda: disc(name=""), "name = '' must be a text that is not blank"),
    (lambda: disc(name=3), "name = 3 must be a text"),
    (lambda: geo.loop(radius=0), "radius = 0 m must be above 0"),
    (lambda: geo.sheet(radius=0.1, length=0.1, turns=0), "turns = 0 must be above 0"),
    (lambda: solenoid(turns=7.5), "turns = 7.5 must be a whole number of at least 1"),
    (lambda: solenoid(turns=0), "turns = 0 must be a whole number of at least 1"),
    (lambda: solenoid(turns="8"), "turns = '8' is not a number: give a whole number"),
    (lambda: solenoid(layers=0), "layers = 0 must be a whole number"),
    (lambda: solenoid(turns=7, layers=2), "turns = 7 do not split evenly over layers = 2: give 6 or 8 turns"),
    (lambda: solenoid(turns=1, layers=2), "turns = 1 do not split evenly over layers = 2: give 2 turns"),
    (lambda: solenoid(pitch=2e-3), "pitch = 2 mm is below wire_diameter = 3 mm, so turns would overlap: give a pitch of at least 3 mm"),
    (lambda: solenoid(pitch=None), "pitch is missing: a solenoid with 8 turns in a layer needs the axial distance"),
    (lambda: solenoid(pitch=3.3), "the coil's height of 23.103 m is above the limit of 5 m: check turns and pitch"),
    (lambda: solenoid(layers=2, layer_pitch=2e-3), "layer_pitch = 2 mm is below wire_diameter = 3 mm"),
    (lambda: solenoid(layers=4, layer_pitch=4.9), "the coil's outer radius of 14.7186 m is above the limit of 5 m"),
    (lambda: solenoid(turns=2, layers=2, pitch=None), "layer_pitch is missing: 2 layers need the radial distance"),
    (lambda: geo.solenoid(turns=4, layers=2, bore_radius=0.01, wire_section=(4e-3, 3e-3), pitch=3.3e-3),
     "layer_pitch (left out, so the pitch) = 3.3 mm is below wire_section's radial side = 4 mm"),
    (lambda: geo.solenoid(turns=4, bore_radius=0.01, wire_section=(4e-3, 3e-3), pitch=2e-3),
     "pitch = 2 mm is below wire_section's axial side = 3 mm"),
    (lambda: solenoid(wire_diameter=None), "neither of wire_diameter and wire_section given: give one of them"),
    (lambda: solenoid(wire_section=(1e-3, 1e-3)), "both of wire_diameter and wire_section given: give one of them"),
    (lambda: solenoid(wire_diameter=None, wire_section=3e-3), "wire_section = 0.003 must be two lengths in metres: give (radial, axial)"),
    (lambda: solenoid(wire_diameter=None, wire_section=(1e-3, 0)), "wire_section's axial side = 0 m must be above 0"),
    (lambda: solenoid(fill=0.7), "fill = 0.7 is for stranded turns only: give stranded=True, or leave fill out"),
    (lambda: solenoid(stranded=True, fill=70), "fill = 70 must be above 0 and at most 1: meant 0.7?"),
    (lambda: solenoid(stranded=True, fill=0), "fill = 0 must be above 0 and at most 1: it is the share of copper"),
    (lambda: geo.spiral(turns=3, inner_radius=0.01, wire_diameter=2e-3, pitch=1e-3), "pitch = 1 mm is below wire_diameter = 2 mm"),
    (lambda: geo.spiral(turns=3, inner_radius=0.01, wire_diameter=2e-3), "pitch is missing: a spiral of 3 turns needs the radial distance"),
    (lambda: geo.winding(inner_radius=0.02, outer_radius=0.01, height=0.01, turns=1),
     "inner_radius = 20 mm must be smaller than outer_radius = 10 mm: make inner_radius smaller or outer_radius larger"),
    (lambda: geo.winding(inner_radius=0.01, outer_radius=0.02, height=0.01, turns=-1), "turns = -1 must be above 0"),
    (lambda: geo.washer(radius=0.1, thickness=0.1, hole_radius=0), "hole_radius = 0 m must be above 0: without a hole use disc"),
    (lambda: geo.washer(radius=0.1, thickness=0.1, hole_radius=0.1), "hole_radius = 100 mm must be smaller than radius = 100 mm"),
    (lambda: geo.tube(inner_radius=0, wall=0.1, length=1), "inner_radius = 0 m must be above 0: without a bore use cylinder"),
    (lambda: geo.tube(inner_radius=4, wall=4, length=1), "the tube's outer radius of 8 m is above the limit of 5 m"),
    (lambda: geo.shell(inner_radius=0, outer_radius=0.1), "inner_radius = 0 m must be above 0: without a hollow use sphere"),
    (lambda: geo.shell(inner_radius=0.2, outer_radius=0.1), "inner_radius = 200 mm must be smaller than outer_radius = 100 mm"),
    (lambda: geo.ring(radius=0.01, wire_diameter=0.02), "wire_diameter = 20 mm reaches the axis from radius = 10 mm: make the wire"),
    (lambda: geo.spheroid(radial=0.1, axial=-0.1), "axial = -0.1 m must be above 0"),
    (lambda: geo.ring_and_core(radius=0.1, core_radius=0.2, thickness=0.1), "core_radius = 200 mm must be smaller than radius = 100 mm"),
    (lambda: geo.clad_disc(radius=0.1, layers=[]), "layers is empty: give at least one (thickness, material)"),
    (lambda: geo.clad_disc(radius=0.1, layers=[(1e-3, None), (0, None)]), "thickness of layer 2 = 0 m must be above 0"),
    (lambda: geo.clad_disc(radius=0.1, layers=(1e-3, "copper")), "layer 1 = 0.001 must be (thickness, material)"),
    (lambda: geo.clad_disc(radius=0.1, layers=1e-3), "layer 1 = 0.001 must be (thickness, material)"),
    (lambda: geo.clad_disc(radius=0.1, layers=[(1e-3, None), (2e-3, None)], thickness=2e-3),
     "the layers add up to 3 mm, not to thickness = 2 mm: change a layer, or leave thickness out"),
]


@pytest.mark.parametrize(("build", "message"), WRONG, ids=[message[:40] for _, message in WRONG])
def test_wrong_sizes(build, message):
    with pytest.raises(geo.GeometryError) as caught:
        build()
    assert message in str(caught.value)


# ---- parts that cannot stand together ----------------------------------------------------------------------------

COIL = solenoid()
UNFIT = [
    ([COIL, COIL], "2 parts are named coil: give name= to one of them"),
    ([], "parts is empty: give at least one part"),
    (COIL, "parts is one part: give a list, [coil]"),
    (None, "parts = None is not a list"),
    (["coil"], "parts[0] = 'coil' is not a part"),
    ([disc(name="bore")], "a part cannot be named bore, which results use for a region of air"),
    ([disc(name="bore of coil")], "a part cannot be named bore of coil"),
    ([geo.Part("nothing", "none")], "nothing is empty: give it at least one zone"),
    ([box(-1e-3, 1e-3, 0, 1)], "part reaches across the axis to r = -1 mm: r must be at least 0"),
    ([box(0, math.inf, 0, 1)], "part has a length that is not finite"),
    ([box(0, 1, 1, 0)], "zone of part has area -1 m2: its outline must run counter-clockwise"),
    ([replace(geo.loop(radius=1), filament=Filament(0.0, 0.0))], "coil has radius 0 mm, which must be above 0"),
    ([COIL, disc(radius=16e-3)],
     "coil and disc overlap at r = 15.7482 to 16 mm, z = -1 to 1 mm (0.103 mm2): disc reaches r = 16 mm, coil begins at r = 15.6 mm: "
     "make disc smaller or the bore of coil larger"),
    ([COIL, disc(radius=15.7e-3)], "disc reaches in between the turns of coil: disc reaches r = 15.7 mm, coil begins at r = 15.6 mm"),
    ([COIL, disc(radius=60e-3)], "move one of them along z by at least 14.05 mm, or make one smaller"),
    ([disc(), disc(at=1.5e-3, name="other")], "disc and other overlap at r = 0 to 15 mm, z = 0.5 to 1 mm (7.5 mm2): move one of them "
     "along z by at least 0.5 mm"),
    ([geo.Part("coil", "two", (geo.Zone("a", rectangle(1, 2, 0, 1)), geo.Zone("b", rectangle(1.5, 3, 0, 1))), is_coil=True)],
     "a of coil and b overlap at r = 1500 to 2000 mm"),
    ([geo.spiral(turns=2, inner_radius=0.01, wire_diameter=2e-3, pitch=6e-3), geo.tube(inner_radius=0.013, wall=1e-3, length=0.1)],
     "tube reaches in between the turns of coil"),
    ([COIL, probe(radius=17e-3, at=1.65e-3)], "probe, a loop at r = 17 mm, lies inside the metal of coil: give it another radius"),
    ([disc(), probe(radius=15e-3)], "probe, a loop at r = 15 mm, lies inside the metal of disc"),
    ([disc(), geo.sheet(radius=14e-3, length=0.1, turns=1)], "coil, a sheet at r = 14 mm, lies inside the metal of disc"),
    ([geo.loop(radius=0.1), probe(radius=0.1)], "coil and probe lie upon one another at r = 100 mm"),
    ([geo.sheet(radius=0.1, length=1, turns=1), probe(radius=0.1)], "coil and probe lie upon one another"),
    ([geo.sheet(radius=0.1, length=1, turns=1), geo.sheet(radius=0.1, length=1, turns=1, at=0.5, name="two")],
     "coil and two lie upon one another"),
]


@pytest.mark.parametrize(("parts", "message"), UNFIT, ids=[message[:40] for _, message in UNFIT])
def test_parts_that_do_not_fit(parts, message):
    with pytest.raises(geo.GeometryError) as caught:
        geo.CrossSection(parts)
    assert message in str(caught.value)


@pytest.mark.parametrize("parts", [
    [disc(), disc(at=2e-3, name="upper")],
    [geo.clad_disc(radius=0.01, layers=[(0.1e-3, None), (0.2e-3, None), (0.3e-3, None)])],
    [geo.ring_and_core(radius=0.02, core_radius=0.01, thickness=1e-3), geo.tube(inner_radius=0.02, wall=1e-3, length=0.1)],
    [geo.sphere(radius=0.1), geo.shell(inner_radius=0.1, outer_radius=0.2)],
    [geo.sphere(radius=0.1), geo.tube(inner_radius=0.1, wall=0.01, length=0.3)],
    [solenoid(pitch=3e-3, layers=2)],
    [geo.solenoid(turns=6, layers=2, bore_radius=0.01, wire_section=(2e-3, 2e-3), pitch=2e-3)],
    [COIL, disc(radius=15.6e-3)],
    [COIL, geo.tube(inner_radius=18.6e-3, wall=1e-3, length=0.1)],
    [solenoid(turns=6, layers=2, layer_pitch=5e-3), geo.tube(inner_radius=19e-3, wall=1e-3, length=0.1)],
    [disc(), geo.sheet(radius=15e-3, length=0.1, turns=1)],
    [geo.sheet(radius=0.1, length=1, turns=1), geo.sheet(radius=0.1, length=1, turns=1, at=1, name="upper")],
    [geo.loop(radius=0.1), probe(radius=0.1, at=0.1)],
])
def test_touching_is_allowed(parts):
    assert geo.CrossSection(parts).parts == tuple(parts)


def test_a_small_overlap_of_round_wires_is_found():
    with pytest.raises(geo.GeometryError, match="overlap"):
        geo.CrossSection([geo.ring(radius=0.1, wire_diameter=0.01), geo.ring(radius=0.1, wire_diameter=0.01, at=0.00999, name="upper")])


# ---- cross-section -----------------------------------------------------------------------------------------------

def test_cross_section():
    section = geo.CrossSection([solenoid(at=0.1), disc(at=0.1)])
    assert [part.name for part in section.coils] == ["coil"]
    assert [part.name for part in section.bodies] == ["disc"]
    assert section.part("disc").shape == "disc"
    assert section.centre == pytest.approx(0.1)
    assert section.bounds == pytest.approx((0, 18.6e-3, 0.1 - 13.05e-3, 0.1 + 13.05e-3))
    assert section.extent == pytest.approx(math.hypot(17.1e-3, 11.55e-3) + 1.5e-3, rel=1e-5)
    assert geo.CrossSection([geo.loop(radius=3e-3), geo.loop(radius=3e-3, at=8e-3, name="upper")]).extent == pytest.approx(5e-3)
    with pytest.raises(FrozenInstanceError):
        section.parts = ()


def test_a_wrong_name_gets_the_nearest_ones():
    section = geo.CrossSection([COIL, disc()])
    with pytest.raises(geo.GeometryError, match=r"no part named 'disk': meant disc\? The parts are coil, disc"):
        section.part("disk")
    with pytest.raises(geo.GeometryError, match="no part named 'xyz': The parts are coil, disc"):
        section.part("xyz")


def test_one_bore():
    section = geo.CrossSection([COIL, disc(), probe(radius=0.1)])
    bore = geo.Bore(*map(pytest.approx, (15.6e-3, -13.05e-3, 13.05e-3)))
    assert section.bores == {"bore": bore}
    assert section.bore() == section.bore("bore") == section.bore("coil") == section.bore("bore of coil") == bore
    for name, message in (("probe", "probe is a loop and has no bore"), ("disc", "disc is a disc and has no bore"), ("cool", "meant coil")):
        with pytest.raises(geo.GeometryError, match=message):
            section.bore(name)


def test_several_bores():
    section = geo.CrossSection([COIL, geo.sheet(radius=0.1, length=0.2, turns=5, name="field coil")])
    assert list(section.bores) == ["bore of coil", "bore of field coil"]
    assert section.bore("field coil") == section.bore("bore of field coil") == geo.Bore(0.1, -0.1, 0.1)
    for name in (None, "bore"):
        with pytest.raises(geo.GeometryError, match="several coils have a bore: name one of bore of coil, bore of field coil"):
            section.bore(name)


def test_no_bore():
    section = geo.CrossSection([geo.loop(radius=0.1), disc()])
    assert section.bores == {}
    with pytest.raises(geo.GeometryError, match="no bore"):
        section.bore()


# ---- axial strip -------------------------------------------------------------------------------------------------

TUBE = geo.tube(inner_radius=0.02, wall=0.01, length=0.1, at=0.5)
ROD = geo.cylinder(radius=0.01, length=0.1, at=0.5)


def test_axial_strip():
    strip = geo.AxialStrip([TUBE, ROD])
    assert (strip.inner_radius, strip.outer_radius) == (0.0, pytest.approx(0.03))
    assert (strip.z_min, strip.z_max, strip.centre) == pytest.approx((0.45, 0.55, 0.5))
    assert strip.part("tube") is TUBE
    assert strip.bodies == (TUBE, ROD) and strip.coils == ()
    wider = geo.AxialStrip([TUBE], inner_radius=0.015, outer_radius=0.05)
    assert (wider.inner_radius, wider.outer_radius) == (0.015, 0.05)


@pytest.mark.parametrize(("parts", "radii", "message"), [
    ([geo.sphere(radius=0.1)], {}, "sphere, a sphere, is not the same at every height: a strip takes cylinders"),
    ([geo.sheet(radius=0.1, length=1, turns=1)], {}, "coil, a sheet, is not the same at every height"),
    ([TUBE, ROD.moved(0.1)], {}, "in a strip give all parts the same length and at="),
    ([TUBE], {"inner_radius": 0.025}, "inner_radius = 25 mm must be from 0 to 20 mm, where the first part begins"),
    ([TUBE], {"inner_radius": -0.1}, "inner_radius = -100 mm must be from 0 to 20 mm"),
    ([TUBE], {"outer_radius": 0.025}, "outer_radius = 25 mm must be at least 30 mm, where the last part ends"),
    ([TUBE], {"outer_radius": 30}, "outer_radius = 30 m is above the limit of 5 m: meant 30 mm?"),
    ([TUBE, TUBE], {}, "2 parts are named tube"),
    ([], {}, "parts is empty"),
])
def test_parts_that_are_no_strip(parts, radii, message):
    with pytest.raises(geo.GeometryError) as caught:
        geo.AxialStrip(parts, **radii)
    assert message in str(caught.value)


def test_polyline_section_is_no_strip():
    wedge = geo.Part("wedge", "wedge", (geo.Zone("wedge", polyline([(0.1, 0.0), (0.2, 0.0), (0.1, 0.1)])),))
    with pytest.raises(geo.GeometryError, match="wedge"):
        geo.AxialStrip([wedge])


# ---- imports -----------------------------------------------------------------------------------------------------

def test_import_is_light():
    code = ("import sys, geometries as g; g.CrossSection([g.solenoid(turns=8, bore_radius=.0156, wire_diameter=.003, pitch=.0033), "
            "g.disc(radius=.015, thickness=.002)]); print(*{'gmsh', 'scipy', 'shapely', 'fieldsolve'} & set(sys.modules))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
