"""The files of instruments themselves, by an existing reader of waveform files (extra `scope`)."""
from __future__ import annotations

from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError

WAVEFORM_SUFFIXES = (".wfm", ".isf", ".trc", ".bin", ".wvf", ".hdr")
UNITS = {"V": "V", "A": "A"}


def read_waveform_file(path: Path) -> tuple[np.ndarray, list[tuple[str, np.ndarray, str]]]:
    """Times in seconds, and (name, values, unit) of each channel of an instrument's file.

    Raises InputError where the reader is not installed, or does not know the file.
    """
    try:
        from RigolWFM.wfm import Wfm
    except ImportError:
        raise InputError(f"{path.name}: an instrument's own file needs a reader: pip install 'fieldsolve[scope]', or export the record "
                         "as CSV") from None
    try:
        channels = [channel for channel in Wfm.from_file(str(path)).channels if channel.volts is not None and len(channel.volts)]
    except Exception as error:           # a foreign parser raises whatever it likes at a broken file
        raise InputError(f"{path.name}: cannot be read as an instrument's file ({type(error).__name__}: {str(error)[:100]}); export the "
                         "record as CSV") from None
    if not channels:
        raise InputError(f"{path.name}: has no channel with samples; export the record again")
    times = np.asarray(channels[0].times, dtype=float)
    return times, [(channel.name, np.asarray(channel.volts, dtype=float), _unit(channel)) for channel in channels
                   if len(channel.volts) == len(times)]


def _unit(channel) -> str:
    name = getattr(getattr(channel, "unit", None), "name", "v")
    return UNITS.get(str(name).upper(), "")
