"""Reading records: awkward files read rightly or refused with a remedy, clipped samples, channels, limits of memory and time."""
from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import time
import warnings

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.records.reading.clipping import clipped
from fieldsolve.records.reading.layout import NUMBER
from tests.records import awkward_files
from tests.source_tree import ROOT

READABLE, REFUSED = awkward_files.readable(), awkward_files.refused()
CHANNEL_OPTIONS = ("scale",)


def read(folder, awkward):
    path = folder / f"record{awkward.suffix}"
    path.write_bytes(awkward.content)
    options = dict(awkward.options or {})
    channel = {key: options.pop(key) for key in CHANNEL_OPTIONS if key in options}
    return fs.read_record(path, channels={"current": fs.Channel(column=awkward.column, **channel)}, **options)


def test_there_are_sixty_files():
    assert len(READABLE) + len(REFUSED) >= 60


@pytest.mark.parametrize("awkward", READABLE, ids=lambda awkward: awkward.name)
def test_an_awkward_file_is_read_rightly(awkward, tmp_path):
    record = read(tmp_path, awkward)
    expected = awkward.scale * np.interp(record.times, awkward_files.TIMES, awkward_files.VALUES)
    assert record.channel("current") == pytest.approx(expected, abs=1e-6 * awkward.scale)
    assert awkward.rows is not None or record.times == pytest.approx(awkward_files.TIMES, abs=1e-12)
    assert len(record.times) >= 30
    assert awkward.remark is None or any(awkward.remark in remark for remark in record.remarks)
    assert awkward.remark is not None or record.remarks == ()


@pytest.mark.parametrize("awkward", REFUSED, ids=lambda awkward: awkward.name)
def test_a_spoilt_file_is_refused_with_a_remedy(awkward, tmp_path):
    with pytest.raises(InputError, match=awkward.refused) as caught:
        read(tmp_path, awkward)
    assert str(caught.value).startswith(f"record{awkward.suffix}")
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("place", [".", "none.csv", os.devnull, "/dev/zero"])
def test_what_is_no_file_is_refused(place, tmp_path):
    with pytest.raises(InputError, match="no such record"):
        fs.read_record(tmp_path / place)


def test_a_file_beyond_the_limit_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        file.truncate(3_000_000_000)                                     # a hole: no disk is taken
    with pytest.raises(InputError, match=r"3\.0 GB, a record at most 2 GB"):
        fs.read_record(path)


def test_clipped_samples_are_left_out_and_said(tmp_path):
    content, cut = awkward_files.clipped()
    path = tmp_path / "cut.csv"
    path.write_bytes(content)
    record = fs.read_record(path, channels={"current": fs.Channel(column=1)})
    assert len(record.times) == np.count_nonzero(~cut)
    assert any(f"{np.count_nonzero(cut)} clipped sample(s) at -60, 80" in remark for remark in record.remarks)


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.05])
@pytest.mark.parametrize("cut_off", [0.7, 0.95])
def test_clipping_is_seen_in_noise_and_steps_and_only_there(noise, cut_off):
    t, rng = np.linspace(0, 3, 3000), np.random.default_rng(2)
    step = 2.5 / 256
    signal = np.round((np.sin(2 * np.pi * t) * np.exp(-0.3 * t) + rng.normal(0, noise, len(t))) / step) * step
    assert not clipped(signal).any()
    limit = np.round(cut_off * signal.max() / step) * step
    if noise and cut_off > 0.9:
        return                                                             # the cut is within the noise
    assert clipped(np.minimum(signal, limit)).sum() == pytest.approx(np.count_nonzero(signal >= limit), abs=0)


def test_a_current_that_rests_at_zero_is_not_clipped():
    t = np.linspace(-1, 3, 2000)
    pulse = np.round(np.where((t > 0) & (t < 1), np.sin(np.pi * t), 0.0), 2)
    assert not clipped(pulse).any()


def test_channels_by_name_scale_delay_and_offset(tmp_path):
    path = tmp_path / "two.csv"
    t = 1e-6 * np.arange(100)
    path.write_text("Time,CH1,CH2\ns,V,mV\n" + "".join(f"{x:.9g},{5e4 * x:.9g},{1e6 * x:.9g}\n" for x in t), encoding="utf-8")
    channels = {"current": fs.Channel(column="CH1", scale="2 kA/V", delay=1e-6, offset=10.0), "voltage": fs.Channel(column=2, delay=2e-6)}
    record = fs.read_record(path, channels=channels)
    assert record.times == pytest.approx(t - 1e-6)
    assert record.channel("current") == pytest.approx(1e8 * t - 10.0)
    assert record.channel("voltage")[:-1] == pytest.approx(1e3 * (t + 1e-6)[:-1])
    assert np.isnan(record.channel("voltage")[-1]) and len(record.samples("voltage")[0]) == 99
    assert (record.unit("current"), record.unit("voltage")) == ("A", "V")
    assert record.sha256 == hashlib.sha256(path.read_bytes()).hexdigest() and record.path == path
    assert any("by interpolation" in remark for remark in record.remarks)


