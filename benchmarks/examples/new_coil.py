"""The field of a new coil: where it is largest, how even it is on the axis, and how far to believe the numbers."""
# %% [markdown]
# # The field of a new coil
#
# The made-up workshop wants to press blanks of 30 mm. Eight turns of 3 mm wire are to go round a
# bore of 31.2 mm. How strong is the field, where is it strongest, and what is the inductance?

# %%
import matplotlib.pyplot as plt

import fieldsolve as fs
import geometries as geo

copper = fs.material("copper")
coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=copper)
section = geo.CrossSection([coil])

# %% [markdown]
# Currents are in ampere per turn. The field at rest is proportional to the current, so 1 kA serves
# for every current. `accuracy` bounds the relative error of every result below.

# %%
field = fs.solve_static(section, currents={"coil": 1000.0}, accuracy=1e-3)
peak = field.peak_field("bore")
inductance = field.inductance("coil")
print(field)
print("peak in the bore:", peak)
print("inductance:", inductance)

# %% [markdown]
# The field is strongest beside a turn, not at the centre: a blank that nearly fills the bore sees
# more at its rim than the axis does. The last picture shows how the error bounds fell from mesh to
# mesh until all of them were below the accuracy.

# %%
figure = plt.figure(figsize=(11.0, 5.6), layout="constrained")
grid = figure.add_gridspec(2, 2, width_ratios=(1, 1.1))
field.plot(ax=figure.add_subplot(grid[:, 0]))
axis = field.plot_axis(ax=figure.add_subplot(grid[0, 1]))
convergence = field.plot_convergence(ax=figure.add_subplot(grid[1, 1]))
