"""The blank seen through its trace: its radius over time from the record of the current alone."""
# %% [markdown]
# # The blank, seen through its trace
#
# Nobody sees into the coil. But a shrinking blank changes the inductance that the bank sees, so the
# current's record carries its radius. The priors say how well the workshop knows the rest. The record
# is invented; it is of a shot of another mesh, with values that the case does not know.

# %%
import matplotlib.pyplot as plt
import numpy as np

import fieldsolve as fs
from benchmarks.inference import synthetic

rng = np.random.default_rng(3)
case, secret = synthetic.rig_case("small", "aluminium"), synthetic.hidden(rng)
truth = synthetic.true_run(case, secret, "same")
record = synthetic.record_of(truth, secret.gain, rng)

# %%
seen = fs.radius_from_trace(case, record, part="disc", prior=synthetic.PRIOR)
print(seen.report())

# %%
figure, (left, right) = plt.subplots(1, 2, figsize=(10.6, 4.2), layout="constrained")
current = record.channel("current")
left.plot(1e6 * record.times, 1e-3 * current, color="0.45", linewidth=0.6)
left.set(xlabel="time [µs]", ylabel="recorded current [kA]")
right.fill_between(1e6 * seen.times, 1e3 * seen.low, 1e3 * seen.high, color="0.85", label="95 % band")
right.plot(1e6 * seen.times, 1e3 * seen.radius, color="black", label="radius from the trace")
right.plot(1e6 * truth.times, 1e3 * truth.series["radius"], color="black", linestyle="--", label="true radius")
right.set(xlabel="time [µs]", ylabel="radius of the disc [mm]", xlim=(0, None))
right.legend(frameon=False)
for ax in (left, right):
    ax.spines[["top", "right"]].set_visible(False)
