"""The page for the bench, in a browser: nothing from elsewhere, two sheets of A4, the figures of the JSON, names that are no commands."""
import json
import math
import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.cases.case_file import read_case
from fieldsolve.cli.main import main
from fieldsolve.report.sheet import page as page_module
from fieldsolve.report.sheet.page import page_html
from fieldsolve.report.sheet.rig_drawing import plot_rig
from fieldsolve.report.sheet.scope import ScopeChannel, describe_missing_signals, one_two_five, scope_channels
from fieldsolve.report.sheet.small_plots import small_plots
from fieldsolve.report.text.shot import shot_facts
from fieldsolve.shot.problem import CaseText
from tests.kept_files import CASE, write_kept_files

CHROMIUM = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
HOSTILE = [
    "<script>window.hit=1</script>", "</td></table><script>window.hit=1</script>", "<img src=x onerror=window.hit=1>",
    "\" onmouseover=\"x ' onload='window.hit=1 <svg onload=window.hit=1> javascript:window.hit=1",
    "{{ 7 * 7 }} {% raw %} %s%n", "{# x &lt;b&gt; \u202eabc a\u0301", "<!--", "--> ]]> </pre><h1>x</h1>",
    "</style><script>window.hit=1</script>", "<iframe src='http://example.org'></iframe> <link rel=stylesheet href=//example.org/x.css>"]
DRAWN = "$\\frac{a$b$ $x \\ " + "a" * 400       # what a drawing could stumble over


@pytest.fixture(scope="module")
def output_folder(tmp_path_factory):
    """The page and JSON of a shot by the command."""
    folder = tmp_path_factory.mktemp("page")
    write_kept_files(folder)
    return folder


@pytest.fixture(scope="module")
def held(output_folder):
    """A shot of the same section with its metal held."""
    section = read_case(output_folder / "rig.toml").section
    return fs.solve_shot(section, fs.Bank(120e-6, 4e3), end_time=1e-6, motion=False, heating=False, accuracy=3e-2)


@pytest.fixture(scope="module")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install .[test]")
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        launched = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        window, seen = launched.new_page(), []
        window.on("console", lambda message: seen.append(message.text) if message.type in ("error", "warning") else None)
        window.on("pageerror", lambda error: seen.append(str(error)))
        window.on("request", lambda request: seen.append(request.url) if not request.url.startswith(("file:", "data:")) else None)
        yield window, seen
        launched.close()


def opened(browser, path):
    """The page in the browser's window, and what it complains of and asks for until another one is opened there."""
    window, seen = browser
    window.emulate_media(media="null")
    window.set_viewport_size({"width": 1280, "height": 720})
    seen.clear()
    window.goto(path.as_uri())
    return window, seen


def test_the_page_stands_by_itself_and_every_image_loads(browser, output_folder):
    page, seen = opened(browser, output_folder / "out.html")
    assert seen == []
    widths = page.evaluate("[...document.images].map(image => image.naturalWidth)")
    assert len(widths) >= 8 and min(widths) > 100
    assert page.evaluate("document.scripts.length") == 0


def test_it_prints_on_two_sheets_and_loses_nothing(browser, output_folder):
    page, _ = opened(browser, output_folder / "out.html")
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True))) == 2
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 710, "height": 1040})                 # of a sheet between its margins, in CSS pixels
    cut = page.evaluate("[...document.querySelectorAll('.sheet')].map(sheet => sheet.scrollHeight - sheet.clientHeight)")
    assert max(cut) <= 1
    sizes = page.evaluate("[...document.querySelectorAll('.sheet *')].map(e => parseFloat(getComputedStyle(e).fontSize))")
    assert min(sizes) >= 8 * 96 / 72 - 0.01


def test_its_figures_are_those_of_the_json(output_folder):
    text, facts = (output_folder / "out.html").read_text(), json.loads((output_folder / "out.json").read_text())
    cells = re.findall(r'data-key="([^"]+)" data-value="([^"]*)">([^<]*)<', text)
    assert len(cells) == len({pointer for pointer, _, _ in cells})
    assert {"/coils/coil/current_peak_A", "/fields/bore/peak_T", "/bodies/disc/radius_ratio", "/bodies/disc/temperature_max_K",
            "/bodies/disc/diameter_at_corners_end_m", "/bodies/disc/diameter_at_middle_end_m", "/bodies/disc/largest_thickness_end_m",
            "/bodies/disc/largest_thickness_radius_end_m", "/bodies/disc/rim_thickness_end_m", "/bodies/disc/mid_radius_thickness_end_m",
            "/bodies/disc/axis_thickness_end_m", "/bodies/disc/radial_impulse_Ns",
            "/energy_residual", "/scope/0/peak", "/scope/2/scale_per_division"} <= {
        pointer for pointer, _, _ in cells
    }
    assert sum(pointer.startswith("/card/checks/") for pointer, _, _ in cells) >= 4
    for pointer, value, shown in cells:
        known = at(facts, pointer)
        assert value == str(known)
        number = re.search(r"-?[0-9.]+(e[+-]?[0-9]+)?", shown)
        if isinstance(known, float) and known and number:
            assert float(number[0]) / known == pytest.approx(10.0 ** round(math.log10(float(number[0]) / known)), rel=6e-3), pointer