def test_without_channels_the_files_own_names(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("Time (us),CH1 [mV],current of coil [kA]\n0,1,2\n1,2,3\n2,3,4\n", encoding="utf-8")
    record = fs.read_record(path)
    assert record.names == ("CH1", "current of coil")
    assert record.channel("CH1") == pytest.approx([1e-3, 2e-3, 3e-3]) and record.unit("current of coil") == "A"
    with pytest.raises(InputError, match="no channel 'current'; did you mean 'current of coil'"):
        record.channel("current")


@pytest.mark.parametrize(("arguments", "words"), [
    ({"column": -1}, "column = -1"), ({"column": 1.5}, "column = 1.5"), ({"column": 1, "scale": 0}, "scale = 0"),
    ({"column": 1, "delay": float("nan")}, "delay = nan"), ({"column": 1, "role": "curent"}, "did you mean 'current'"),
    ({"column": 1, "droop": -1.0}, "droop = -1.0"), ({"column": 1, "scale_uncertainty": -0.1}, "scale_uncertainty = -0.1"),
])
def test_a_wrong_channel_is_refused(arguments, words):
    with pytest.raises(InputError, match=words):
        fs.Channel(**arguments)


def test_a_scale_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(awkward_files.rows(), encoding="utf-8")
    with pytest.raises(InputError, match="gives V, a current is in A"):
        fs.read_record(path, channels={"current": fs.Channel(column=1, scale="2 kV/V")})
    with pytest.raises(InputError, match=r"expected text such as '5 kA/V'"):
        fs.read_record(path, channels={"current": fs.Channel(column=1, scale="much")})


def test_mutated_files_end_in_a_record_or_in_one_message(tmp_path):
    rng, texts = np.random.default_rng(7), [awkward.content for awkward in READABLE]
    path = tmp_path / "mutated.csv"
    for _ in range(200):
        content = bytearray(texts[rng.integers(len(texts))])
        for _ in range(rng.integers(1, 6)):
            content[rng.integers(len(content))] = rng.integers(256)
        path.write_bytes(bytes(content))
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                record = fs.read_record(path)
            except InputError as error:
                assert str(error).startswith("mutated.csv")
            else:
                assert np.all(np.diff(record.times) > 0)


LIMITS = """
import os, resource, sys, time
import fieldsolve as fs, numpy, scipy.signal
import fieldsolve.records.reading.read
small = sys.argv[1] + ".small"
open(small, "w").write("0,1\\n1,2\\n2,3\\n")
fs.read_record(small)
before, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
record = fs.read_record(sys.argv[1], channels={"current": fs.Channel(column=1, scale=2.0)})
print(len(record.times), time.process_time() - start, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024)
"""


@pytest.mark.parametrize(("delimiter", "decimal"), [(",", "."), pytest.param(";", ",", marks=pytest.mark.slow)])
def test_a_million_samples_take_two_seconds_and_three_times_the_file(tmp_path, delimiter, decimal):
    path = tmp_path / "long.csv"
    block = "".join(f"{{}}{k:05d}e-9{delimiter}{np.sin(1e-3 * k):.6f}\n" for k in range(100_000)).replace(".", decimal)
    path.write_text("".join(block.replace("{}", str(number)) for number in range(1, 11)), encoding="utf-8")
    printed = subprocess.run([sys.executable, "-c", LIMITS, str(path)], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    samples, seconds, memory = map(float, printed.split())
    assert samples == 1_000_000
    assert seconds < 2.0
    assert memory < max(3 * path.stat().st_size, 50e6)


@pytest.mark.slow
def test_ten_million_lines_are_read(tmp_path):
    path = tmp_path / "longest.csv"
    block = "".join(f"{{}}{k:05d}e-9,{np.sin(1e-3 * k):.6f}\n" for k in range(100_000))
    with path.open("w", encoding="utf-8") as file:
        for number in range(1, 101):
            file.write(block.replace("{}", str(number)))
    printed = subprocess.run([sys.executable, "-c", LIMITS, str(path)], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    samples, _, memory = map(float, printed.split())
    assert samples == 10_000_000 and memory < 3 * path.stat().st_size


def instrument_file(path):
    """A file in an instrument's own format: a text header, then counts of two bytes; returns times and volts."""
    counts = np.round(8000 * np.sin(np.linspace(0, 12, 500))).astype(">i2")
    header = (":WFMPRE:BYT_NR 2;BIT_NR 16;ENCDG BIN;BN_FMT RI;BYT_OR MSB;NR_PT 500;WFID \"Ch1, DC coupling\";PT_FMT Y;XINCR 2.0E-8;"
              "PT_OFF 0;XZERO -1.0E-6;XUNIT \"s\";YMULT 1.0E-3;YZERO 0.0;YOFF 0.0;YUNIT \"V\";:CURVE #41000")
    path.write_bytes(header.encode() + counts.tobytes())
    return -1e-6 + 2e-8 * np.arange(500), 1e-3 * counts.astype(float)


def test_an_instruments_own_file_is_read_by_the_extra(tmp_path):
    pytest.importorskip("RigolWFM", reason="the extra 'scope' is not installed: pip install .[scope]")
    times, volts = instrument_file(tmp_path / "shot.isf")
    plain = fs.read_record(tmp_path / "shot.isf")
    assert plain.times == pytest.approx(times, abs=1e-15)
    assert plain.channel(plain.names[0]) == pytest.approx(volts, abs=1e-6)                # the reader keeps single precision
    record = fs.read_record(tmp_path / "shot.isf", channels={"current": fs.Channel(column=1, scale="2 kA/V")})
    assert record.channel("current") == pytest.approx(2000 * volts, abs=2e-3)


def test_without_the_extra_the_message_says_how_to_get_it(tmp_path, monkeypatch):
    instrument_file(tmp_path / "shot.isf")
    monkeypatch.setitem(sys.modules, "RigolWFM.wfm", None)
    with pytest.raises(InputError, match=r"pip install 'fieldsolve\[scope\]', or export the record as CSV"):
        fs.read_record(tmp_path / "shot.isf")


def test_a_column_in_another_unit_is_refused_with_the_right_ones(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("time [s],field of bore [T],current of coil [A],voltage of bank [V]\n"
                    + "".join(f"{k}e-6,{k},{k},{k}\n" for k in range(9)))
    with pytest.raises(InputError, match=r"column 1 \(field of bore\) is in T, a current in A: give .* current of coil"):
        fs.read_record(path, {"current": fs.Channel(column=1)})
    assert fs.read_record(path, {"current": fs.Channel(column="current of coil")}).channel("current")[-1] == 8.0
    assert fs.read_record(path, {"current": fs.Channel(column=1, scale=2.0)}).channel("current")[-1] == 16.0
    assert fs.read_record(path, {"current": fs.Channel(column=3)}).channel("current")[-1] == 8.0             # volts of an oscilloscope


ROWS = [f"{k}e-6,{np.sin(0.1 * k):.4f}" for k in range(1, 101)]


@pytest.mark.parametrize(("lines", "options", "words"), [
    (["time,V", *ROWS], {"time_unit": "mm"}, "time_unit = 'mm': expected a unit of time such as 'us'"),
    (["time,V", *ROWS], {"sweep": 2}, "sweep = 2: the file has 1; give a number from 1 to that"),
    (["time,V", *ROWS, *ROWS], {"sweep": 3}, "sweep = 3: the file has 2"),
    (["time,V", *ROWS[:9], "no row of numbers", *ROWS[9:]], {}, None),
    (["time,V", *ROWS[:50], *["words in place of it"] * 60, *ROWS[50:]], {}, "is no row of numbers"),
    (["time,V", *ROWS[:50], "nan,0.5", *ROWS[50:]], {}, "line 52: has no time; put the line right or take it out"),
])
def test_times_sweeps_and_lines_of_words(lines, options, words, tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("\n".join(lines))
    if words is None:
        assert any("line" in remark for remark in fs.read_record(path, **options).remarks)
        return
    with pytest.raises(InputError, match=words):
        fs.read_record(path, **options)


def test_seconds_that_last_long_are_remarked(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("\n".join(["t,V", *(f"{2 * k},{k % 7}" for k in range(100))]))
    assert any("spans 198 s: give time_unit='us'" in remark for remark in fs.read_record(path).remarks)
    assert fs.read_record(path, time_unit="us").times[-1] == pytest.approx(198e-6)


@pytest.mark.parametrize("even", [True, False])
def test_a_shunts_inductance_is_taken_off_on_any_grid(even, tmp_path):
    """v = R (i + tau di/dt) of a current i = sin(omega t): what is left is i, on an even grid of samples or not."""
    times = np.linspace(0.0, 100e-6, 2001)
    times = times if even else times + 20e-9 * np.sin(np.arange(2001))
    omega, time_constant = 2e5, 1e-6
    path = tmp_path / "record.csv"
    volts = np.sin(omega * times) + omega * time_constant * np.cos(omega * times)
    path.write_text("\n".join(["s,V", *(f"{t:.12g},{v:.9g}" for t, v in zip(times, volts, strict=True))]))
    record = fs.read_record(path, channels={"current": fs.Channel(column=1, scale="1 A/V", shunt_time=time_constant)})
    late = record.times > 20e-6                                         # the start of the integral is not known
    assert record.channel("current")[late] == pytest.approx(np.sin(omega * record.times[late]), abs=5e-3)


def test_a_line_of_thousands_of_digits_costs_no_time():
    """The pattern of a number may try each of its digits once: tried in pairs, ten thousand of them took four seconds."""
    started = time.process_time()
    for sign in (".", ","):
        assert not NUMBER[sign].fullmatch("9" * 10_000 + ">") and NUMBER[sign].fullmatch(f"-12{sign}5e-7")
        assert NUMBER[sign].fullmatch("7") and NUMBER[sign].fullmatch(f"7{sign}") and NUMBER[sign].fullmatch(f"{sign}5")
        assert not NUMBER[sign].fullmatch(sign)
    assert time.process_time() - started < 0.5
