"""`python -m benchmarks gallery [NAME ...] [--into FOLDER]`: draws the pictures of benchmarks/examples by their scripts and commands."""
from __future__ import annotations

import argparse
import contextlib
import io
import runpy
import sys
import tempfile
from pathlib import Path
from typing import Any

EXAMPLES = Path(__file__).parent / "examples"
ROOT = Path(__file__).parents[1]
RIGS = "benchmarks/rigs"
PAGES = {                       # picture -> command of the program, and the file it writes that is the picture
    "before_and_after": (["shot", f"{RIGS}/blank_press.toml", "--figures", "pictures"], "pictures/sections.png"),
    "bench_sheet": (["shot", f"{RIGS}/blank_press.toml", "--report", "sheet.html"], "sheet.html"),
    "charge_map": (["sweep", f"{RIGS}/charge_sweep.toml", "--figures", "pictures"], "pictures/plot_1.png"),
    "design_frontier": (["design", f"{RIGS}/coil_design.toml", "--figure", "frontier.png"], "frontier.png"),
}
DPI = 110
COLOURS = 64                    # of a picture, which keeps its file small
LARGEST = 150_000               # bytes of a picture
SHEET = {"width": 710, "height": 1047}         # A4 between its margins, in CSS pixels
SETTINGS = {"savefig.facecolor": "white", "figure.max_open_warning": 0}


def names() -> list[str]:
    """Names of all pictures: those of the scripts, then those of the commands."""
    return [*sorted(path.stem for path in EXAMPLES.glob("[!_]*.py")), *PAGES]


def main(arguments: list[str] | None = None) -> int:
    """Draw the pictures named, all by default."""
    options = _parse_options(arguments)
    options.into.mkdir(parents=True, exist_ok=True)
    for name in options.name or names():
        path = options.into / f"{name}.png"
        write_small(path, picture_of(name))
        print(f"wrote {path}", file=sys.stderr)
    return 0


def picture_of(name: str) -> bytes:
    """A picture as PNG, by its script or its command."""
    return _page_picture(*PAGES[name]) if name in PAGES else _drawn(run_script(name)["figure"])


def run_script(name: str) -> dict[str, Any]:
    """What an example leaves behind, by name, when it is run in the project's folder; `figure` is its picture."""
    import matplotlib as mpl

    with mpl.rc_context({"backend": "agg", **SETTINGS}), contextlib.chdir(ROOT):
        return runpy.run_path(str(EXAMPLES / f"{name}.py"))


def _drawn(figure: Any) -> bytes:
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=DPI)
    return buffer.getvalue()


def _page_picture(command: list[str], made: str) -> bytes:
    """What a command of the program writes: a picture as it is, a page as it prints."""
    from fieldsolve.cli.main import main as run_program

    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "benchmarks").symlink_to(ROOT / "benchmarks")
        with contextlib.chdir(folder):
            code = run_program(command)
        if not (Path(folder) / made).exists():
            raise RuntimeError(f"{' '.join(command)} ended with {code} and without {made}")
        return _printed(Path(folder) / made) if made.endswith(".html") else (Path(folder) / made).read_bytes()


def _printed(page: Path) -> bytes:
    """The two sheets of a page side by side, as a browser prints them."""
    import shutil

    from playwright.sync_api import sync_playwright

    found = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        opened = browser.new_page(viewport=SHEET)
        opened.goto(page.as_uri())
        opened.emulate_media(media="print")
        sheets = [sheet.screenshot() for sheet in opened.locator(".sheet").all()]
        browser.close()
    return _side_by_side(sheets)


def _side_by_side(sheets: list[bytes]) -> bytes:
    from PIL import Image

    opened = [Image.open(io.BytesIO(sheet)).convert("RGB") for sheet in sheets]
    gap = 24
    size = sum(sheet.width + gap for sheet in opened) + gap, max(sheet.height for sheet in opened) + 2 * gap
    whole, left = Image.new("RGB", size, "white"), gap
    for sheet in opened:
        whole.paste(sheet, (left, gap))
        left += sheet.width + gap
    buffer = io.BytesIO()
    whole.save(buffer, format="PNG")
    return buffer.getvalue()


def write_small(path: Path, picture: bytes) -> None:
    """A picture with few colours.  Raises RuntimeError where it is larger than a picture of the gallery may be."""
    from PIL import Image

    buffer = io.BytesIO()
    with Image.open(io.BytesIO(picture)) as opened:
        opened.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(buffer, format="PNG", optimize=True)
    if len(buffer.getvalue()) > LARGEST:
        raise RuntimeError(f"{path.name} has {len(buffer.getvalue())} bytes, over {LARGEST}: draw less, or smaller")
    path.write_bytes(buffer.getvalue())


def _parse_options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks gallery", description="Draw the pictures of benchmarks/examples.")
    parser.add_argument("name", nargs="*", metavar="NAME", help=f"pictures to draw, of: {', '.join(names())} (default: all, which takes "
                        "minutes)")
    parser.add_argument("--into", type=Path, default=EXAMPLES, metavar="FOLDER", help="where to write them (default: benchmarks/examples)")
    options = parser.parse_args(arguments)
    if unknown := [name for name in options.name if name not in names()]:
        parser.error(f"no picture {', '.join(unknown)}; there are: {', '.join(names())}")
    return options


if __name__ == "__main__":
    sys.exit(main())
