"""A shot on one screen, for a person in a workshop, as text and as a table for a notebook."""
from __future__ import annotations

from html import escape
from textwrap import wrap

from fieldsolve.caution import CAUTION
from fieldsolve.field.system.coefficients import is_magnetic
from geometries.parts import Part

HELD = "metal held still (overstates current, field and force)"
MOVED = "metal is followed to the first burst of a turn, without wrinkles, cracks or spall"
RIGID = "a coil held still squeezes harder than one that gives way"
EDGES = "peak fields of bores without the surfaces of magnetic bodies, at whose edges B has no bound"
SATURATES = "magnetization without hysteresis"
LIMITS = "Limits: {}, axisymmetric, constant arc voltage, no heat conduction, no vapour."
WIDTH = 130             # of a line of the text
MIN_ENERGY_SHARE = 1e-3             # of the banks' energy: less is left out
MIN_PLASTIC_SHARE = 0.01        # of a cell's heat: a smaller plastic share is left out
MIN_DRIFT = 5e-3            # of the rim's thickness: less motion along z is left out, a symmetric rig's mesh makes as much
SHAPE_LABELS = {
    "outer_radius": "radius",
    "inner_radius": "hole",
    "rim_thickness": "thickness at rim",
    "mid_radius_thickness": "at mid-radius",
    "axis_thickness": "at axis",
}
MIN_MASS_SHARE = 5e-4            # of a part's mass: less molten or boiled metal is left out


def summary_text(shot) -> str:
    """Text of about twenty lines: bank, coil, body, field, events, where the energy went, what is left, limits and caution."""
    rows = summary_rows(shot)
    width = max(len(label) for label, _ in rows) + 2
    lines = [line for label, text in rows
             for line in wrap(text, WIDTH, initial_indent=f"  {label:<{width}}", subsequent_indent=" " * (width + 2))]
    return "\n".join([summary_title(shot), *lines, describe_limits(shot), CAUTION])


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
    curves = [SATURATES] if any(_has_bh_curve(part) for part in shot.section.parts) else []
    curves += [EDGES] if any(is_magnetic(shot.section, part.name) for part in shot.section.parts) else []
    if shot.held:
        return LIMITS.format(", ".join([HELD, *curves]))
    fixed = [f"{name} held still ({reason})" for name, reason in shot.fixed_parts.items()]
    rigid = [RIGID] if any(("kinetic_energy", name) not in shot.history.values for name in shot.coils) else []
    return LIMITS.format(", ".join([MOVED, *fixed, *rigid, *curves]))


def _has_bh_curve(part: Part) -> bool:
    return any(getattr(zone.material, "bh_curve", None) is not None for zone in part.zones)


def summary_rows(shot) -> list[tuple[str, str]]:
    """(label, text) line by line."""
    rows = []
    for place, bank in zip(shot.bank_places, shot.network.banks, strict=True):
        rows.append((place, f"{1e6 * bank.capacitance:.4g} uF at {1e-3 * bank.voltage:.4g} kV, {1e-3 * bank.energy:.4g} kJ; "
                     + _peak_text(shot, place, [("current", "current", 1e-3, "kA")])
                     + f", reversal {100 * shot.reversal_of(place):.3g} %"))
    for name in shot.coils:
        rows.append((name, _peak_text(shot, name, [("current", "current", 1e-3, "kA")]) + _heat_text(shot, name)))
        rows += _stretch_rows(shot, name)
        rows.append(("  insulation", _peak_text(shot, name, [("turn_voltage", "round a turn", 1.0, "V"),
                                                             ("neighbour_voltage", "between neighbours", 1.0, "V"),
                                                             ("voltage_to_body", "coil to grounded body", 1e-3, "kV")])))
    for name in shot.bodies:
        rows.append((name, _peak_text(shot, name, [("current", "net current", 1e-3, "kA"), ("power", "power", 1e-6, "MW")])))
        rows.append(("  voltage", _peak_text(shot, name, [("loop_voltage", "round the rim", 1.0, "V")])
                     + f", power / net current at its peak {shot.power_over_current(name):.4g} V"))
        rows.append(("  force", _peak_text(shot, name, [("radial_force", "radial", 1e-3, "kN"),
                                                        ("rim_pressure", "B^2/2mu0 at the rim", 1e-6, "MPa")])
                     + f", impulse {shot.impulse(name):.3g} N s"))
        if ("temperature", name) in shot.history.values:
            rows.append(("  heat", _heat_text(shot, name).removeprefix(", ")))
        rows += _shape_rows(shot, name)
    fields = [place for quantity, place in shot.history.values if quantity == "field"]
    rows.append(("peak field", ", ".join(_peak_text(shot, place, [("field", place, 1.0, "T")]) for place in fields)))
    rows += [(f"at {1e6 * time:.2f} us", event) for time, event in shot.events]
    rows += [("BURST", describe_burst(shot, name)) for name in shot.coils if shot.burst(name)]
    return [*rows, *_energy_rows(shot)]


