"""A shot: eight turns squeeze a copper blank; its section, its trace, and what a calliper measures afterwards."""
# %% [markdown]
# # A shot, from the case file to the blank on the bench
#
# The case is `blank_press.toml` of the made-up workshop; every number in it is invented. The bank is
# charged to 5.8 kV. `with_values` changes a case by its own keys: here the record ends after 45 us,
# when the blank has come to rest, and the accuracy is that of a first look.

# %%
import matplotlib.pyplot as plt

import fieldsolve as fs

case = fs.read_case("benchmarks/rigs/blank_press.toml").with_values({"run.end_time": "45 us", "run.accuracy": 3e-2})
shot = fs.solve_case(case)

# %% [markdown]
# The summary says the most important things first. In a notebook `shot` alone in a cell shows it.

# %%
print(shot.summary())

# %% [markdown]
# Every quantity is a series over `shot.times`, and a peak knows its time and its error bound. The
# thickness at the rim alone misleads: the blank is thicker further in, so ask for its dimensions.

# %%
current = shot.peak("current", "coil")
dimensions = shot.dimensions("disc")
print(f"{1e-3 * current:.1f} kA at {1e6 * current.time:.1f} us, within {current.error:.0f} A")
print(f"largest thickness {1e3 * dimensions.largest_thickness:.2f} mm at {1e3 * dimensions.largest_thickness_radius:.1f} mm from the axis,",
      f"over the rim's tenth {1e3 * dimensions.rim_thickness:.2f} mm")

# %% [markdown]
# Each drawing takes axes and returns them. `shot.animate()` plays the shot in a notebook,
# `shot.plot_blank()` shows the blank in the round.

# %%
figure = plt.figure(figsize=(11.0, 6.4), layout="constrained")
upper, lower = figure.subfigures(2, 1, height_ratios=(1, 1.15))
left, right = upper.subfigures(1, 2, width_ratios=(1.35, 1))
shot.plot_dimensions(ax=left.subplots())
shot.plot_blank(ax=right.subplots(1, 2, subplot_kw={"projection": "3d", "computed_zorder": False}))
first, second = lower.subplots(1, 2)
shot.plot_probes(ax=first)
shot.plot_force(ax=second)
