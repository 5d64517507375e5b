"""Sweeps that are killed at random moments, parent or worker: no stored run is lost and none is computed again."""
import os
import random
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

import fieldsolve as fs
from tests.source_tree import ROOT
from tests.sweeps.small_runs import RING, without_time

RADII = [f"{20 + k} mm" for k in range(40)]
SCRIPT = """
import fieldsolve as fs
from tests.sweeps.small_runs import RING
if __name__ == "__main__":
    fs.sweep(RING, over={{"coil.radius": {radii}}}, workers=2, store={store!r}, progress=lambda *seen: print(*seen, flush=True))
"""


def start(store: Path, radii) -> subprocess.Popen:
    """A sweep in a process of its own."""
    return subprocess.Popen([sys.executable, "-c", SCRIPT.format(store=str(store), radii=list(radii))], cwd=ROOT, stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, text=True, start_new_session=True)


def workers_of(parent: int) -> list[int]:
    """Processes whose parent is the process."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(fields[1]) == parent and b"tracker" not in (entry / "cmdline").read_bytes():
                found.append(int(entry.name))
    return found


def stored(store: Path) -> dict[str, tuple[int, bytes]]:
    """Time of writing and content of every run in a store."""
    return {path.name: (path.stat().st_mtime_ns, path.read_bytes()) for path in store.glob("runs/*/*.json") if path.name[0] != "."}


def kill_at_random(store: Path, radii, whom: str, moment: random.Random) -> None:
    """Start a sweep and, once it computes, kill its parent, or a worker and let it go on to the end."""
    before = len(stored(store))
    process = start(store, radii)
    deadline = time.monotonic() + 60
    while process.poll() is None and len(stored(store)) == before and time.monotonic() < deadline:
        time.sleep(0.02)
    time.sleep(moment.uniform(0, 0.6))
    workers = workers_of(process.pid)
    if whom == "parent":
        process.kill()
        process.communicate()
        until = time.monotonic() + 10
        while any(Path(f"/proc/{worker}").exists() for worker in workers) and time.monotonic() < until:
            time.sleep(0.05)
        assert not any(Path(f"/proc/{worker}").exists() for worker in workers), "workers outlive their parent"
    else:
        if workers:                                 # none where the sweep has ended
            with suppress(ProcessLookupError):
                os.kill(moment.choice(workers), signal.SIGKILL)
        try:
            _, errors = process.communicate(timeout=120)
        finally:
            process.kill()
            process.communicate()
        assert process.returncode == 0, errors


def check_kills(store: Path, radii, victims, seed: int) -> None:
    """Kill again and again in one store: what was stored stays as it was; in the end every row is there as if nothing had happened."""
    moment = random.Random(seed)
    for number, whom in enumerate(victims):
        before = stored(store)
        kill_at_random(store, radii[: 2 * (number + 2)], whom, moment)
        after = stored(store)
        assert {name: after.get(name) for name in before} == before
    before = stored(store)
    resumed = fs.sweep(RING, over={"coil.radius": radii}, workers=1, store=store)
    assert {name: stored(store)[name] for name in before} == before
    assert without_time(resumed) == without_time(fs.sweep(RING, over={"coil.radius": radii}, workers=1))


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="finds its processes below /proc")
@pytest.mark.slow
@pytest.mark.parametrize("whom", ["parent", "worker"])
def test_a_killed_sweep_goes_on_where_it_was(whom, tmp_path):
    check_kills(tmp_path / "store", RADII[:6], [whom], seed=1)


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="finds its processes below /proc")
def test_twenty_kills_lose_and_repeat_nothing(tmp_path):
    check_kills(tmp_path / "store", RADII, ["parent", "worker"] * 10, seed=20)
