"""The log of shots: one folder a shot with its case file, the prediction stored before it, records,
measurements, photos and comparisons.  Nothing is overwritten, and every file stands with its hash:

    index.csv                      one row a shot; made anew from the folders whenever one changes
    2026-11-28-001/entry.json      what the shot is, when its prediction was stored, hashes, versions
                   case/           the case file, and the metals of its own that it names
                   prediction.shot.npz
                   additions/0001.json, 0002.json, ...  what was added later, each with the hash of the one before
                   records/ photos/ comparisons/        the files that the additions name
"""
from fieldsolve.records.log.entry import LogEntry
from fieldsolve.records.log.log import ShotLog

__all__ = ["LogEntry", "ShotLog"]
