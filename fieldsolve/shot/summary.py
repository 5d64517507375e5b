"""A shot on one screen, for a person in a workshop."""
from __future__ import annotations

LIMITS = ("Limits: metal held still (overstates current, field and force), axisymmetric, constant arc voltage, no heat conduction, "
          "no vapour.")
CAUTION = ("Caution: computed figures, for orientation only. A charged bank kills. Local codes, the standards and licensed practice "
           "prevail over anything printed here.")


def summary_of(shot) -> str:
    """Text of about twenty lines: what flowed, the field, the disc, the bank, where the energy went, limits and caution."""
    lines = [f"Shot to {1e6 * shot.times[-1]:.3g} us, metal held" + (", INTERRUPTED before its end" if shot.interrupted else "")]
    for bank in shot.network.banks:
        lines.append(f"  bank           {1e6 * bank.capacitance:.4g} uF at {1e-3 * bank.voltage:.4g} kV, {1e-3 * bank.energy:.4g} kJ")
    for name in shot.coils:
        lines.append(_line(f"{name}", shot, [("current", "current", 1e-3, "kA"), ("temperature", "hottest", 1.0, "K")]))
    for name in shot.bodies:
        lines.append(_line(f"{name}", shot, [("current", "net current", 1e-3, "kA"), ("loop_voltage", "round the rim", 1.0, "V"),
                                             ("power", "power", 1e-6, "MW")]))
        lines.append(_line("", shot, [("radial_force", "radial force", 1e-3, "kN"), ("temperature", "hottest", 1.0, "K"),
                                      ("mean_temperature", "mean", 1.0, "K"), ("molten_share", "molten", 100.0, "%")], name))
    fields = [(place, place) for quantity, place in shot.history.values if quantity == "field"]
    lines.append("  peak field     " + ", ".join(f"{label} {_peak(shot, 'field', place, 1.0, 'T')}" for label, place in fields))
    lines.append(f"  reversal       {100 * shot.reversal:.3g} % of the charge voltage")
    for time, event in shot.events:
        lines.append(f"  {1e6 * time:7.2f} us     {event}")
    total = shot.energy.initial
    shares = sorted(shot.energy.at_end().items(), key=lambda item: -abs(item[1]))
    told = [f"{name} {100 * value / total:.1f} %" for name, value in shares if abs(value) > 1e-3 * total]
    lines.append("  energy at end  " + ", ".join(told))
    lines.append(f"  balance        closes to {100 * shot.energy.residual:.2g} % of the bank's energy; {shot.steps} steps, "
                 f"{shot.unknowns} unknowns, {shot.wall_time:.1f} s")
    left = ", ".join(f"{place} at {volts:.0f} V" for place, volts in shot.residual_voltages.items())
    lines.append(f"  WARNING        the bank is LIVE at the end of the record: {left}; dump, wait, prove dead, short")
    return "\n".join([*lines, LIMITS, CAUTION])


def _line(label: str, shot, items, name: str | None = None) -> str:
    name = name or label
    found = [f"{word} {_peak(shot, quantity, name, scale, unit)}" for quantity, word, scale, unit in items
             if (quantity, name) in shot.history.values]
    return f"  {label:14} " + ", ".join(found)


def _peak(shot, quantity: str, place: str, scale: float, unit: str) -> str:
    value, time = shot.history.peak(quantity, place)
    return f"{scale * value:.4g} {unit} at {1e6 * time:.3g} us"
