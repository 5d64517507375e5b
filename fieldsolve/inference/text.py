"""What a trace tells, on one screen and as plain data for JSON."""
from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from fieldsolve.caution import CAUTION
from fieldsolve.estimate import Interval
from fieldsolve.inference.statistics.misfit import MisfitTest
from fieldsolve.screen import column_lines, wrapped_lines
from fieldsolve.units import display

STRONG = 0.8                # correlation, from which on two parameters are hardly distinguished
NOTHING = 0.8               # of the prediction's band: a record that leaves more determines nothing
FROM_PRIOR = 0.9            # of a parameter's prior: the same of a parameter
FAR = 2.5                   # standard deviations of its prior, beyond which a parameter is far from what was known
ROWS = 9                    # instants in the table
LABELS = {"start_time": "start of the current", "offset": "offset of the record", "gain": "gain of the record"}


def radius_text(seen) -> str:
    """One screen: verdict, radius over time beside the prediction, parameters, the model's errors, what it took."""
    return "\n".join([*wrapped_lines(f"Radius of {seen.part} from {seen.record_name}, case {seen.case}"), *sentences(verdicts(seen)), "",
                      *column_lines(_instants(seen)), "", *_parameter_lines(seen), "", *_notes(seen), *wrapped_lines(CAUTION)])


def sentences(texts: Iterable[str]) -> list[str]:
    """Indented lines of a screen, of each text its own."""
    return [line for text in texts for line in wrapped_lines(text, "  ", "    ")]


def _instants(seen) -> list[tuple[str, ...]]:
    """Rows of the radius over time beside the prediction, below their headings."""
    count = len(seen.times)
    instants = sorted({round(k * (count - 1) / (ROWS - 1)) for k in range(ROWS)})
    return [("time", "radius", "95 % band", "speed", "predicted", "95 % band"), *(
        (display(seen.times[n], "s", 3), display(seen.radius[n], "m", 4), _ends(seen.low[n], seen.high[n]),
         display(seen.speed.values[n], "m/s", 3), display(seen.prediction.values[n], "m", 4),
         _ends(seen.prediction.low[n], seen.prediction.high[n])) for n in instants)]


def verdicts(seen) -> list[str]:
    """Sentences: what the record determines, whether the model serves, what else a reader must know."""
    found = [_determination(seen)]
    found.append(misfit_verdict(seen.misfit, seen.current_error, seen.motion_error))
    for name, shift in seen.shifts.items():
        if abs(shift) > FAR:
            found.append(f"{name} comes out {abs(shift):.1f} standard deviations of its prior away: the prior, or the model, is wrong")
    if seen.interrupted:
        found.append("INTERRUPTED: the best so far, from coarse shots; its band lacks their numerical error")
    elif not seen.settled:
        found.append("the iterations did not settle: the parameters still moved at the last one")
    return found


def misfit_verdict(misfit: MisfitTest, current: float, motion: float) -> str:
    """Whether the record contradicts the model; if not, what it would have shown."""
    if misfit.contradicts:
        return (f"MISFIT: the model does not explain the record to its noise (probability {misfit.p_value:.2g}): its current errs by about "
                f"{100 * current:.2g} % of the peak, its push and flow stress by about {100 * motion:.2g} %; the band allows for that")
    blind = f"{_size(misfit.current)} of the current's peak, or {_size(misfit.motion)} of push and flow stress"
    if misfit.doubtful:
        return f"DOUBT: a right model leaves a record like this in {100 * misfit.p_value:.0f} of 100 cases; errors of the model below " \
               f"{blind} mostly stay unseen"
    return f"the record does not contradict the model (probability {misfit.p_value:.2g}); errors of the model below {blind} mostly stay " \
           "unseen, and the band allows for them"


def _size(share: float) -> str:
    return f"{100 * share:.2g} %" if math.isfinite(share) else "any size"


def _determination(seen) -> str:
    if seen.held:
        return f"{seen.part} is held still in the case: the record determines nothing of its radius"
    share = seen.determination
    half = 100 * float(seen.band.half_width[-1]) / float(seen.radius[-1])
    if share > NOTHING:
        return (f"the record determines NOTHING of the radius: the band, +- {half:.2g} % at the end, is {100 * share:.0f} % as wide as "
                "without it")
    return (f"final radius {display(float(seen.radius[-1]), 'm', 4)} +- {half:.2g} %; the record narrows the band to "
            f"{100 * share:.0f} % of what the case alone predicts")


