"""What a page quotes below a command: found, run again, and written anew or compared."""
from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from benchmarks.documents.module_table import ROOT

FENCE = re.compile(r"^```(?P<language>\w+)\n(?P<content>.*?)^```$", re.MULTILINE | re.DOTALL)
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")
RUN_TIME = re.compile(r"\d+ steps, \d+ unknowns, [\d.]+ s")             # differs from machine to machine


@dataclass(frozen=True)
class Quotation:
    """A block of commands or Python, and the output that the page shows below it.

    span   where the output stands in the page's text
    """

    language: str
    code: str
    quoted: str
    span: tuple[int, int]


def quotations(text: str) -> list[Quotation]:
    """The blocks of a page whose output is quoted in the next block, within the same section."""
    blocks = list(FENCE.finditer(text))
    return [Quotation(code["language"], code["content"], output["content"], output.span("content"))
            for code, output in pairwise(blocks)
            if code["language"] in ("sh", "python") and output["language"] == "text" and "\n#" not in text[code.end():output.start()]]


def run(quotation: Quotation) -> str:
    """What the block prints today, run in an empty folder that holds `benchmarks/` only.

    Of a block of commands those of this package are run; what installs it is left out.
    """
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "benchmarks").symlink_to(ROOT / "benchmarks")
        return "".join(_run_one(arguments, folder) for arguments in _commands(quotation))


def written_anew(text: str) -> str:
    """The page with every quoted output replaced by today's."""
    for quotation in reversed(quotations(text)):
        first, last = quotation.span
        text = text[:first] + run(quotation) + text[last:]
    return text


def numbers_and_words(output: str) -> tuple[list[float], str]:
    """The numbers of an output, and its words with `#` for each of them, whatever the line breaks; without the time of the run."""
    plain = " ".join(RUN_TIME.sub("", output).split())
    return [float(number) for number in NUMBER.findall(plain)], NUMBER.sub("#", plain)


def _commands(quotation: Quotation) -> list[list[str]]:
    if quotation.language == "python":
        return [["-c", quotation.code]]
    lines = [shlex.split(line, comments=True) for line in quotation.code.replace("\\\n", " ").splitlines()]
    commands = {".venv/bin/fieldsolve": ["-m", "fieldsolve"], ".venv/bin/python": []}
    return [commands[words[0]] + words[1:] for words in lines if words and words[0] in commands and words[1:3] != ["-m", "venv"]]


def _run_one(arguments: list[str], folder: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, *arguments], cwd=folder, env=environment, capture_output=True, text=True)
    if done.returncode not in (0, 1, 3):            # 1 and 3: a card with something outside, or not assessed
        raise RuntimeError(f"{' '.join(arguments)} ended with {done.returncode}: {done.stderr}")
    return done.stdout
