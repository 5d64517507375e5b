"""A thin can crushed: how far a short coil pinches the waist of an aluminium tube."""
# %% [markdown]
# # A thin can, crushed
#
# The made-up workshop pinches an aluminium can of 30 mm and 0.15 mm wall with five turns. A shot is
# axisymmetric: real cans fold into wrinkles, which this does not show. What it does show is where
# the waist is, how fast it gets there, and how long the wall stands the heat.

# %%
import matplotlib.pyplot as plt

import fieldsolve as fs
import geometries as geo

can = geo.tube(inner_radius=14.85e-3, wall=0.15e-3, length=40e-3, name="can", material=fs.material("aluminium 1100-O"))
coil = geo.solenoid(turns=5, bore_radius=16.0e-3, wire_diameter=2.0e-3, pitch=2.2e-3, material=fs.material("copper"))
bank = fs.Bank(capacitance=100e-6, voltage=2.2e3, resistance=6e-3, inductance=300e-9, arc_voltage=80.0)

# %%
shot = fs.solve_shot(geo.CrossSection([coil, can]), bank, end_time=40e-6, accuracy=3e-2, error_bounds=False)
waist = 1e3 * shot.series("waist_outer_radius", "can")
speed = shot.peak("speed", "can")
print(f"waist from {waist[0]:.2f} to {waist[-1]:.2f} mm, fastest {speed:.0f} m/s at {1e6 * speed.time:.1f} us")

# %%
figure = plt.figure(figsize=(10.6, 4.8), layout="constrained")
left, right = figure.subfigures(1, 2, width_ratios=(1.5, 1))
shot.plot_sections(ax=left.subplots(1, 3, sharey=True))
upper, lower = right.subplots(2, 1, sharex=True)
upper.plot(1e6 * shot.times, waist, color="black")
upper.set(ylabel="radius at the waist [mm]")
lower.plot(1e6 * shot.times, 1e-3 * shot.series("current", "coil"), color="black")
lower.set(xlabel="time [µs]", ylabel="current of coil [kA]", xlim=(0, 40))
for ax in (upper, lower):
    ax.spines[["top", "right"]].set_visible(False)
