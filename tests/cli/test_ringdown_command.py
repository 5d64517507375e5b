"""The command `fieldsolve ringdown`: table of the bank, page, JSON, exit codes, wrong use."""
from __future__ import annotations

import json
import re
import tomllib

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.rigs import invented_records
from fieldsolve.cli.main import main
from tests.report.test_sheet import at, browser, opened  # noqa: F401

OPTIONS = ["--capacitance", "120 uF +- 1 %", "--scale", "20 kA/V"]


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ringdown")
    invented_records.main(str(folder))
    return [str(folder / name) for name in invented_records.CHARGES]


def test_the_banks_table_is_ready_to_paste(records, capsys):
    assert main(["ringdown", *records, *OPTIONS, "--load", "1 mohm, 60 nH +- 3 nH"]) == 0
    printed = capsys.readouterr().out
    table = tomllib.loads("[bank]" + printed.partition("[bank]")[2].partition("\nCAUTION")[0])["bank"]
    assert set(table) == {"capacitance", "resistance", "inductance", "arc_voltage"}
    case = fs.read_case({"coil": {"shape": "loop", "radius": "10 mm"}, "bank": table | {"voltage": "2 kV"}})
    assert case.banks[0].inductance == pytest.approx(300e-9, rel=0.02)
    assert case.banks[0].arc_voltage == pytest.approx(80.0, rel=0.05)
    assert "95 %" in printed and max(map(len, printed.splitlines())) <= 100


def test_without_a_load_no_bank_is_printed(records, capsys):
    assert main(["ringdown", records[0], *OPTIONS]) == 0
    printed = capsys.readouterr().out
    assert "whole loop" in printed and "[bank]" not in printed


def test_json_page_and_figure_say_the_same(records, tmp_path, capsys, browser):  # noqa: F811
    page, facts, figure = tmp_path / "page.html", tmp_path / "facts.json", tmp_path / "figure.png"
    assert main(["ringdown", *records, *OPTIONS, "--load", "1 mohm, 60 nH", "--report", str(page), "--json", str(facts),
                 "--figure", str(figure)]) == 0
    known = json.loads(facts.read_text())
    assert known["parameters"]["inductance"]["low"] < 360e-9 < known["parameters"]["inductance"]["high"]
    cells = re.findall(r'data-key="([^"]+)" data-value="([^"]*)"', page.read_text())
    assert len(cells) > 60 and len(cells) == len({pointer for pointer, _ in cells})
    assert [pointer for pointer, value in cells if value != str(at(known, pointer))] == []
    assert figure.read_bytes().startswith(b"\x89PNG")
    shown, seen = opened(browser, page)
    assert seen == [] and shown.evaluate("document.scripts.length") == 0
    shown.emulate_media(media="print")
    shown.set_viewport_size({"width": 710, "height": 1040})
    assert shown.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 1
    assert len(re.findall(rb"/Type\s*/Page\b", shown.pdf(prefer_css_page_size=True))) == 2            # half-waves of two records


def test_what_is_not_determined_ends_with_3(tmp_path, capsys):
    times = np.linspace(0, 28e-6, 200)
    noisy = 5e4 * np.exp(-5e3 * times) * np.sin(1.2e5 * times) + np.random.default_rng(1).normal(0, 2500, 200)
    path = tmp_path / "short.csv"
    path.write_text("".join(f"{t:.9e},{i:.6g}\n" for t, i in zip(times, noisy, strict=True)), encoding="utf-8")
    assert main(["ringdown", str(path), "--capacitance", "120 uF"]) == 3
    assert "undetermined" in capsys.readouterr().out


@pytest.mark.parametrize(("options", "words"), [
    (["--capacitance", "120"], "expected a capacitance"), (["--capacitance", "0 F"], "below 1 farad"),
    (["--capacitance", "120 uF", "--load", "1 mohm, 2 nH, 3"], "expected a case file, or resistance and inductance"),
    (["--capacitance", "120 uF", "--load", "none.toml"], "no such case file"), (["--capacitance", "120 uF", "--skip", "9"], "skip = 9"),
    (["--capacitance", "120 uF", "--column", "7"], "no column 7"), (["--capacitance", "120 uF", "--scale", "5 kV/V"], "gives V"),
])
def test_wrong_use_is_one_line(records, options, words, capsys):
    assert main(["ringdown", records[0], *options]) == 2
    error = capsys.readouterr().err
    assert words in error and error.count("\n") == 1
