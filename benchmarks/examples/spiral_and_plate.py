"""A flat spiral throws a plate: how high its crown stands, and how fast it came there."""
# %% [markdown]
# # A spiral over a plate
#
# A flat coil of seven turns lies under an aluminium plate. The field pushes the plate away where
# the turns are; its middle and its rim follow late, so it bulges.

# %%
import matplotlib.pyplot as plt

import fieldsolve as fs
import geometries as geo

spiral = geo.spiral(turns=7, inner_radius=5e-3, wire_section=(2.5e-3, 4e-3), pitch=3e-3, at=-3.5e-3, material=fs.material("copper"))
plate = geo.plate(radius=30e-3, thickness=1.5e-3, name="plate", material=fs.material("aluminium 1100-O"))
bank = fs.Bank(capacitance=120e-6, voltage=3e3, resistance=6e-3, inductance=300e-9, arc_voltage=80.0)

# %%
shot = fs.solve_shot(geo.CrossSection([spiral, plate]), bank, end_time=50e-6, accuracy=3e-2, error_bounds=False)
force = shot.peak("axial_force", "plate")
crown = 1e3 * shot.series("crown_height", "plate")
speed = shot.peak("speed", "plate")
print(f"axial force {1e-3 * force:.0f} kN at {1e6 * force.time:.1f} us, crown {crown[-1]:.2f} mm, fastest {speed:.0f} m/s")

# %%
figure = plt.figure(figsize=(10.6, 4.9), layout="constrained")
upper, lower = figure.subfigures(2, 1, height_ratios=(1, 1.25))
shot.plot_sections(ax=upper.subplots(1, 3, sharey=True))
left, right = lower.subplots(1, 2)
shot.plot_force(ax=left)
right.plot(1e6 * shot.times, crown, color="black")
right.set(xlabel="time [µs]", ylabel="crown over the rim [mm]", xlim=(0, 50), ylim=(0, None))
right.spines[["top", "right"]].set_visible(False)
