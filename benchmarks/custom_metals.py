"""Cases of our own: how each setup of reference/own.toml becomes a field."""
from __future__ import annotations

from collections.abc import Iterable, Iterator

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.closed_forms import eddy
from benchmarks.runner import run_file


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of our own, or of those named."""
    return run_file("custom_metals.toml", FIELDS, FORMULAS, only)


def clad_disc(setup, accuracy):
    """Loss of each layer, and the disc's sheet conductance from the sum."""
    metals = [fs.Material(conductivity=sigma) for sigma in setup["sigma_S_per_m"]]
    disc = geo.clad_disc(radius=setup["radius_m"], layers=list(zip(setup["thickness_m"], metals, strict=True)), name="disc")
    field = fs.solve_harmonic(geo.CrossSection([disc]), setup["frequency_Hz"], applied_field=setup["B0_peak_T"], accuracy=accuracy)
    of_one_siemens = eddy.disc_low_frequency_loss(setup["radius_m"], 1.0, 1.0, setup["frequency_Hz"], setup["B0_peak_T"])
    return {
        "loss_W": [field.loss("disc", zone.name) for zone in disc.zones],
        "sheet_conductance_S": field.loss("disc") / of_one_siemens,
    }


FIELDS = {"clad-disc-parallel-layers": clad_disc}
FORMULAS = {}