def test_the_second_sheet_holds_six_small_plots(output_folder):
    """It has room for no more: a seventh would push the rest off the page."""
    titles = re.findall(r"<figcaption>([^<]*)</figcaption>", (output_folder / "out.html").read_text())
    assert len(titles) == len(set(titles)) == 6


def test_the_first_sheet_is_filled_with_fields_to_write_in(browser, output_folder):
    page, _ = opened(browser, output_folder / "out.html")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 710, "height": 1047})
    labels = page.evaluate("[...document.querySelectorAll('.blanks span')].map(span => span.textContent)")
    for wanted in ("date", "shot number", "operator", "charge at the trigger (planned 4", "diameter", "thickness"):
        assert any(label.startswith(wanted) for label in labels), wanted
    sheet, remarks = (page.evaluate(f"document.querySelector('{name}').getBoundingClientRect().bottom") for name in (".first", ".remarks"))
    assert sheet == pytest.approx(277 / 25.4 * 96, abs=2) and remarks == pytest.approx(sheet, abs=2)


def test_on_a_telephone_there_is_one_column_and_no_number_is_broken(browser, output_folder):
    page, _ = opened(browser, output_folder / "out.html")
    page.set_viewport_size({"width": 400, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 400
    edges = page.evaluate("[...document.querySelectorAll('.two > *, .three > *, .plots > *')].map(e => e.getBoundingClientRect().left)")
    assert max(edges) - min(edges) < 1
    broken = page.evaluate(r"""() => {
        const found = [], walk = document.createTreeWalker(document.querySelector('body'), NodeFilter.SHOW_TEXT);
        while (walk.nextNode()) {
            if (walk.currentNode.parentElement.closest('pre') || walk.currentNode.textContent.includes('SHA-256')) continue;
            for (const match of walk.currentNode.textContent.matchAll(/-?\d[\d.e+-]*/g)) {
                const range = document.createRange();
                range.setStart(walk.currentNode, match.index);
                range.setEnd(walk.currentNode, match.index + match[0].length);
                if (new Set([...range.getClientRects()].map(box => Math.round(box.top))).size > 1) found.push(match[0]);
            }
        }
        return found; }""")
    assert broken == []                                                         # but for the hash of the case


def test_every_number_of_the_card_says_of_which_run_it_is(output_folder):
    text, facts = (output_folder / "out.html").read_text(), json.loads((output_folder / "out.json").read_text())
    rows = re.findall(r'data-key="/card/checks/(\d+)/value".*?</tr>', text, re.S)
    marks = re.findall(r'data-key="/card/checks/(\d+)/limit".*?<td>([^<]*)</td></tr>', text, re.S)
    assert len(rows) == len(marks) > 0
    for number, mark in marks:
        run = facts["card"]["checks"][int(number)]["run"]
        assert (f"({run})" in mark) == (run is not None)
    assert "Key quantities (metal moving)" in text and "The shot (metal moving)" in text and "prove dead, short (metal moving)" in text


def test_the_drawing_has_its_dimensions(held):
    texts = [text.get_text() for text in plot_rig(held).texts]
    assert "coil bore ⌀31.2" in texts and "disc ⌀30" in texts
    assert any("coil tall 12.9, 4 turns" in text and "disc thick 2" in text for text in texts)


def test_axes_of_small_plots_name_quantity_and_unit(held):
    labels = [draw().get_ylabel() for _, draw in small_plots(held)]
    assert all(re.fullmatch(r"[a-z].* \[[^\]]+\](,\n[a-z ]+)?", label) for label in labels), labels
    _, draw = next(iter(small_plots(held)))
    assert [ax.get_ylabel() for ax in draw().figure.axes] == ["current [kA]", "voltage [kV]"]


def test_the_scope_says_what_instruments_would_add(output_folder):
    text = (output_folder / "out.html").read_text()
    assert "With [instruments] in the case file the volts at the scope stand here too: Rogowski coil, shunt, pick-up loop, divider." in text
    every = [ScopeChannel(f"{name}, largest signal", 1.0, "V", 1.0) for name in ("Rogowski coil", "shunt", "B-dot loop", "divider")]
    assert describe_missing_signals(every) == "" and describe_missing_signals(every[:3]).endswith("too: divider.")


def at(facts, pointer):
    """What a JSON pointer (RFC 6901) leads to."""
    for step in pointer[1:].split("/"):
        facts = facts[int(step)] if isinstance(facts, list) else facts[step]
    return facts


def test_a_table_of_the_card_that_is_bad_is_refused_before_the_solve(output_folder, tmp_path, capsys, monkeypatch):
    bad = tmp_path / "bad.toml"
    bad.write_text(CASE + '[gap]\ndistance = "-3 mm"\n')
    monkeypatch.setattr("fieldsolve.cli.progress.solve_with_progress", lambda *_: pytest.fail("it was solved"))
    assert main(["shot", str(bad), "--report", str(tmp_path / "out.html")]) == 2
    assert re.search(r"bad\.toml: \[gap\]", capsys.readouterr().err)


def test_it_is_small_and_says_what_it_is_made_from(output_folder):
    text = (output_folder / "out.html").read_text()
    assert len(text) < 3e6 and "SHA-256" in text and "numpy" in text and "fieldsolve" in text
    assert text.index("A charged bank kills") < text.index("Key quantities") < text.index("<h2>Card</h2>") < text.index("Checklist")


def test_names_and_notes_stay_text(browser, held, tmp_path, monkeypatch):
    drawn, shot = page_module.image_data, held
    facts = shot_facts(shot)
    for number, name in enumerate([*HOSTILE, DRAWN]):
        source = CaseText(f"case {number}.toml", name)
        named = replace(shot, section=replace(shot.section, parts=tuple(replace(part, name=name) if part.name == "disc" else part
                                                                        for part in shot.section.parts)), stop_reason=name)
        monkeypatch.setattr(page_module, "image_data", drawn if name == DRAWN else lambda draw, letters, dpi=0: "data:,")
        html = tmp_path / f"{number}.html"
        html.write_text(page_html(_Named(named, shot), facts, source, None, scope_channels(shot, None)), encoding="utf-8")
        page, seen = opened(browser, html)
        assert seen == [] and page.evaluate("window.hit") is None and page.evaluate("document.scripts.length") == 0
        assert page.evaluate("document.querySelector('pre').textContent") == name
        assert page.evaluate("document.querySelectorAll('section.sheet').length") == 2


def test_a_shot_beyond_the_model_says_so_above_its_figures(output_folder, without_pictures):
    case, shot = output_folder / "rig.toml", fs.load_shot(output_folder / "a.shot.npz")
    leak = np.linspace(0.0, 0.05 * shot.energy.scale, len(shot.times))
    leaky = replace(shot, energy=replace(shot.energy, sinks=shot.energy.sinks | {"leak": leak}))
    text = page_html(leaky, shot_facts(leaky), CaseText(case.name, case.read_text()), None, scope_channels(leaky, None))
    text = text.replace("\N{NO-BREAK SPACE}", " ")
    cells = f"Beyond the model from {1e6 * leaky.validity_end:.1f} us on, for the energy balance is lost"
    assert text.index(cells) < text.index("Key quantities") and "predict nothing" in text


class _Named:
    """A shot whose section is drawn under other names, all else as it was."""

    def __init__(self, named, shot):
        self.section, self.stop_reason, self._shot = named.section, named.stop_reason, shot

    def __getattr__(self, name):
        return getattr(self._shot, name)


@pytest.mark.parametrize(
    ("lower_bound", "step"), [(0.9, 1.0), (1.1, 2.0), (2.2, 5.0), (6.0, 10.0), (12.9e3, 20e3), (6e-6, 1e-5), (2e-7, 2e-7)]
)
def test_scales_are_of_one_two_five(lower_bound, step):
    assert one_two_five(lower_bound) == pytest.approx(step)


def test_a_field_has_a_page_of_one_sheet(browser, output_folder):
    target = output_folder / "field.html"
    assert main(["field", str(output_folder / "rig.toml"), "--frequency", "10 kHz", "--accuracy", "3e-2", "--report", str(target)]) == 0
    page, seen = opened(browser, target)
    assert seen == [] and page.evaluate("document.images[0].naturalWidth") > 500
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True))) == 1


def test_a_bad_target_is_refused_before_the_shot(output_folder, capsys):
    assert main(["shot", str(output_folder / "rig.toml"), "--report", str(output_folder / "out.pdf")]) == 2
    assert ".html" in capsys.readouterr().err
