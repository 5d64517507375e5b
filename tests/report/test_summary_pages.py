"""Pages of fields, bridge checks and cards: one picture or three, every number with its pointer, nothing from outside as markup."""
import base64
import html
import json
import re
import struct

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.cli.main import main
from fieldsolve.report.plots.impedance import plot_bridge
from fieldsolve.report.plots.styles import figures_for_files
from fieldsolve.report.sheet.card_bars import SHOWN, plot_card, used_share
from fieldsolve.report.sheet.card_page import card_html
from fieldsolve.report.text.rig import card_facts
from fieldsolve.rig.checks.rule import NOT_ASSESSED, OUTSIDE

CASE = """[coil]
shape = "winding"
turns = 2
inner_radius = "16 mm"
outer_radius = "19 mm"
height = "6 mm"
fill = 0.6
material = "copper"

["blank <b>$x$</b>"]
shape = "disc"
radius = "15 mm"
thickness = "2 mm"
material = "copper"

[bank]
capacitance = "120 uF"
voltage = "5 kV"
rated_voltage = "5.2 kV"

[field]
accuracy = 0.1
"""


@pytest.fixture
def case(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(CASE, encoding="utf-8")
    return str(path)


def pictures(page):
    """(width, height) in pixels of the page's pictures."""
    images = [base64.b64decode(data) for data in re.findall(r'src="data:image/png;base64,([^"]+)"', page)]
    assert all(image.startswith(b"\x89PNG") for image in images)
    return [struct.unpack(">2I", image[16:24]) for image in images]


@pytest.mark.parametrize(("frequencies", "captions"), [
    (None, ["The field"]), pytest.param("1 kHz", ["The field at 1 kHz"], marks=pytest.mark.slow),
    ("1 kHz, 10 kHz", ["Resistance and inductance", "The field at 1 kHz", "The field at 10 kHz"]),
    pytest.param("10 kHz, 1 kHz, 3 kHz", ["Resistance and inductance", "The field at 1 kHz", "The field at 10 kHz"],
                 marks=pytest.mark.slow),
])
def test_the_page_and_the_figure_of_a_field(case, tmp_path, frequencies, captions):
    figure, page = tmp_path / "a.png", tmp_path / "a.html"
    options = ["--frequency", frequencies] if frequencies else []
    assert main(["field", case, *options, "--figure", str(figure), "--report", str(page)]) == 0
    assert figure.read_bytes().startswith(b"\x89PNG")
    text = page.read_text(encoding="utf-8")
    assert re.findall(r"<figure><h2>([^<]*)</h2>", text) == captions
    assert len(pictures(text)) == len(captions) and min(min(size) for size in pictures(text)) > 500
    assert "<b>" not in text and "blank &lt;b&gt;" in text
    assert text.count("A charged bank kills") == 1


def test_a_bridge_check_is_drawn_and_has_a_page(case, tmp_path, capsys):
    figure, page = tmp_path / "a.svg", tmp_path / "a.html"
    assert main(["bridge", case, "--frequencies", "1 kHz, 5 kHz", "--figure", str(figure), "--report", str(page)]) == 0
    assert f"written: {figure}, {page}" in capsys.readouterr().out
    text = page.read_text(encoding="utf-8")
    assert "<svg" in figure.read_text(encoding="utf-8")
    assert "R empty" in text and len(pictures(text)) == 1


def test_the_bridge_drawing_holds_the_readings():
    coil = geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=9e-3, turns=8)
    section = geo.CrossSection([coil, geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("copper"))])
    rows = fs.bridge_check(section, frequencies=[1e4, 1e3], accuracy=3e-2)
    with figures_for_files():
        (ax,) = plot_bridge(rows)                               # no resistance: the winding has neither fill nor material
    assert ax.get_ylabel() == "inductance [µH]"
    drawn = [line.get_ydata() for line in ax.lines]
    assert drawn[0] == pytest.approx([1e6 * row.inductance_empty for row in rows[::-1]])
    assert drawn[1] == pytest.approx([1e6 * row.inductance_loaded for row in rows[::-1]])


@pytest.fixture(scope="module")
def card():
    """A card whose charge is outside and that says little of the rest."""
    coil = {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper"}
    return fs.rig_card(fs.read_rig({"coil": coil, "bank": {"capacitance": "120 uF", "voltage": "5 kV", "rated_voltage": "5.2 kV"}}))


def test_the_bars_of_a_card_say_how_much_of_a_limit_is_used(card):
    with figures_for_files():
        ax = plot_card(card)
    outside = [check for check in card.checks if check.verdict == OUTSIDE]
    shares = [used_share(check) for check in card.checks]
    assert outside and all(used_share(check) > 1 for check in outside if used_share(check) is not None)
    assert all(share is None or check.verdict == OUTSIDE or share <= 1 for share, check in zip(shares, card.checks, strict=True))
    expected = sorted(min(share, SHOWN) for share in shares if share is not None)
    assert sorted(bar.get_width() for bar in ax.patches) == pytest.approx(expected)
    assert ax.get_yticklabels()[0].get_text() == outside[0].quantity
    assert len(ax.get_yticklabels()) == sum(check.verdict != NOT_ASSESSED for check in card.checks) == len(ax.texts)
    assert "not assessed" in ax.get_title(loc="left")


def test_every_number_of_the_card_s_page_is_that_of_its_json(card, case):
    text, facts = card_html("card <i>", card, fs.read_case(case)), card_facts(card)
    assert "card &lt;i&gt;" in text and "<i>" not in text and len(pictures(text)) == 2
    shown = re.findall(r'data-key="/(checks|quantities)/(\d+)/(\w+)" data-value="([^"]*)"', text)
    assert len(shown) == 8
    assert all(str(facts[kind][int(k)][key]) == value for kind, k, key, value in shown)
    named = {check["quantity"] for check in facts["checks"]}
    assert all(quantity in html.unescape(text) for quantity in named)


def test_the_command_writes_the_card_s_drawing_and_page(case, tmp_path, capsys):
    figure, page, target = tmp_path / "a.png", tmp_path / "a.html", tmp_path / "a.json"
    assert main(["rig", case, "--figure", str(figure), "--report", str(page), "--json", str(target)]) == 1
    assert json.loads(target.read_text())["verdict"] in page.read_text(encoding="utf-8")
    assert f"{target}, {figure}, {page}" in capsys.readouterr().out and figure.read_bytes().startswith(b"\x89PNG")
