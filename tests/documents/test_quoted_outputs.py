"""What a page shows below a command or a script is what it prints."""
from __future__ import annotations

import re
import subprocess
import sys

import pytest

from benchmarks.documents import quoted_outputs
from benchmarks.documents.module_table import ROOT
from benchmarks.documents.pages import QUOTING

LONG = [("README.md", 0), ("README.md", 2), ("fieldsolve/shot/README.md", 0), ("fieldsolve/shot/README.md", 1)]     # shots to their end
BLOCKS = [pytest.param(page, number, id=f"{page}-{number}", marks=[pytest.mark.slow] * ((page, number) in LONG)) for page in QUOTING
          for number, _ in enumerate(quoted_outputs.quotations((ROOT / page).read_text(encoding="utf-8")))]
WITH_ERROR = re.compile(r"(-?[\d.]+(?:e[-+]?\d+)?) (?:(?P<prefix>[munpkMG]?)\w+ )?(?:\+- |\(error )")
RELATIVE, SHARES = 0.03, 0.6         # of a number that stands without an error; of shares in per cent, which are printed to 0.1


@pytest.mark.parametrize(("page", "number"), BLOCKS)
def test_a_quoted_output_comes_out(page, number):
    quotation = quoted_outputs.quotations((ROOT / page).read_text(encoding="utf-8"))[number]
    quoted, words = quoted_outputs.numbers_and_words(quotation.quoted)
    printed, printed_words = quoted_outputs.numbers_and_words(quoted_outputs.run(quotation))
    assert printed_words == words
    for one, other in zip(quoted, printed, strict=True):
        assert one == pytest.approx(other, rel=RELATIVE, abs=SHARES if abs(other) < 10 else 0.0), words


def test_quotations_are_found_within_their_section():
    text = "```sh\nls\n```\n\nprose\n\n```text\nout\n```\n\n```python\nx\n```\n\n# next\n\n```text\nno output\n```\n"
    (found,) = quoted_outputs.quotations(text)
    assert (found.language, found.code, found.quoted) == ("sh", "ls\n", "out\n")
    assert text[slice(*found.span)] == "out\n"


def test_numbers_words_and_the_time_of_a_run():
    numbers, words = quoted_outputs.numbers_and_words("I 4.5 kA\n at -1e-3 s; 76 steps, 11233 unknowns, 12.8 s")
    assert numbers == [4.5, -1e-3]
    assert words == "I # kA at # s;"


def test_a_command_that_fails_is_said():
    with pytest.raises(RuntimeError, match="no such case file"):
        quoted_outputs.run(quoted_outputs.Quotation("sh", ".venv/bin/fieldsolve field none.toml\n", "", (0, 0)))


def test_the_documents_command_checks_without_writing(tmp_path):
    done = subprocess.run([sys.executable, "-m", "benchmarks", "documents", "--help"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0 and "--check" in done.stdout
