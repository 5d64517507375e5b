"""A shot on one screen, for a person in a workshop, as text and as a table for a notebook."""
from __future__ import annotations

from collections.abc import Iterable
from html import escape

from fieldsolve.caution import CAUTION
from fieldsolve.field.system.coefficients import is_magnetic, is_saturable
from fieldsolve.screen import labelled_lines, wrapped_lines
from fieldsolve.shot.display.summary_rows import body_rows, coil_rows, peak_text

HELD = "metal held still (overstates current, field and force)"
MOVED = "metal is followed to the first burst of a turn, without wrinkles, cracks or spall"
RIGID = "a coil held still squeezes harder than one that gives way"
EDGES = "peak fields of bores without the surfaces of magnetic bodies, at whose edges B has no bound"
SATURATES = "magnetization without hysteresis"
LIMITS = "Limits: {}, axisymmetric, constant arc voltage, no heat conduction, no vapour."
MIN_ENERGY_SHARE = 1e-3             # of the banks' energy: less is left out
MOST_CROSSINGS = 10     # zero crossings of currents that are listed
CROSSING_WORDS = ("reverses", "flows from its positive side")
MIN_LIVE_VOLTAGE = 0.5  # volt left on a bank: less is none


def summary_text(shot, name: str = "") -> str:
    """Text of about thirty lines of at most a hundred letters: what happened first, warnings, limits and caution last.

    name  of the case, before the first line
    """
    return "\n".join([result_text(shot, name), closing_text(shot)])


def result_text(shot, name: str = "", notes: Iterable[tuple[str, str]] = ()) -> str:
    """The summary without its end, with more rows (label, text) in `notes`."""
    title = f"{name}: {summary_title(shot)}" if name else summary_title(shot)
    return "\n".join([*wrapped_lines(title), *labelled_lines([*_result_rows(shot), *notes])])


def closing_text(shot) -> str:
    """The end of the summary: warnings, limits, caution."""
    warnings = labelled_lines(_warning_rows(shot)) if _warning_rows(shot) else []
    return "\n".join([*warnings, *wrapped_lines(describe_limits(shot)), *wrapped_lines(CAUTION)])


def summary_html(shot) -> str:
    """The same as a plain table."""
    lines = "".join(f"<tr><th>{escape(label)}</th><td>{escape(text)}</td></tr>" for label, text in summary_rows(shot))
    table = f"<table><caption>{escape(summary_title(shot))}</caption>{lines}</table>"
    return f"{table}<p>{escape(describe_limits(shot))}</p><p>{escape(CAUTION)}</p>"


def short_text(shot) -> str:
    """One line for a person at a prompt."""
    coils, bodies = (", ".join(names)[:80] or "none" for names in (shot.coils, shot.bodies))
    return (f"Shot(to {1e6 * shot.times[-1]:.4g} us, {len(shot.instants)} instants, {shot.unknowns} unknowns, coils: {coils}, "
            f"bodies: {bodies}, metal {'held' if shot.held else 'moving'}{', interrupted' if shot.interrupted else ''}, "
            f"{'error bounds' if shot.comparisons else 'no error bounds'})")


def summary_title(shot) -> str:
    """How long, whether the metal moved, and what ended it or is beyond the model."""
    how = "metal held" if shot.held else "metal moving"
    early = "INTERRUPTED" if shot.interrupted else "ENDED by its motion" if shot.stop_reason else ""
    warning = "" if shot.validity_end is None else f", BEYOND THE MODEL from {1e6 * shot.validity_end:.1f} us on: {shot.validity_reason}"
    return f"Shot to {1e6 * shot.times[-1]:.3g} us, {how}" + (f", {early} before its end" if early else "") + warning


def describe_limits(shot) -> str:
    """What the model leaves out, in words."""
    curves = [SATURATES] if any(is_saturable(zone.material) for part in shot.section.parts for zone in part.zones) else []
    curves += [EDGES] if any(is_magnetic(shot.section, part.name) for part in shot.section.parts) else []
    if shot.held:
        return LIMITS.format(", ".join([HELD, *curves]))
    fixed = [f"{name} held still ({reason})" for name, reason in shot.fixed_parts.items()]
    rigid = [RIGID] if any(("kinetic_energy", name) not in shot.history.values for name in shot.coils) else []
    return LIMITS.format(", ".join([MOVED, *fixed, *rigid, *curves]))


