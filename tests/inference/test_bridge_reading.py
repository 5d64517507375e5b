"""A bridge's reading at the empty coil is data: it decides the pitch as wound, which the trace does not."""
import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.rig.coil import empty_inductance
from tests.inference.lumped_press import TABLES

SMALL = {"coil": {**TABLES["coil"], "turns": 3, "wire_diameter": "4 mm", "pitch": "4.6 mm"},
         "disc": {**TABLES["disc"], "thickness": "4 mm"}, "bank": TABLES["bank"],
         "run": {"end_time": "6 us", "motion": False, "heating": False, "accuracy": 0.1}}


@pytest.mark.slow
def test_the_pitch_comes_from_the_bridge():
    """The coil was wound 3 % wider than drawn; the bridge's reading is all but exact."""
    case = fs.read_case(SMALL)
    wound = case.with_values({"coil.pitch": 1.03 * 4.6e-3})
    reading = empty_inductance(wound.section, (wound.section.part("coil"),), 1e-3)
    record = fs.Record(times=np.linspace(0, 6e-6, 200), values={"current": np.linspace(0, 4e4, 200)})
    found = fs.calibrate([case], [record], parameters={"coil.pitch": 0.03},
                         measured=[{"inductance of coil empty": (reading, 1e-5 * reading)}])
    assert found.parameters["coil.pitch"].value == pytest.approx(1.03 * 4.6e-3, rel=4e-3)


def test_an_unknown_coil_is_refused():
    with pytest.raises(InputError, match="no such coil"):
        fs.calibrate([fs.read_case(SMALL)], [fs.Record(times=np.linspace(0, 6e-6, 200), values={"current": np.linspace(0, 4e4, 200)})],
                     parameters={"coil.pitch": 0.03}, measured=[{"inductance of coli empty": (1e-6, 1e-9)}])
