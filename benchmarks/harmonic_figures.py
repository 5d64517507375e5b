"""Figures of the time-harmonic group."""
from __future__ import annotations

import numpy as np

from benchmarks import harmonic
from benchmarks.closed_forms import eddy
from benchmarks.figures import Panel, curve

ACCURACY = 5e-4     # of every solve here


def wire() -> tuple[Panel, Panel]:
    """Resistance and internal inductance of a round wire."""
    x, fine = np.geomspace(0.5, 100.0, 17), np.geomspace(0.5, 100.0, 400)
    resistance, inductance = harmonic.wire(x, ACCURACY)
    risen = curve("$R / R_{dc}$", x, resistance, lambda x: eddy.wire_impedance_ratio(x).real, fine=fine)
    fallen = curve("$L / L_{dc}$", x, inductance, eddy.wire_inductance_ratio, fine=fine)
    label = r"wire radius $\times \sqrt{\omega \mu_0 \sigma}$ (1)"
    return (
        Panel("Round wire: resistance", label, "ratio to direct current (1)", "closed form", (risen,), ("log", "log"), ACCURACY),
        Panel("Round wire: internal inductance", label, "ratio to direct current (1)", "closed form", (fallen,), ("log", "log"), ACCURACY),
    )


def cylinder() -> tuple[Panel]:
    """Effective permeability of a long cylinder."""
    q, fine = np.geomspace(0.5, 100.0, 17), np.geomspace(0.5, 100.0, 400)
    mean, _ = harmonic.cylinder(q, ACCURACY)
    scale = np.abs(eddy.cylinder_effective_permeability(q))
    curves = (
        curve("real part", q, mean.real, lambda q: eddy.cylinder_effective_permeability(q).real, scale, fine),
        curve("$-$ imaginary part", q, -mean.imag, lambda q: -eddy.cylinder_effective_permeability(q).imag, scale, fine),
    )
    labels = r"radius$^2 \times \omega \mu_0 \sigma$ (1)", "mean B / field applied (1)", "its modulus"
    return (Panel("Long cylinder in an axial field", *labels, curves, ("log", "linear"), ACCURACY),)


def loop_over_plate() -> tuple[Panel, Panel, Panel]:
    """What a thick copper plate does to a loop 2 mm above it."""
    radius, height, conductivity = 0.010, 0.002, 5.8e7
    frequencies, fine = np.geomspace(50.0, 1e5, 12), np.geomspace(50.0, 1e5, 100)
    fields = harmonic.loop_over_plate(radius, height, conductivity, frequencies.tolist(), ACCURACY)

    def panel(title, y_label, symbol, name, unit, found, y_scale="log"):
        def closed_form(frequency):
            return unit * np.array([getattr(eddy.loop_over_plate(radius, height, conductivity, f), name) for f in frequency])

        shown = curve(symbol, frequencies, unit * np.array(found), closed_form, fine=fine)
        return Panel(title, "frequency (Hz)", y_label, "closed form", (shown,), ("log", y_scale), ACCURACY)

    return (
        panel("Loop of 10 mm radius, 2 mm over copper: inductance", "drop of inductance (nH)", r"$-\Delta L$", "inductance_change", -1e9,
              [field.inductance_change("loop") for field in fields], "linear"),
        panel("The same: resistance", r"rise of resistance ($\mu\Omega$)", r"$\Delta R$", "resistance_change", 1e6,
              [field.resistance_change("loop") for field in fields]),
        panel("The same: mean repulsion", r"force at 1 A peak ($\mu$N)", "$F_z$", "repulsion", 1e6,
              [field.axial_force("loop") for field in fields]),
    )


FIGURES = {
    "wire": wire,
    "cylinder": cylinder,
    "loop_over_plate": loop_over_plate,
}
