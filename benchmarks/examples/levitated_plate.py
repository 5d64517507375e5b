"""A plate that two coils throw up and let float: computed against the published measured curve."""
# %% [markdown]
# # The levitated plate against the measured curve
#
# Two coils in opposition carry 20 A at 50 Hz from the time 0 on. The plate of aluminium above them
# jumps, bounces and comes to float. The curve was measured at Stuttgart (Karl and others 1997; see
# `benchmarks/reference/levitation.toml` for the source and what was inferred). The record starts
# before the current does, so it is shifted by the time that fits best. This one takes minutes.

# %%
import matplotlib.pyplot as plt
import numpy as np

from benchmarks.cases import REFERENCE
from benchmarks.levitation import flight

times, height, residual = flight()
record = 1e-3 * np.loadtxt(REFERENCE / "levitation_measured.csv", delimiter=",", comments=("#", "t_ms"))

# %%
shifts = np.linspace(0.0, 0.015, 31)
errors = [np.sqrt(np.mean((np.interp(record[:, 0] - shift, times, height) - record[:, 1]) ** 2)) for shift in shifts]
shift, rms = shifts[np.argmin(errors)], min(errors)
print(f"root mean square difference {1e3 * rms:.2f} mm with the record shifted by {1e3 * shift:.1f} ms;",
      f"energy not explained {residual:.2g}")

# %%
figure, ax = plt.subplots(figsize=(9.0, 4.2), layout="constrained")
ax.plot(times, 1e3 * height, color="black", linewidth=0.9, label="computed, with the ripple of the current")
ax.plot(record[:, 0] - shift, 1e3 * record[:, 1], "o", color="black", markerfacecolor="white", markersize=4, label="measured")
ax.set(xlabel="time [s]", ylabel="height over the coils [mm]", xlim=(0, times[-1]), ylim=(0, None))
ax.legend(frameon=False)
ax.spines[["top", "right"]].set_visible(False)
