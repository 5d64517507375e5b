"""A steel blank through saturation: how current, field and force change when the steel lets go of the flux."""
# %% [markdown]
# # A steel blank, through saturation
#
# Mild steel in the workshop's coil. While its permeability is high the blank draws flux in; from
# about 2 T on it is full, and what is left is a poor conductor. The discharge shows both: compare
# it with the same blank as if it were not magnetic. The metal is held still.

# %%
import matplotlib.pyplot as plt

import fieldsolve as fs
import geometries as geo
from fieldsolve.report.plots.styles import LINE_STYLES

steel = fs.material("steel 1010")
coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=fs.material("copper"))
metals = {"steel 1010": steel, "not magnetic": fs.Material(conductivity=steel.conductivity)}
bank = fs.Bank(capacitance=120e-6, voltage=300.0, resistance=6e-3, inductance=300e-9)

# %%
shots = {}
for name, metal in metals.items():
    blank = geo.disc(radius=15e-3, thickness=2e-3, name="blank", material=metal)
    shots[name] = fs.solve_shot(geo.CrossSection([coil, blank]), bank, end_time=80e-6, motion=False, heating=False, accuracy=3e-2,
                                error_bounds=False)
peaks = {name: float(shot.peak("current", "coil")) for name, shot in shots.items()}
print({name: f"{1e-3 * peak:.2f} kA" for name, peak in peaks.items()})

# %%
figure, axes = plt.subplots(1, 3, figsize=(11.0, 3.8), layout="constrained")
for (name, shot), (line, shade) in zip(shots.items(), LINE_STYLES, strict=False):
    for ax, (quantity, place, scale) in zip(axes, (("current", "coil", 1e-3), ("current", "blank", 1e-3), ("radial_force", "blank", 1.0)),
                                            strict=True):
        ax.plot(1e6 * shot.times, scale * shot.series(quantity, place), linestyle=line, color=shade, label=name)
for ax, label in zip(axes, ("current of coil [kA]", "net current of blank [kA]", "radial force on the blank [N],\ninward negative"),
                     strict=True):
    ax.axhline(0.0, color="0.6", linewidth=0.6)
    ax.set(xlabel="time [µs]", ylabel=label, xlim=(0, 80))
    ax.spines[["top", "right"]].set_visible(False)
axes[0].legend(frameon=False)
