"""Washer, and ring with core: the same outer size and coil, what the hole and what two metals do to current and push."""
# %% [markdown]
# # Washer, ring and core
#
# Three blanks of 30 mm in the workshop's coil: a full disc of brass, a washer of brass, and a brass
# ring round a copper core. At 12 kHz, where the press rings, the current runs within two skin
# depths of the rim, and what is further in hardly matters. At 500 Hz it does: the washer carries
# less, the core more.

# %%
import matplotlib.pyplot as plt

import fieldsolve as fs
import geometries as geo

FREQUENCIES = (500.0, 12e3)     # hertz: of a slow bank, and near that of the press
CURRENT = 20e3                  # ampere in each turn, peak
copper, brass = fs.material("copper"), fs.material("brass C260")
coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=copper)
size = {"radius": 15e-3, "thickness": 2e-3, "name": "blank"}
blanks = {
    "disc": geo.disc(**size, material=brass),
    "washer": geo.washer(**size, hole_radius=9e-3, material=brass),
    "ring and core": geo.ring_and_core(**size, core_radius=9e-3, ring=brass, core=copper),
}

# %%
sweeps = {name: fs.solve_harmonic(geo.CrossSection([coil, blank]), frequency=FREQUENCIES, currents={"coil": CURRENT}, accuracy=1e-2)
          for name, blank in blanks.items()}
currents = {name: [abs(field.net_current("blank")) for field in sweep] for name, sweep in sweeps.items()}
forces = {name: [float(field.radial_force("blank")) for field in sweep] for name, sweep in sweeps.items()}
for name in blanks:
    for frequency, current, force in zip(FREQUENCIES, currents[name], forces[name], strict=True):
        print(f"{name:14s} at {frequency:7g} Hz: {1e-3 * current:5.1f} kA, mean radial force {1e-3 * force:6.2f} kN")

# %%
box = (0.0, 20e-3, -4e-3, 4e-3)
figure, axes = plt.subplots(3, 2, figsize=(10.6, 9.0), layout="constrained")
for row, (name, sweep) in zip(axes, sweeps.items(), strict=True):
    for ax, field, current, force in zip(row, sweep, currents[name], forces[name], strict=True):
        field.plot_currents(ax=ax, extent=box)
        ax.get_legend().remove()
        ax.set_title(f"{name} at {1e-3 * field.frequency:g} kHz:\n{1e-3 * current:.1f} kA, mean push {-1e-3 * force:.2f} kN inward",
                     fontsize="medium")
