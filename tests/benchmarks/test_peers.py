"""Fields of an independent finite-element library beside ours, and that a difference is seen."""
import pytest

from benchmarks.peers import page
from benchmarks.peers.cases import CASES, LEAST_TOLERANCE, PeerRow


@pytest.mark.filterwarnings("ignore")                       # of the other library's import
@pytest.mark.parametrize("case", [
    "harmonic-20-kHz", *(pytest.param(name, marks=pytest.mark.slow) for name in ("harmonic-2-kHz", "static", "discharge")),
])
def test_another_library_has_the_same_figures(case):
    pytest.importorskip("ngsolve", reason="NGSolve is not installed (extra peers)")
    rows = list(CASES[case]())
    assert len(rows) >= 3
    assert [row for row in rows if not row.passed] == []


def test_a_difference_beyond_both_errors_is_out():
    def row(theirs):
        return PeerRow("case", "loss [W]", 1.0, 0.0, theirs, 0.0, "", "")
    assert row(1.0 + 0.9 * LEAST_TOLERANCE).passed
    assert not row(1.0 + 1.1 * LEAST_TOLERANCE).passed
    assert "OUT" in page.line(row(1.001)) and "**1.0e-03**" in page.markdown([row(1.001)])


def test_without_the_library_it_says_so(monkeypatch, capsys):
    monkeypatch.setattr(page.importlib.util, "find_spec", lambda name: None)
    assert page.main([]) == 0
    assert "NGSolve is not installed" in capsys.readouterr().out


def test_an_unknown_case_is_refused(capsys):
    with pytest.raises(SystemExit) as ended:
        page.main(["none"])
    assert ended.value.code == 2 and "there are: static" in capsys.readouterr().err