def _parameter_lines(seen) -> list[str]:
    rows = [("parameter", "value", "95 % interval", "before", "width")]
    for name, interval in seen.parameters.items():
        prior = seen.priors.get(name)
        before = (_ends(prior.low, prior.high, prior.unit), _left(interval, prior)) if prior else ("", "")
        rows.append((LABELS.get(name, name), display(interval.value, interval.unit, 4), _ends(interval.low, interval.high, interval.unit),
                     *before))
    return [*column_lines(rows), *correlation_lines(seen.correlations)]


def correlation_lines(correlations: Mapping[tuple[str, str], float]) -> list[str]:
    """The pairs of parameters that the data hardly tell apart; no line where there are none."""
    strong = [f"{one} and {other} {value:+.2f}" for (one, other), value in correlations.items() if abs(value) > STRONG]
    return sentences([f"hardly distinguished (correlation): {'; '.join(strong)}"]) if strong else []


def _left(interval: Interval, prior: Interval) -> str:
    share = width_share(interval, prior)
    return "not determined" if share > FROM_PRIOR else f"{100 * share:.0f} %"


def width_share(interval: Interval, prior: Interval) -> float:
    """Width of an interval over that of the prior's."""
    return (interval.high - interval.low) / (prior.high - prior.low)


def _notes(seen) -> list[str]:
    peak = float(abs(seen.current.values).max()) or 1.0
    notes = [f"time is counted from the start of the current, which the record has at {display(seen.parameters['start_time'].value, 's')}",
             f"noise {100 * seen.noise / peak:.2g} % of the peak in means of {seen.block} samples; expected error of the model: current "
             f"{100 * seen.current_error:.2g} % of its peak, push and flow stress {100 * seen.motion_error:.2g} %",
             f"{seen.runs} shots in {seen.cost:.0f} s of processor time, one at full accuracy takes {seen.shot_cost:.0f} s",
             *seen.remarks]
    return sentences(notes)


def _ends(low: float, high: float, unit: str = "m") -> str:
    return f"{display(low, unit, 4)} to {display(high, unit, 4)}"


def radius_facts(seen) -> dict[str, Any]:
    """Everything but the traces: floats, text and None, never NaN."""
    return {
        "case": seen.case, "record": seen.record_name, "record_sha256": seen.record_sha256, "part": seen.part, "coil": seen.coil,
        "held": seen.held, "verdicts": verdicts(seen), "time_s": seen.times.tolist(), "radius_m": seen.radius.tolist(),
        "low_m": seen.low.tolist(), "high_m": seen.high.tolist(), **_band_facts("speed_m_per_s", seen.speed),
        **_band_facts("coil_stretch", seen.coil_stretch), **_band_facts("predicted_radius_m", seen.prediction),
        "numerical_error_m": seen.numerical_error.tolist(), "determination": seen.determination,
        "parameters": {name: interval_facts(interval) for name, interval in seen.parameters.items()},
        "priors": {name: interval_facts(interval) for name, interval in seen.priors.items()},
        "correlations": {f"{one}, {other}": value for (one, other), value in seen.correlations.items()},
        "noise_A": seen.noise, "samples_per_mean": seen.block, "current_error": seen.current_error, "motion_error": seen.motion_error,
        "misfit": misfit_facts(seen.misfit),
        "shots": seen.runs, "processor_time_s": seen.cost, "processor_time_of_one_shot_s": seen.shot_cost,
        "settled": seen.settled, "interrupted": seen.interrupted, "remarks": list(seen.remarks),
    }


def _band_facts(name: str, band) -> dict[str, list[float]]:
    return {name: band.values.tolist(), f"{name}_low": band.low.tolist(), f"{name}_high": band.high.tolist()}


def misfit_facts(misfit: MisfitTest) -> dict[str, float | None]:
    """The test of misfit; None for an error that no record shows."""
    return {"p_value": misfit.p_value, **{f"detectable_{name}_error": value if math.isfinite(value) else None for name, value in (
        ("current", misfit.current), ("motion", misfit.motion))}}


def interval_facts(interval: Interval) -> dict[str, Any]:
    """Value, ends and unit."""
    return {"value": interval.value, "low": interval.low, "high": interval.high, "unit": interval.unit}
