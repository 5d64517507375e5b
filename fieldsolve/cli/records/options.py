"""What was measured after a shot, as options of the commands about records give it."""
from __future__ import annotations


def named_texts(option: str, texts: list[str]) -> dict[str, str]:
    """Text by name from texts such as 'NAME = TEXT'; InputError where one is not."""
    from fieldsolve.errors import InputError

    found = {}
    for text in texts:
        name, separator, value = (part.strip() for part in text.partition("="))
        if not name or not separator or not value:
            raise InputError(f"{option} {text!r}: expected NAME = VALUE, such as 'radius of disc = 12.9 mm +- 0.1 mm'")
        found[name] = value
    return found


def measured_values(texts: list[str]) -> dict[str, tuple[float, float | None]]:
    """(value, standard uncertainty) in SI by name, of texts such as 'radius of disc = 12.9 mm +- 0.1 mm'."""
    from fieldsolve.records.comparison.quantities import unit_of_name
    from fieldsolve.units import parse_quantity, split_uncertainty

    found = {}
    for name, text in named_texts("--measured", texts).items():
        quantity, uncertain = split_uncertainty(text, name)
        found[name] = parse_quantity(quantity, unit_of_name(name), name), uncertain and uncertain[1]
    return found
