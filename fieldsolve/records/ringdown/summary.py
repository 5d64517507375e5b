"""A ring-down fit as text, as facts for JSON, and the bank's table of a case file."""
from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.estimate import Interval
from fieldsolve.screen import wrapped_lines
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.records.ringdown.half_waves import HalfWaves

LABELS = {"inductance": "inductance", "resistance": "resistance", "arc_voltage": "arc voltage", "initial_voltage": "initial voltage",
          "gain": "gain of the record", "arc_ratio": "arc over initial voltage", "start_time": "start of the current", "offset": "offset",
          "droop_rate": "droop of the instrument", "frequency": "ring frequency", "capacitance": "capacitance"}
LOOP = ("inductance", "resistance", "arc_voltage")
MOST_HALF_WAVES = 12              # that are listed
BANK_REMEDY = "a ring-down gives the loop: for the bank's own take the short or the coil off with load="


def ring_down_summary(fit) -> str:
    """The whole fit as lines of text."""
    return "\n".join([*_title(fit), *_rows(fit), "", *_noise(fit), *_half_wave_lines(fit), *_arc_law(fit), *_bank_lines(fit),
                      *_cautions(fit), "", *wrapped_lines(CAUTION)])


def ring_down_facts(fit) -> dict[str, Any]:
    """For JSON, SI units; None where the record does not determine a number."""
    names = list(fit.parameters)
    return {
        "records": [trace.name for trace in fit.traces],
        "capacitance_F": fit.capacitance[0], "u_capacitance_F": fit.capacitance[1],
        "of": "bank" if fit.bank else "loop",
        "parameters": {name: _interval_facts(interval) for name, interval in fit.parameters.items()},
        "bank": {name: _interval_facts(interval) for name, interval in fit.bank.items()},
        "load": None if fit.load is None else {"text": fit.load.text, "resistance_ohm": fit.load.resistance,
                                               "inductance_H": fit.load.inductance, "u_resistance_ohm": fit.load.resistance_uncertainty,
                                               "u_inductance_H": fit.load.inductance_uncertainty},
        "correlations": {f"{one}, {other}": fit.correlation(one, other) for k, one in enumerate(names) for other in names[k + 1:]
                         if one in LOOP or other in LOOP},
        "noise_A": fit.noise, "correlated_samples": fit.correlated_samples,
        "half_waves": [_half_wave_facts(test) for test in fit.half_waves],
        "warnings": list(fit.warnings), "remarks": list(fit.remarks),
    }


def bank_table(fit) -> str:
    """The table [bank] of a case file, ready to paste; empty where no load was taken off."""
    if not fit.bank:
        return ""
    value, uncertainty = fit.capacitance
    capacitance = Interval.normal(value, uncertainty, "F") if uncertainty else Interval(value, value, value, "F")
    entries = {"capacitance": capacitance, **fit.bank}
    if "arc_voltage" in fit.parameters:
        entries["arc_voltage"] = fit.parameters["arc_voltage"]
    return "\n".join(["[bank]", *(_table_line(name, interval) for name, interval in entries.items()),
                      '# voltage = "..."          # the charge of the shot'])


def _table_line(name: str, interval: Interval) -> str:
    if interval.value is None or not interval.determined:
        return f"# {name}: not determined by the record"
    if interval.value < 0:
        return f"# {name} = {display(interval.value, interval.unit)}: below zero; the load takes more than the loop has"
    deviation = interval.uncertainty or 0.0
    spread = f" +- {display(2 * deviation, interval.unit, 2)} (k=2)" if deviation else ""
    ends = "" if not deviation else f"      # 95 %: {display(interval.low, interval.unit, 4)} to {display(interval.high, interval.unit, 4)}"
    return f'{name} = "{display(interval.value, interval.unit, 5)}{spread}"{ends}'


def _title(fit) -> list[str]:
    value, uncertainty = fit.capacitance
    spread = f" +- {display(uncertainty, 'F', 2)} (standard uncertainty)" if uncertainty else ""
    samples = sum(len(trace.times) * trace.block for trace in fit.traces)
    return wrapped_lines(f"Ring-down {' and '.join(trace.name for trace in fit.traces)}: constants of the whole loop, capacitance "
                         f"{display(value, 'F', 4)}{spread}, {samples} samples")


def _rows(fit) -> list[str]:
    rows = [("", "value", "95 % interval")]
    for name, interval in fit.parameters.items():
        key, _, number = name.partition(" ")
        label = LABELS[key] + (" of the loop" if key in ("inductance", "resistance") else "") + (f", record {number}" if number else "")
        ends = "undetermined" if not interval.determined else \
            f"{display(interval.low, interval.unit, 4)} to {display(interval.high, interval.unit, 4)}"
        rows.append((label, display(interval.value, interval.unit, 4), ends))
    width = max(len(label) for label, *_ in rows)
    return [f"  {label:{width}}{value:>14}   {ends}" for label, value, ends in rows]