def summary_rows(shot) -> list[tuple[str, str]]:
    """(label, text) line by line: bodies and coils first, then fields, banks, events and energies, warnings last."""
    return [*_result_rows(shot), *_warning_rows(shot)]


def _result_rows(shot) -> list[tuple[str, str]]:
    rows = [row for name in shot.bodies for row in body_rows(shot, name)] + [row for name in shot.coils for row in coil_rows(shot, name)]
    fields = [place for quantity, place in shot.history.values if quantity == "field"]
    rows.append(("peak field", ", ".join(peak_text(shot, place, [("field", place, 1.0, "T")]) for place in fields)))
    rows += [_bank_row(shot, place, bank) for place, bank in zip(shot.bank_places, shot.network.banks, strict=True)]
    return [*rows, *_event_rows(shot.events), *_energy_rows(shot)]


def _bank_row(shot, place: str, bank) -> tuple[str, str]:
    current = peak_text(shot, place, [("current", "current", 1e-3, "kA")])
    return place, (f"{1e6 * bank.capacitance:.4g} uF at {1e-3 * bank.voltage:.4g} kV, {1e-3 * bank.energy:.4g} kJ; {current}, "
                   f"reversal of its voltage {100 * shot.reversal_of(place):.3g} %")


def _event_rows(events) -> list[tuple[str, str]]:
    """What happened when; of many zero crossings of currents the first ones, and how many there are."""
    crossings = [event for event in events if any(word in event[1] for word in CROSSING_WORDS)]
    hidden = crossings[MOST_CROSSINGS:]
    rows = [(f"at {1e6 * time:.2f} us", event) for time, event in events if (time, event) not in hidden]
    return rows + ([("", f"shown: first {MOST_CROSSINGS} of {len(crossings)} zero crossings")] if hidden else [])


def describe_burst(shot, name: str) -> str:
    """When a coil's first turn bursts, what flies then, and what to do."""
    burst, late = shot.burst(name), shot.metal.bursts(name)[1]
    until = f"by {1e6 * late.time:.1f} us at the latest" if late else "at the latest after the end of the shot"
    return (f"{burst.turn} from {1e6 * burst.time:.1f} us on, {until}; then {1e3 * burst.mass:.3g} g of turns move at up to "
            f"{burst.speed:.0f} m/s with {burst.kinetic_energy:.3g} J; beyond the model after it; treat the bank as charged")


def _energy_rows(shot) -> list[tuple[str, str]]:
    """Where the energy went, and how well it closes."""
    total = shot.energy.scale
    shares = sorted(shot.energy.final_energies().items(), key=lambda item: -abs(item[1]))
    description = [f"{name} {100 * value / total:.1f} %" for name, value in shares if abs(value) > MIN_ENERGY_SHARE * total]
    whose = {0: "largest energy", 1: "bank's energy"}.get(len(shot.network.banks), "banks' energy")
    return [("energy at end", f"{', '.join(description)} of {1e-3 * total:.4g} kJ"),
            ("balance", f"closes to {100 * shot.energy.residual:.2g} % of the {whose}; {shot.steps} steps, {shot.unknowns} unknowns, "
             f"{shot.wall_time:.1f} s")]


def _warning_rows(shot) -> list[tuple[str, str]]:
    """What the shot promised and did not keep, and what is dangerous: turns that burst, and charge on the banks."""
    live = describe_live_bank(shot)
    return [*(("NOT KEPT", sentence) for sentence in shot.shortfalls),
            *(("BURST", describe_burst(shot, name)) for name in shot.coils if shot.burst(name)), *([("WARNING", live)] if live else [])]


def describe_live_bank(shot) -> str:
    """What is left on the banks and what to do about it; nothing where there is none."""
    left = ", ".join(f"{place} at {volts:.0f} V" for place, volts in shot.residual_voltages.items() if abs(volts) >= MIN_LIVE_VOLTAGE)
    return f"the bank is LIVE at the end of the record: {left}; dump, wait, prove dead, short" if left else ""
