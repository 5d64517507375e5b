"""The series of a shot as a table: columns by name and unit, the units of all series, and a pandas DataFrame."""
from __future__ import annotations

import numpy as np

from fieldsolve.shot.history import UNITS
from geometries.errors import InputError

TIME = "time [s]"


def shot_columns(shot) -> dict[str, np.ndarray]:
    """Series by header, such as 'current of coil [A]', the time first, the energies of the balance last; SI units throughout."""
    series = {f"{quantity} of {place} [{unit}]": shot.series(quantity, place) for (quantity, place), unit in series_units(shot).items()}
    energies = {f"energy: {name} [J]": values for name, values in {**shot.energy.stores, **shot.energy.sinks}.items()}
    return {TIME: shot.times, **series, **energies, "energy: unexplained [J]": shot.energy.unexplained}


def series_units(shot) -> dict[tuple[str, str], str]:
    """The unit of each series by (quantity, place); '1' for a pure number; nothing of a crowbar that is not there."""
    return {(quantity, place): UNITS.get(quantity, "1") for quantity, place in shot.history.values
            if place != "crowbar" or shot.network.crowbar is not None}


def data_frame(shot):
    """The columns as a pandas DataFrame over the time in seconds.  Raises InputError where pandas is not installed."""
    try:
        import pandas
    except ImportError:
        raise InputError("to_dataframe needs pandas, which is not installed: pip install pandas; without it shot.series gives arrays") \
            from None
    return pandas.DataFrame(shot_columns(shot)).set_index(TIME)
