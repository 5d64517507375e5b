"""Files of records as they are found in the wild, right and spoilt: their bytes, and what must come of reading them."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

COUNT = 40
TIMES = 1e-6 * np.arange(COUNT)
VALUES = np.round(100.0 * np.sin(2 * np.pi * np.arange(COUNT) / 31), 2) + 0.25


@dataclass(frozen=True)
class Awkward:
    """A file: its name, its bytes, and either the values of its column 1 or words of the message.

    scale     of the values that must come out
    remark    words of a remark, where one must be there
    options   of `read_record`
    rows      which rows must come out, None for all
    """

    name: str
    content: bytes
    refused: str | None = None
    scale: float = 1.0
    remark: str | None = None
    options: dict | None = None
    rows: slice | None = None
    suffix: str = ".csv"
    column: int = 1


def rows(delimiter: str = ",", decimal: str = ".", end: str = "\n", factor: float = 1.0, tail: str = "") -> str:
    """The table as text."""
    cells = [f"{factor * time:.7g}{delimiter}{value:.7g}{tail}" if decimal == "." else
             f"{factor * time:.7f}{delimiter}{value:.7g}{tail}".replace(".", ",") for time, value in zip(TIMES, VALUES, strict=True)]
    return end.join(cells) + end


def _lines(texts) -> str:
    return "\n".join(texts) + "\n"


def _block_beside_data() -> str:
    block = ["Record Length,2500,,", "Sample Interval,1e-06,,", "Vertical Units,V,,", "Probe,10,,"]
    table = rows().splitlines()
    return _lines(f"{block[k] if k < len(block) else ',,,'}{line}" for k, line in enumerate(table))


def _sweeps() -> str:
    return rows() + rows()


def _clipped() -> np.ndarray:
    return np.clip(100 * np.sin(2 * np.pi * np.arange(200) / 60), -60, 80)


def readable() -> list[Awkward]:
    """Those that must be read rightly."""
    table = rows()
    head = "Model,TX-4000\nFirmware,1.2\nSample Interval,1e-06\nVertical Scale,5.00e-01\n"
    cut = table.splitlines()
    return [
        *readable_with_a_look(),
        Awkward("plain", table.encode()),
        Awkward("no last line feed", table.rstrip("\n").encode()),
        Awkward("carriage return and line feed", rows(end="\r\n").encode()),
        Awkward("carriage returns alone", rows(end="\r").encode()),
        Awkward("tabs", rows("\t").encode()),
        Awkward("semicolons", rows(";").encode()),
        Awkward("blanks", rows("   ").encode()),
        Awkward("comma and blank", rows(", ").encode()),
        Awkward("bars", rows("|").encode()),
        Awkward("semicolons and decimal commas", rows(";", ",").encode()),
        Awkward("tabs and decimal commas", rows("\t", ",").encode()),
        Awkward("blanks and decimal commas", rows(" ", ",").encode()),
        Awkward("trailing delimiter", rows(tail=",").encode()),
        Awkward("trailing semicolon", rows(";", tail=";").encode()),
        Awkward("quoted", "".join(f'"{t:.7g}","{v:.7g}"\n' for t, v in zip(TIMES, VALUES, strict=True)).encode()),
        Awkward("comments above", ("# of Tuesday\n# probe 3\n" + table).encode()),
        Awkward("comments between", _lines([*cut[:5], "# second page", *cut[5:]]).encode()),
        Awkward("empty lines", _lines([*cut[:5], "", "   ", *cut[5:]]).encode()),
        Awkward("a header", ("Time,CH1\n" + table).encode()),
        Awkward("header and units", ("Time,CH1\ns,V\n" + table).encode()),
        Awkward("units in brackets", ("Time (s),Current [kA]\n" + table).encode(), scale=1e3),
        Awkward("kiloamperes and a scale", ("Time (s),Current [kA]\n" + table).encode(), scale=2.0, options={"scale": 2.0}),
        Awkward("words for units", ("Second,Volt\n" + table).encode()),
        Awkward("microseconds", ("Time (us),CH1\n" + rows(factor=1e6)).encode()),
        Awkward("micro sign in Latin-1", ("Zeit [µs];Strom [A]\n" + rows(";", factor=1e6)).encode("latin-1")),
        Awkward("micro sign in UTF-8", ("Zeit [µs];Strom [A]\n" + rows(";", factor=1e6)).encode("utf-8")),
        Awkward("Greek mu", ("Zeit [μs];Strom [A]\n" + rows(";", factor=1e6)).encode("utf-8")),
        Awkward("milliseconds without a header", rows(factor=1e3).encode(), options={"time_unit": "ms"}),
        Awkward("settings above", (head + "Time,CH1\n" + table).encode()),
    ]


def readable_with_a_look() -> list[Awkward]:
    """Those that must be read rightly, too: settings, encodings, and what is left out with a remark."""
    table = rows()
    head = "Model,TX-4000\nFirmware,1.2\nSample Interval,1e-06\nVertical Scale,5.00e-01\n"
    cut = table.splitlines()
    return [
        Awkward("settings above, semicolons and commas", (head.replace(",", ";") + rows(";", ",")).encode()),
        Awkward("settings beside the numbers", _block_beside_data().encode(), column=4),
        Awkward("counted samples", ("X,CH1,Start,Increment,\nSequence,Volt,0.0,1e-06\n" +
                                    _lines(f"{k},{v:.7g}," for k, v in enumerate(VALUES))).encode()),
        Awkward("no time but an interval above", ("Sample interval: 1 us\nCH1\n" + _lines(f"{v:.7g}" for v in VALUES)).encode(),
                column=0),
        Awkward("no time but a sampling rate", ("Sampling rate,1e6\nCH1\n" + _lines(f"{v:.7g}" for v in VALUES)).encode(), column=0),
        Awkward("no time, the interval given", _lines(f"{v:.7g}" for v in VALUES).encode(), column=0, options={"sample_interval": 1e-6}),
        Awkward("UTF-8 with a mark", b"\xef\xbb\xbf" + table.encode()),
        Awkward("UTF-16 with a mark", ("Time,CH1\n" + table).encode("utf-16")),
        Awkward("UTF-16 without a mark, little end first", ("Time,CH1\n" + table).encode("utf-16-le")),
        Awkward("UTF-16 without a mark, big end first", ("Time,CH1\n" + table).encode("utf-16-be")),
        Awkward("last line cut off", (table + "4.1e-05").encode(), remark="cut off"),
        Awkward("a footer", (table + "end of record\n").encode(), remark="line(s) without numbers"),
        Awkward("empty cells", _lines([*cut[:10], "1e-05,", *cut[11:]]).encode(), remark="1 sample(s) without a number",
                rows=slice(None)),
        Awkward("overflow words", _lines([*cut[:10], "1e-05,OVER", *cut[11:]]).encode(), remark="1 sample(s) without a number",
                rows=slice(None)),
        Awkward("overflow number", _lines([*cut[:10], "1e-05,9.9E37", *cut[11:]]).encode(), remark="1 sample(s) without a number",
                rows=slice(None)),
        Awkward("a gap", _lines([*cut[:10], *cut[20:]]).encode(), remark="1 gap(s)", rows=slice(None)),
        Awkward("second sweep", _sweeps().encode(), options={"sweep": 2}, remark="sweep 2 of 2"),
        Awkward("more columns", _lines(f"{line},7,8" for line in cut).encode()),
        Awkward("exponents with capital E", table.replace("e-", "E-").encode()),
        Awkward("a header of 600 lines", ("".join(f"Setting {k},{k % 7}\n" for k in range(600)).replace(",", ": ") + table).encode()),
        Awkward("unit behind an underscore", ("time_us,current_A\n" + rows(factor=1e6)).encode()),
        Awkward("a line that names the delimiter", ("sep=;\n" + rows(";")).encode()),
        Awkward("time in the second column", ("CH1,Time\nV,s\n" + _lines(",".join(line.split(",")[::-1]) for line in cut)).encode(),
                column=0),
        Awkward("two columns of one name", ("Time,CH1,CH1\n" + _lines(f"{line},7" for line in cut)).encode()),
        Awkward("signs", _lines(f"+{line}" for line in cut).encode()),
    ]


def refused() -> list[Awkward]:
    """Those that must be refused, with words that say what to change."""
    cut = rows().splitlines()
    commas = _lines(f"0,{k:06d},{int(abs(v))},{k:02d}" for k, v in enumerate(VALUES))
    return [
        Awkward("empty", b"", "is empty; export"),
        Awkward("blank lines only", b"\n\n   \n", "no table of numbers"),
        Awkward("words only", b"hello\nworld\n", "no table of numbers"),
        Awkward("header only", b"Time,CH1\n", "no table of numbers|needs at least 3"),
        Awkward("two rows", b"0,1\n1e-6,2\n", "needs at least 3"),
        Awkward("binary", bytes(range(256)) * 50, "is not text; export"),
        Awkward("random bytes", np.random.default_rng(1).integers(0, 256, 4000, dtype=np.uint8).tobytes(), "is not text"),
        Awkward("zeros", bytes(5000), "is not text"),
        Awkward("a picture", b"\x89PNG\r\n\x1a\n" + bytes(range(200)) * 20, "is not text"),
        Awkward("one endless line", b"1," * 200_000, "characters; a record has one row|no table of numbers"),
        Awkward("commas for columns and decimals", commas.encode(), "semicolons or tabs"),
        Awkward("a word among the numbers", _lines([*cut[:10], "1e-05,abc", *cut[11:]]).encode(), "line 11: 'abc' is not a number"),
        Awkward("another delimiter from the middle on",
                _lines([*cut[:20], *(c.replace(",", ";") for c in cut[20:]), *cut[:1] * 3]).encode(),
                "line 21|does not increase"),
        Awkward("a third column in one line", _lines([*cut[:10], "1e-05,1,2", *cut[11:]]).encode(), "line 11: 3 column"),
        Awkward("a short line", _lines([*cut[:10], "1e-05", *cut[11:]]).encode(), "line 11: fewer than 2 columns"),
        Awkward("two triggers", _sweeps().encode(), "sweep=1"),
        Awkward("unsorted", _lines([*cut[:10], cut[15], *cut[10:15], *cut[16:]]).encode(), "does not increase"),
        Awkward("a time twice", _lines([*cut[:10], cut[9], *cut[10:]]).encode(), "keep each time once"),
        Awkward("no time", _lines(f"{v:.7g}" for v in VALUES).encode(), "sample_interval=", column=0),
        Awkward("no such column", rows().encode(), "no column 5", column=5),
        Awkward("a waveform file that is none", b"not a waveform", "cannot be read|needs a reader", suffix=".wfm"),
        Awkward("a page of a site", b"<html><body><p>404</p></body></html>\n", "no table of numbers"),
    ]


def clipped() -> tuple[bytes, np.ndarray]:
    """A trace cut off above and below, and the mask of its cut samples."""
    values = _clipped()
    text = _lines(f"{1e-6 * k:.7g},{v:.6g}" for k, v in enumerate(values))
    return text.encode(), (values == 80) | (values == -60)
