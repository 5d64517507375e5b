"""The pages of a comparison and of a shot in the log, in a browser: nothing from elsewhere, nothing cut, the numbers of the JSON."""
import html
import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.cli.main import main
from fieldsolve.records.comparison.computed import computed_trace
from fieldsolve.records.log import ShotLog
from fieldsolve.report.plots.comparison import MOST_POINTS, envelope
from fieldsolve.report.sheet import page as page_module
from fieldsolve.report.sheet.comparison_page import comparison_html
from fieldsolve.report.sheet.log_page import log_html
from fieldsolve.shot.problem import CaseText
from tests.report.test_sheet import HOSTILE, at, browser, opened  # noqa: F401
from tests.rigs import RIG

RUN = '[run]\nend_time = "100 us"\nmotion = false\nheating = false\naccuracy = 3e-2\n'
CASE = RIG.replace('"120 uF"', '"120 uF +- 3 % (k=2)"').replace('"350 nH"', '"350 nH +- 5 %"') + RUN


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A case, a record of it, the page and JSON of its comparison, and a log with the same."""
    folder = tmp_path_factory.mktemp("comparison")
    (folder / "press.toml").write_text(CASE)
    shot = fs.solve_case(fs.read_case(folder / "press.toml"))
    times = np.arange(-5e-6, 95e-6, 50e-9)
    computed = computed_trace(shot, "coil", 100e-6)
    current = np.interp(times - 1e-6, computed.times, computed.values, left=0.0) * 0.9
    noisy = current + np.random.default_rng(1).normal(0, 300, len(times))
    lines = "".join(f"{time:.9e};{value / 5e3:.6e}\n" for time, value in zip(times, noisy, strict=True))
    (folder / "scope.csv").write_text(f"s;V\n{lines}")
    arguments = ["compare", str(folder / "press.toml"), str(folder / "scope.csv"), "--scale", "5 kA/V", "--scale-uncertainty", "2 %",
                 "--measured", "mass of disc = 3.8 g +- 1 mg", "--report", str(folder / "out.html"), "--json", str(folder / "out.json")]
    assert main(arguments) == 0
    log = ["--log", str(folder / "log")]
    assert main(["log", "new", str(folder / "press.toml"), *log, "--title", "a blank", "--fact", "operator = N. N."]) == 0
    name = ShotLog(folder / "log").names()[0]
    assert main(["log", "add", name, *log, "--record", str(folder / "scope.csv"), "--scale", "5 kA/V", "--scale-uncertainty", "2 %",
                 "--fact", "mass of disc = 3.8 g +- 1 mg", "--note", "none"]) == 0
    assert main(["log", "compare", name, *log, "--inputs", "held"]) == 0
    assert main(["log", "show", name, *log, "--report", str(folder / "log.html"), "--json", str(folder / "log.json")]) == 1      # older
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("page_name", ["out.html", "log.html"])
def test_the_page_stands_by_itself_and_loses_nothing(browser, folder, page_name):      # noqa: F811
    page, seen = opened(browser, folder / page_name)
    assert seen == [] and page.evaluate("document.scripts.length") == 0
    assert page.evaluate("[...document.images].map(image => image.naturalWidth)") == [pytest.approx(1296, abs=200)]
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True))) <= 3
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 710, "height": 1040})                 # of a sheet between its margins, in CSS pixels
    assert page.evaluate("Math.max(...[...document.querySelectorAll('section')].map(s => s.scrollHeight - s.clientHeight))") <= 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 710
    sizes = page.evaluate("[...document.querySelectorAll('.flow *')].map(e => parseFloat(getComputedStyle(e).fontSize))")
    assert min(sizes) >= 8 * 96 / 72 - 0.01


@pytest.mark.slow
@pytest.mark.parametrize("page_name", ["out.html", "log.html"])
def test_on_a_telephone_nothing_is_beside_the_screen(browser, folder, page_name):      # noqa: F811
    page, _ = opened(browser, folder / page_name)
    page.set_viewport_size({"width": 400, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") <= 400
    assert page.evaluate("Math.max(...[...document.querySelectorAll('td')].map(e => e.getBoundingClientRect().right))") <= 400


@pytest.mark.slow
@pytest.mark.parametrize("name", ["out", "log"])
def test_its_numbers_are_those_of_the_json(folder, name):
    text, facts = (folder / f"{name}.html").read_text(), json.loads((folder / f"{name}.json").read_text())
    cells = re.findall(r'data-key="([^"]+)" data-value="([^"]*)">([^<]*)<', text)
    pointers = [pointer for pointer, _, _ in cells]
    assert len(pointers) == len(set(pointers))
    rows = "/rows" if name == "out" else f"/additions/{len(facts['additions']) - 1}/facts/rows"
    count = len(at(facts, rows))
    assert count >= 6
    assert {f"{rows}/{k}/{key}" for k in range(count) for key in ("computed", "measured", "difference", "u_num", "u_input", "u_measured")} \
        <= set(pointers)
    assert ({"/time_zero_s", "/residual_rms_A", "/model_terms/0/inductance_H"} if name == "out"
            else {"/prediction/peak_current_A/coil"}) <= set(pointers)
    for pointer, value, shown in cells:
        known = at(facts, html.unescape(pointer))
        assert value == str(known), pointer
        number = re.search(r"-?[0-9.]+(e[+-]?[0-9]+)?", shown)
        if isinstance(known, float) and known and number and float(number[0]):
            assert float(number[0]) / known == pytest.approx(10.0 ** round(math.log10(float(number[0]) / known)), rel=6e-2), pointer
    for row in at(facts, rows):
        assert row["difference"] == row["computed"] - row["measured"]


@pytest.mark.slow
def test_the_comparison_says_what_it_should_of_ten_percent_too_little(folder):
    facts = json.loads((folder / "out.json").read_text())
    rows = {row["name"]: row for row in facts["rows"]}
    peak = rows["peak current of coil"]
    assert peak["outcome"] == "differs" and peak["difference"] == pytest.approx(0.1 * peak["computed"], rel=0.03)
    assert peak["u_measured"] == pytest.approx(0.02 * peak["measured"], rel=0.03) and 0 < peak["u_num"] < 0.02 * peak["computed"]
    assert set(peak["contributions"]) == {"bank.capacitance", "bank.inductance"}
    assert rows["zero crossing 1 of current"]["outcome"] == "agrees"
    assert facts["time_zero_s"] == pytest.approx(1e-6, abs=0.1e-6)


@pytest.mark.slow
def test_what_is_kept_in_the_log_is_the_comparison(folder):
    from fieldsolve.records.log.comparisons import kept_comparison
    entry = ShotLog(folder / "log").entries()[0]
    addition = entry.additions[-1]
    kept, facts = kept_comparison(entry, addition), json.loads((folder / "out.json").read_text())
    assert kept.facts().items() <= addition.facts.items()
    assert {row["name"]: row["measured"] for row in kept.facts()["rows"]} == {row["name"]: row["measured"] for row in facts["rows"]}
    assert kept.residual_rms == facts["residual_rms_A"]                    # from the arrays, to the last bit


@pytest.mark.slow
def test_texts_from_outside_stay_text(browser, folder, tmp_path, monkeypatch):      # noqa: F811
    from fieldsolve.records.log.comparisons import kept_comparison
    entry = ShotLog(folder / "log").entries()[0]
    comparison = kept_comparison(entry, entry.additions[-1])
    for module in ("comparison_page", "log_page"):
        monkeypatch.setattr(f"fieldsolve.report.sheet.{module}.image_data", lambda draw, letters, dpi=0: "data:,")
    for number, name in enumerate(HOSTILE):
        rows = tuple(replace(row, name=name, reason=name, contributions={name: 1.0}, offsets={name: 1.0}) for row in comparison.rows)
        named = replace(comparison, rows=rows, record_name=name, title=name, remarks=(name,), case=CaseText(name, name))
        path = tmp_path / f"{number}.html"
        path.write_text(comparison_html(named, named.facts()), encoding="utf-8")
        page, seen = opened(browser, path)
        assert seen == [] and page.evaluate("window.hit") is None and page.evaluate("document.scripts.length") == 0
        assert page.evaluate("document.querySelector('pre').textContent") == name
    from fieldsolve.records.log.text import entry_facts
    hostile = replace(entry, stored=entry.stored | {"title": HOSTILE[1]})
    path = tmp_path / "log.html"
    path.write_text(log_html(hostile, entry_facts(hostile)), encoding="utf-8")
    page, seen = opened(browser, path)
    assert page.evaluate("document.scripts.length") == 0 and page.evaluate("document.querySelector('h1 + p').textContent") == HOSTILE[1]


def test_a_long_record_is_drawn_by_its_envelope():
    from fieldsolve.records.comparison.trace import Trace
    times = np.arange(1_000_000) * 1e-9
    drawn = envelope(Trace(times, np.sin(times * 1e5) + (times == 0.0005)))
    assert len(drawn.times) <= MOST_POINTS + 4 and drawn.values.max() == pytest.approx(np.sin(times * 1e5).max(), abs=1e-3)
    assert page_module.STYLES[0] == "page.css"
