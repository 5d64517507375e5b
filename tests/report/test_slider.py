"""The slider of the page, moved in a browser: picture, words and radii follow it, and nothing but its own script may run."""
import re
import shutil
from functools import partial

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.cli.main import main
from fieldsolve.report.animation import slider

CHROMIUM = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
COUNT = 11


CASE = """
[coil]
shape = "solenoid"
turns = 2
bore_radius = "10.6 mm"
wire_diameter = "2.5 mm"
pitch = "2.8 mm"
material = "copper"

[disc]
shape = "disc"
radius = "10 mm"
thickness = "2 mm"
material = "aluminium 1100-O"

[bank]
capacitance = "60 uF"
voltage = "4 kV"
resistance = "6 mohm"
inductance = "250 nH"
arc_voltage = "80 V"

[run]
end_time = "15 us"
accuracy = 3e-2
"""


pytestmark = pytest.mark.slow        # a moving shot and its page


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """A folder with the kept shot, and its page with and without a slider of few pictures."""
    folder = tmp_path_factory.mktemp("slider")
    (folder / "rig.toml").write_text(CASE)
    kept = str(folder / "a.shot.npz")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(slider, "slider_pictures", partial(slider.slider_pictures, count=COUNT))
        main(["shot", str(folder / "rig.toml"), "--save", kept, "--report", str(folder / "with.html"), "--slider"])
        main(["show", kept, "--report", str(folder / "without.html")])
    return folder


@pytest.fixture(scope="module")
def shot(pages):
    return fs.load_shot(pages / "a.shot.npz")


@pytest.fixture(scope="module")
def page(pages):
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install .[test]")
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        opened, seen = browser.new_page(), []
        opened.on("console", lambda message: seen.append(message.text))
        opened.on("pageerror", lambda error: seen.append(str(error)))
        opened.on("request", lambda request: seen.append(request.url) if not request.url.startswith(("file:", "data:")) else None)
        opened.goto((pages / "with.html").as_uri())
        yield opened, seen
        browser.close()


def test_the_slider_shows_the_radius_of_the_series_at_ten_times(page, shot):
    opened, seen = page
    images = set()
    for k in range(1, COUNT):
        opened.evaluate("k => { const range = document.getElementById('slider-range'); range.value = k; "
                        "range.dispatchEvent(new Event('input')); }", k)
        words = opened.text_content("#slider-words")
        time, radius = (float(re.search(pattern, words)[1]) for pattern in (r"([\d.]+) µs", r"disc ([\d.]+) mm"))
        assert time == pytest.approx(15.0 * k / (COUNT - 1), abs=0.006)
        exact = 1e3 * np.interp(15e-6 * k / (COUNT - 1), shot.times, shot.series("outer_radius", "disc"))
        assert radius == pytest.approx(exact, abs=6e-4)
        images.add(opened.get_attribute("#slider-image", "src"))
    assert len(images) == COUNT - 1 and seen == []


def test_it_plays_to_the_end_and_stops(page):
    opened, seen = page
    opened.evaluate("document.getElementById('slider-range').value = 8")
    opened.click("#slider-play")
    assert opened.text_content("#slider-play") == "stop"
    opened.locator("#slider-play", has_text="play").wait_for(timeout=5000)
    assert opened.input_value("#slider-range") == str(COUNT - 1) and seen == []


def test_no_other_script_runs(page):
    opened, seen = page
    opened.evaluate("const script = document.createElement('script'); script.textContent = 'window.ran = true'; "
                    "document.body.append(script)")
    assert opened.evaluate("window.ran") is None
    seen.clear()                                                            # what the page's policy says of it


def test_it_prints_without_the_slider(page):
    opened, _ = page
    opened.emulate_media(media="print")
    assert not opened.is_visible("#slider-range")
    opened.emulate_media(media="screen")


def test_the_page_without_a_slider_has_no_script(pages):
    without, with_slider = ((pages / f"{name}.html").read_text(encoding="utf-8") for name in ("without", "with"))
    assert "<script" not in without and len(with_slider) - len(without) < 3e6


def test_a_slider_without_a_page_is_refused(pages, capsys):
    assert main(["show", str(pages / "a.shot.npz"), "--slider"]) == 2
    assert "--report FILE.html" in capsys.readouterr().err
