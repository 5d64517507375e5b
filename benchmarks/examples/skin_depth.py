"""Skin depth across alloys: how deep the field of a pulse reaches into a blank, and what the blank then carries."""
# %% [markdown]
# # Skin depth across alloys
#
# A discharge that rings at 12 kHz pushes its field into the rim of a blank. How deep? In copper
# less than in aluminium, in bronze a good deal more than the blank is thick.

# %%
import matplotlib.pyplot as plt
import numpy as np

import fieldsolve as fs
import geometries as geo
from fieldsolve.report.plots.styles import LINE_STYLES

METALS = ("copper", "aluminium 1100-O", "brass C260", "cupronickel 75/25", "stainless 304")
metals = {name: fs.material(name) for name in METALS}
RINGING = 12e3                  # hertz
THICKNESS = 2e-3                # metres, of the blank

# %%
frequencies = np.geomspace(1e3, 100e3, 41)
depths = {name: np.array([fs.skin_depth(frequency=frequency, conductivity=metal.conductivity) for frequency in frequencies])
          for name, metal in metals.items()}
at_ringing = {name: fs.skin_depth(frequency=RINGING, conductivity=metal.conductivity) for name, metal in metals.items()}
for name, depth in at_ringing.items():
    print(f"{name:20s} {1e3 * depth:5.2f} mm at 12 kHz")

# %% [markdown]
# The same as fields: a blank of 30 mm in the workshop's coil, at 12 kHz. Where the skin is thin the
# blank keeps the field out, and the current runs in its rim.

# %%
coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=metals["copper"])
shares = {}
for name, metal in metals.items():
    blank = geo.disc(radius=15e-3, thickness=THICKNESS, material=metal, name="blank")
    field = fs.solve_harmonic(geo.CrossSection([coil, blank]), frequency=RINGING, currents={"coil": 1.0}, accuracy=1e-2)
    r = np.linspace(0.0, 14.999e-3, 61)
    shares[name] = r, np.abs(field.current_density(r, np.zeros_like(r))), abs(field.net_current("blank"))

# %%
figure, (left, right) = plt.subplots(1, 2, figsize=(10.2, 4.4), layout="constrained")
for (name, depth), (line, shade) in zip(depths.items(), LINE_STYLES, strict=False):
    r, density, current = shares[name]
    left.loglog(1e-3 * frequencies, 1e3 * depth, linestyle=line, color=shade)
    left.annotate(name, (100.0, 1e3 * depth[-1]), (4, 0), textcoords="offset points", va="center")
    right.plot(1e3 * r, 1e-6 * density, linestyle=line, color=shade, label=f"{name}: {current:.2f} A in all")
left.axhline(1e3 * THICKNESS, color="0.6", linewidth=0.8)
left.annotate("thickness of the blank", (100.0, 1e3 * THICKNESS), (4, 0), textcoords="offset points", color="0.35", va="center")
left.axvline(1e-3 * RINGING, color="0.6", linewidth=0.8)
left.annotate("the press", (1e-3 * RINGING, 14.0), (4, 0), textcoords="offset points", color="0.35", va="top")
left.set(xlabel="frequency [kHz]", ylabel="skin depth [mm]", xlim=(1, 100))
left.set_xticks([1, 10, 100], ["1", "10", "100"])
left.set_yticks([0.2, 0.5, 1, 2, 5, 10], ["0.2", "0.5", "1", "2", "5", "10"])
left.minorticks_off()
right.set(xlabel="r [mm], at half the blank's thickness", ylabel="|J| for 1 A in each turn [A/mm²]", xlim=(0, 15), ylim=(0, None))
right.legend(frameon=False, loc="upper left")
for ax in (left, right):
    ax.spines[["top", "right"]].set_visible(False)
