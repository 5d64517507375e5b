"""A shot on one screen, for a person in a workshop, as text and as a table for a notebook."""
from __future__ import annotations

from html import escape
from textwrap import wrap

HELD = "metal held still (overstates current, field and force)"
MOVED = "metal is followed to the first burst of a turn, without wrinkles, cracks or spall"
RIGID = "a coil held still squeezes harder than one that gives way"
LIMITS = "Limits: {}, axisymmetric, constant arc voltage, no heat conduction, no vapour."
CAUTION = ("Caution: computed figures, for orientation only. A charged bank kills. Local codes, the standards and licensed practice "
           "prevail over anything printed here.")
WIDTH = 130             # of a line of the text
TOLD = 1e-3             # of the banks' energy: what is less is not told
SHARE = 5e-4            # of a part's mass: less molten or boiled metal is not told


def summary_of(shot) -> str:
    """Text of about twenty lines: bank, coil, body, field, events, where the energy went, what is left, limits and caution."""
    rows = rows_of(shot)
    width = max(len(label) for label, _ in rows) + 2
    lines = [line for label, text in rows
             for line in wrap(text, WIDTH, initial_indent=f"  {label:<{width}}", subsequent_indent=" " * (width + 2))]
    return "\n".join([_title(shot), *lines, _limits(shot), CAUTION])


def html_of(shot) -> str:
    """The same as a plain table."""
    lines = "".join(f"<tr><th>{escape(label)}</th><td>{escape(text)}</td></tr>" for label, text in rows_of(shot))
    return f"<table><caption>{escape(_title(shot))}</caption>{lines}</table><p>{escape(_limits(shot))}</p><p>{escape(CAUTION)}</p>"


def _title(shot) -> str:
    how = "metal held" if shot.held else "metal moving"
    early = "INTERRUPTED" if shot.interrupted else "ENDED by its motion" if shot.ended else ""
    return f"Shot to {1e6 * shot.times[-1]:.3g} us, {how}" + (f", {early} before its end" if early else "")


def _limits(shot) -> str:
    if shot.held:
        return LIMITS.format(HELD)
    still = [f"{name} held still ({reason})" for name, reason in shot.held_parts.items()]
    stiff = [RIGID] if any(("kinetic_energy", name) not in shot.history.values for name in shot.coils) else []
    return LIMITS.format(", ".join([MOVED, *still, *stiff]))


def rows_of(shot) -> list[tuple[str, str]]:
    """(label, text) line by line."""
    rows = []
    for place, bank in zip(shot.bank_places, shot.network.banks, strict=True):
        rows.append((place, f"{1e6 * bank.capacitance:.4g} uF at {1e-3 * bank.voltage:.4g} kV, {1e-3 * bank.energy:.4g} kJ; "
                            + _peaks(shot, place, [("current", "current", 1e-3, "kA")])
                            + f", reversal {100 * shot.reversal_of(place):.3g} %"))
    for name in shot.coils:
        rows.append((name, _peaks(shot, name, [("current", "current", 1e-3, "kA")]) + _heat(shot, name)))
        rows.append(("  insulation", _peaks(shot, name, [("turn_voltage", "round a turn", 1.0, "V"),
                                                         ("neighbour_voltage", "between neighbours", 1.0, "V"),
                                                         ("voltage_to_body", "coil to grounded body", 1e-3, "kV")])))
    for name in shot.bodies:
        rows.append((name, _peaks(shot, name, [("current", "net current", 1e-3, "kA"), ("power", "power", 1e-6, "MW")])))
        rows.append(("  voltage", _peaks(shot, name, [("loop_voltage", "round the rim", 1.0, "V")])
                     + f", power / net current at its peak {shot.power_over_current(name):.4g} V"))
        rows.append(("  force", _peaks(shot, name, [("radial_force", "radial", 1e-3, "kN"),
                                                    ("rim_pressure", "B^2/2mu0 at the rim", 1e-6, "MPa")])
                     + f", impulse {shot.impulse(name):.3g} N s"))
        if ("temperature", name) in shot.history.values:
            rows.append(("  heat", _heat(shot, name).removeprefix(", ")))
    fields = [place for quantity, place in shot.history.values if quantity == "field"]
    rows.append(("peak field", ", ".join(_peaks(shot, place, [("field", place, 1.0, "T")]) for place in fields)))
    rows += [(f"at {1e6 * time:.2f} us", event) for time, event in shot.events]
    rows += [("BURST", f"{name} from {1e6 * shot.burst_time(name).value:.1f} us on: beyond the model after it; treat the bank as charged")
             for name in shot.coils if shot.burst_time(name)]
    return [*rows, *_ending(shot)]


def _ending(shot) -> list[tuple[str, str]]:
    """Where the energy went, how well it closes, and what is left on the banks."""
    total = shot.energy.scale
    shares = sorted(shot.energy.at_end().items(), key=lambda item: -abs(item[1]))
    told = [f"{name} {100 * value / total:.1f} %" for name, value in shares if abs(value) > TOLD * total]
    whose = {0: "largest energy", 1: "bank's energy"}.get(len(shot.network.banks), "banks' energy")
    rows = [("energy at end", f"{', '.join(told)} of {1e-3 * total:.4g} kJ"),
            ("balance", f"closes to {100 * shot.energy.residual:.2g} % of the {whose}; {shot.steps} steps, {shot.unknowns} unknowns, "
                        f"{shot.wall_time:.1f} s")]
    left = ", ".join(f"{place} at {volts:.0f} V" for place, volts in shot.residual_voltages.items())
    return [*rows, ("WARNING", f"the bank is LIVE at the end of the record: {left}; dump, wait, prove dead, short")] if left else rows


def _heat(shot, name: str) -> str:
    """Temperatures at the end, where they are highest, and what has melted or boiled; nothing where nothing heats."""
    if ("temperature", name) not in shot.history.values:
        return ""
    quantities = ("temperature", "mean_temperature", "molten_share", "boiled_share")
    last = {quantity: float(shot.series(quantity, name)[-1]) for quantity in quantities}
    told = f", hottest {last['temperature']:.0f} K, mean {last['mean_temperature']:.0f} K at the end"
    for share, word in (("molten_share", "molten"), ("boiled_share", "boiling, beyond the model")):
        if last[share] > SHARE:
            told += f", {100 * last[share]:.2g} % {word}"
    return told


def _peaks(shot, place: str, items) -> str:
    """Peaks of the series that the record holds: word, value, unit and time."""
    told = []
    for quantity, word, scale, unit in items:
        if (quantity, place) in shot.history.values:
            value, time = shot.history.peak(quantity, place)
            told.append(f"{word} {scale * value:.4g} {unit} at {1e6 * time:.3g} us" if value else f"{word} none")
    return ", ".join(told)
