"""A shot of moving metal by the command: kept, its tables, and its page; computed once a run."""
import tempfile
from pathlib import Path

from fieldsolve.cli.main import main
from tests.computed_once import computed_once
from tests.rigs import RIG

CASE = RIG + '[run]\nend_time = "8 us"\naccuracy = 3e-2\n'
FINISHED = (0, 4)            # so early the skin is still too thin for the accuracy, which the exit code says


@computed_once
def kept_files() -> dict[str, bytes]:
    """Contents of the case `rig.toml`, of the kept shot `a.shot.npz`, and of `out.json`, `out.csv`, `out.npz` and the page `out.html`."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "rig.toml").write_text(CASE, encoding="utf-8")
        options = [("--save", "a.shot.npz"), ("--json", "out.json"), ("--csv", "out.csv"), ("--npz", "out.npz"), ("--report", "out.html")]
        written = [word for option, file in options for word in (option, str(folder / file))]
        assert main(["shot", str(folder / "rig.toml"), *written, "--frames", "1 MHz"]) in FINISHED
        return {path.name: path.read_bytes() for path in folder.iterdir()}


def write_kept_files(folder: Path) -> None:
    """Put them into a folder."""
    for name, content in kept_files().items():
        (folder / name).write_bytes(content)