def describe_burst(shot, name: str) -> str:
    """When a coil's first turn bursts, what flies then, and what to do."""
    burst, late = shot.burst(name), shot.metal.bursts(name)[1]
    until = f"by {1e6 * late.time:.1f} us at the latest" if late else "at the latest after the end of the shot"
    return (f"{burst.turn} from {1e6 * burst.time:.1f} us on, {until}; then {1e3 * burst.mass:.3g} g of turns move at up to "
            f"{burst.speed:.0f} m/s with {burst.kinetic_energy:.3g} J; beyond the model after it; treat the bank as charged")


def _stretch_rows(shot, name: str) -> list[tuple[str, str]]:
    """How far a coil's turns have stretched; nothing where it is held."""
    if ("hoop_strain", name) not in shot.history.values:
        return []
    first, last = (1e3 * shot.series("radius", name)[k] for k in (0, -1))
    strain = 100 * shot.series("hoop_strain", name)[-1]
    return [("  stretch", f"middle of the widest turn from {first:.4g} to {last:.4g} mm, hoop strain {strain:.3g} %, "
             + _peak_text(shot, name, [("speed", "fastest", 1.0, "m/s")]))]


def _shape_rows(shot, name: str) -> list[tuple[str, str]]:
    """What shape a body has at the end and how it came to it; nothing where it is held or moves as one."""
    if ("rim_thickness", name) not in shot.history.values:
        return []
    ends = {quantity: tuple(1e3 * shot.series(quantity, name)[[0, -1]]) for quantity in SHAPE_LABELS}
    description = [
        f"{word} {ends[quantity][0]:.4g} to {ends[quantity][1]:.4g} mm" for quantity, word in SHAPE_LABELS.items() if ends[quantity][0] > 0
    ]
    drift = 1e3 * shot.series("drift", name)[-1]
    moved = [f"along z by {drift:.3g} mm"] if abs(drift) > MIN_DRIFT * ends["rim_thickness"][0] else []
    leaves = shot.departure(name) if moved else None
    if leaves:
        moved.append(f"leaves {shot.coils[0]} at {1e6 * leaves.time:.0f} us with {abs(leaves.speed):.3g} m/s"
                     + (" if nothing stops it" if leaves.extrapolated else ""))
    return [("  shape", ", ".join(description)),
            ("  motion", ", ".join([_peak_text(shot, name, [("speed", "fastest", 1.0, "m/s"), ("plastic_strain", "plastic strain", 1.0, ""),
                                                            ("strain_rate", "rate", 1.0, "/s")]), *moved]))]


def _energy_rows(shot) -> list[tuple[str, str]]:
    """Where the energy went, how well it closes, what the shot promised and did not keep, and what is left on the banks."""
    total = shot.energy.scale
    shares = sorted(shot.energy.final_energies().items(), key=lambda item: -abs(item[1]))
    description = [f"{name} {100 * value / total:.1f} %" for name, value in shares if abs(value) > MIN_ENERGY_SHARE * total]
    whose = {0: "largest energy", 1: "bank's energy"}.get(len(shot.network.banks), "banks' energy")
    rows = [("energy at end", f"{', '.join(description)} of {1e-3 * total:.4g} kJ"),
            ("balance", f"closes to {100 * shot.energy.residual:.2g} % of the {whose}; {shot.steps} steps, {shot.unknowns} unknowns, "
             f"{shot.wall_time:.1f} s"),
            *(("NOT KEPT", sentence) for sentence in shot.shortfalls)]
    live = describe_live_bank(shot)
    return [*rows, ("WARNING", live)] if live else rows


def describe_live_bank(shot) -> str:
    """What is left on the banks and what to do about it; nothing where there is none."""
    left = ", ".join(f"{place} at {volts:.0f} V" for place, volts in shot.residual_voltages.items())
    return f"the bank is LIVE at the end of the record: {left}; dump, wait, prove dead, short" if left else ""


def _heat_text(shot, name: str) -> str:
    """Temperatures at the end, where they are highest, and what has melted or boiled; nothing where nothing heats."""
    if ("temperature", name) not in shot.history.values:
        return ""
    quantities = ("temperature", "mean_temperature", "molten_share", "boiled_share")
    last = {quantity: float(shot.series(quantity, name)[-1]) for quantity in quantities}
    description = f", hottest {last['temperature']:.0f} K, mean {last['mean_temperature']:.0f} K at the end"
    plastic = ("plastic_heat_share_hottest", name)
    if plastic in shot.history.values and shot.history.values[plastic][-1] > MIN_PLASTIC_SHARE:
        description += f" ({100 * shot.history.values[plastic][-1]:.2g} % of the hottest cell's heat plastic)"
    for share, word in (("molten_share", "molten"), ("boiled_share", "boiling, beyond the model")):
        if last[share] > MIN_MASS_SHARE:
            description += f", {100 * last[share]:.2g} % {word}"
    return description


def _peak_text(shot, place: str, items) -> str:
    """Peaks of the series that the record holds: word, value, unit and time."""
    description = []
    for quantity, word, scale, unit in items:
        if (quantity, place) in shot.history.values:
            value, time = shot.history.peak(quantity, place)
            late = " (beyond the model)" if shot.validity_end is not None and time > shot.validity_end else ""
            description.append(f"{word} {scale * value:.4g}{unit and ' ' + unit} at {1e6 * time:.3g} us{late}" if value else f"{word} none")
    return ", ".join(description)
