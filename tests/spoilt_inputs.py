"""Spoilt copies of case, metal and record files, as a slip or a bad disk makes them, and what reading them within bounds does."""
from __future__ import annotations

import random
import resource
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from tests.source_tree import ROOT

CASE = ROOT / "benchmarks" / "rigs" / "blank_press.toml"
METAL = ROOT / "fieldsolve" / "materials" / "data" / "copper.toml"
RECORD = "time [s],current [A]\n" + "".join(f"{k}e-7,{2e3 * k - 5 * k * k}\n" for k in range(200))
MOST_SECONDS, MOST_MEGABYTES = 5.0, 500.0       # of processor time, and of memory beyond that before
ODD = ["9" * 5000, "1e308", "-1e-320", "nan", "inf", '"1 m^9^9^9"', "[" * 500 + "]" * 500, "true", '"' + " " * 3000 + '"', "{}", "''",
       "2020-01-01", '"\\u001b[2J"', '"$\\\\frac{a$"', "[[[]]]", '"1 nm"', '"-5 kV"', '"1e300 uF"', "0", "\ufeff",
       "\x00", "\u202e", "]", "[x]\n"]


def spoilt(text: str, chance: random.Random) -> bytes:
    """A text with one to three things wrong."""
    lines = text.splitlines()
    for _ in range(chance.randint(1, 3)):
        k = chance.randrange(len(lines))
        kind = chance.randrange(7)
        if kind == 0 and "=" in lines[k]:
            lines[k] = lines[k].partition("=")[0] + "= " + chance.choice(ODD)
        elif kind == 1:
            lines[k] = lines[k][:chance.randrange(len(lines[k]) + 1)]
        elif kind == 2:
            lines.insert(k, chance.choice(lines))
        elif kind == 3:
            lines[k] = chance.choice(ODD) + lines[k]
        elif kind == 4:
            lines[k] = lines[k].replace(chance.choice("0123456789"), chance.choice(["9" * 30, "-", ".", "e", ""]))
        elif kind == 5:
            lines.pop(k)
            lines = lines or [""]
        else:
            at = chance.randrange(len(lines[k]) + 1)
            lines[k] = lines[k][:at] + chr(chance.randrange(0x250)) + lines[k][at:]
    data = "\n".join(lines).encode("utf-8", "surrogatepass")
    if chance.random() < 0.8:
        return data
    return data[:chance.randrange(len(data) + 1)] + bytes([chance.randrange(256)]) + data[len(data) // 2:]


def read(kind: str, path: Path) -> None:
    """Read a file as its kind, as far as nothing is solved."""
    import fieldsolve as fs
    from fieldsolve.records.measured_current import read_current

    if kind == "case":
        case = fs.read_case(path)
        fs.read_rig(case)
        repr(case)
    elif kind == "metal":
        repr(fs.read_material(path))
    else:
        read_current(path)


def trouble_of(kind: str, data: bytes, folder: Path) -> str | None:
    """What is wrong with how a spoilt file of a kind is read; None where nothing is."""
    path = folder / {"case": "rig.toml", "metal": "metal.toml", "record": "record.csv"}[kind]
    path.write_bytes(data)
    return trouble_in(lambda: read(kind, path))


def trouble_in(work: Callable[[], object]) -> str | None:
    """What is wrong with how something is read; None where it is read, or refused with our own error, within bounds."""
    from fieldsolve.errors import FieldError

    memory, started, refused = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time(), ""
    try:
        work()
    except FieldError as error:
        refused = str(error)
    except BaseException:
        return traceback.format_exc(limit=-3)
    seconds, more = time.process_time() - started, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - memory) / 1024
    if seconds > MOST_SECONDS or more > MOST_MEGABYTES:
        return f"took {seconds:.1f} s and {more:.0f} MB"
    return f"an error of {len(refused)} characters" if len(refused) > 20_000 else None


def find_troubles(count: int, seed: int = 1) -> list[str]:
    """Troubles with `count` spoilt files, a third of each kind."""
    chance, found = random.Random(seed), []
    sources = {"case": CASE.read_text(encoding="utf-8"), "metal": METAL.read_text(encoding="utf-8"), "record": RECORD}
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            kind = [*sources][number % 3]
            trouble = trouble_of(kind, spoilt(sources[kind], chance), Path(folder))
            if trouble:
                found.append(f"{kind} {number} of seed {seed}: {trouble}")
    return found


if __name__ == "__main__":
    troubles = find_troubles(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    print("\n".join(troubles) or f"{sys.argv[1]} spoilt files: each read or refused within bounds")
    sys.exit(bool(troubles))