def _noise(fit) -> list[str]:
    peak = max(abs(waveform.first) for waveform in fit.waveforms)
    extent = f"correlated over {fit.correlated_samples} samples" if fit.correlated_samples else "not correlated from sample to sample"
    return wrapped_lines(f"noise {display(fit.noise, 'A')} ({100 * fit.noise / peak:.2g} % of the first amplitude), {extent}", "  ", "    ")


def _half_wave_lines(fit) -> list[str]:
    lines = []
    for trace, test in zip(fit.traces, fit.half_waves, strict=True):
        name = f" of {trace.name}" if len(fit.traces) > 1 else ""
        if test.probability is None:
            lines += wrapped_lines(f"{len(test.numbers)} half-wave(s){name}: too few to test whether R and the arc voltage are constant",
                                   "  ", "    ")
            continue
        lines += wrapped_lines(f"{len(test.numbers)} half-waves{name}: " + (
            f"a constant R and a constant arc voltage serve (p = {test.probability:.2g})" if test.constant else
            f"a constant R and a constant arc voltage do not serve (p = {test.probability:.1g}): {test.pattern}"), "  ", "    ")
        lines += _listed(test)
    return lines


def _listed(test: HalfWaves) -> list[str]:
    rows = [f"    {'half-wave':>9} {'amplitude':>14} {'constant loop':>14} {'difference / sd':>16} {'R to the next':>26}"]
    for k, number in enumerate(test.numbers[:MOST_HALF_WAVES]):
        resistance = "" if k >= len(test.resistances) else \
            f"{display(float(test.resistances[k]), 'ohm')} +- {display(float(test.resistance_deviations[k]), 'ohm', 2)}"
        difference = (test.amplitudes[k] - test.expected[k]) / test.deviations[k]
        rows.append(f"    {number + 1:>9} {display(float(test.amplitudes[k]), 'A', 4):>14} {display(float(test.expected[k]), 'A', 4):>14} "
                    f"{difference:>16.1f} {resistance:>26}".rstrip())
    if len(test.numbers) > MOST_HALF_WAVES:
        rows.append(f"    shown: first {MOST_HALF_WAVES} of {len(test.numbers)}")
    return rows


def _arc_law(fit) -> list[str]:
    if fit.arc_law is None:
        return []
    law = fit.arc_law
    verdict = "no better" if law.gain < 4 else "better"
    return wrapped_lines(f"another arc as a check, A + B / current: R {display(law.resistance, 'ohm')}, "
                         f"A {display(law.arc_voltage, 'V')}, B {display(law.power, 'W')}; it fits {verdict} than a constant one "
                         f"(sum of squares {-law.gain:.1f} for one more parameter)", "  ", "    ")


def _bank_lines(fit) -> list[str]:
    if not fit.bank or fit.load is None:
        return ["", *wrapped_lines(f"These are constants of the whole loop, not of the bank: {BANK_REMEDY}.")]
    load = fit.load
    lines = ["", *wrapped_lines(f"Taken off: {load.text}, {display(load.inductance, 'H', 4)} and {display(load.resistance, 'ohm', 4)}."),
             "The bank's own, ready to paste:", "", bank_table(fit)]
    return [*lines, "", *wrapped_lines(load_note(fit))] if load_note(fit) else lines


def load_note(fit) -> str:
    """How the computed coil's R and L go with the decay, and what the first half-wave does; empty where no coil was computed."""
    if fit.load is None or fit.load.steady is None:
        return ""
    resistance, inductance = fit.load.steady
    return (f"In a steady oscillation at the ring frequency the coil would have {display(inductance, 'H', 4)} and "
            f"{display(resistance, 'ohm', 4)}; what was taken off is that of one that decays as this current does.  "
            + ("In the first half-wave the field still soaks into the metal, which is in neither: leave it out with skip=1 (--skip 1)."
               if not fit.skipped else f"The first {fit.skipped} half-wave(s), in which the field soaks into the metal, were left out."))


def _cautions(fit) -> list[str]:
    texts = [*(f"CAUTION: {text}." for text in fit.warnings), *(f"left out: {text}" for text in fit.remarks)]
    return ["", *(line for text in texts for line in wrapped_lines(text))] if texts else []


def _interval_facts(interval: Interval) -> dict[str, Any]:
    return {"value": interval.value, "low": interval.low, "high": interval.high, "unit": interval.unit}


def _half_wave_facts(test: HalfWaves) -> dict[str, Any]:
    return {"numbers": test.numbers.tolist(), "amplitudes_A": test.amplitudes.tolist(), "deviations_A": test.deviations.tolist(),
            "expected_A": test.expected.tolist(), "late_s": test.late.tolist(),
            "resistances_ohm": [value if abs(value) < float("inf") else None for value in test.resistances.tolist()],
            "probability": test.probability, "pattern": test.pattern, "constant": test.constant}


