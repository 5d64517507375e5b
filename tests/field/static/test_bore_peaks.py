"""The largest field in a bore whose end cuts through what stands inside."""
import pytest

import fieldsolve as fs
import geometries as geo

OUTER = {"inner_radius": 19.15e-3, "outer_radius": 21.51e-3, "height": 14.57e-3, "turns": 20}
INNER = {"inner_radius": 9.526e-3, "outer_radius": 14.01e-3, "height": 3.15e-3, "turns": 10, "name": "inner"}


@pytest.mark.parametrize("at", [7.34e-3, -7.34e-3])
def test_field_is_read_where_a_winding_leaves_the_bore(at):
    """It rises along the inner winding's surface towards the end of the outer coil's bore, in the middle of an edge of a triangle."""
    section = geo.CrossSection([geo.winding(**OUTER), geo.winding(**INNER, at=at)])
    field, reference = (fs.solve_static(section, {"coil": 1.0, "inner": 2.0}, accuracy=accuracy, goals="peak bore of coil")
                        for accuracy in (1e-3, 1e-5))
    peak, exact = field.peak_field("bore of coil"), reference.peak_field("bore of coil")
    assert (peak.r, abs(peak.z)) == pytest.approx((9.526e-3, 7.285e-3), rel=1e-6)
    assert abs(peak - exact) <= peak.error + exact.error
