"""A shot that was stopped goes on from its checkpoint to the same bits; writing changes nothing; the one before is kept."""
import subprocess
import sys
import zipfile
from dataclasses import dataclass, replace

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.cli.main import main
from fieldsolve.errors import InputError
from fieldsolve.motion.contract import NO_ENERGY, MotionEnergy
from fieldsolve.shot.checkpoint import keeper as keeping
from fieldsolve.shot.checkpoint.file import path_before, read_checkpoint, read_checkpoint_header, write_checkpoint
from fieldsolve.shot.checkpoint.keeper import Keeper
from fieldsolve.shot.load import MAKERS
from tests.rigs import RIG
from tests.shot.checkpoint import runs
from tests.source_tree import ROOT

READ = """import sys
from tests.shot.checkpoint import runs
shot = runs.resume(sys.argv[1])
shot.save(sys.argv[2])"""


def keep_every(monkeypatch, steps):
    """Checkpoints after so many steps, whatever they cost."""
    monkeypatch.setattr(keeping, "STEPS", steps)
    monkeypatch.setattr(keeping, "TIME_SHARE", np.inf)


@pytest.fixture
def every_few_steps(monkeypatch):
    keep_every(monkeypatch, 4)


def stopped(problem, path, steps):
    """Leave the checkpoint of a problem after a number of steps."""
    with pytest.raises(runs.Stopped):
        runs.solve(problem, Keeper(path), runs.stop_after(steps))


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A small held shot, its checkpoints after 4 and 8 steps, and itself."""
    folder, problem = tmp_path_factory.mktemp("kept"), replace(runs.held(), accuracy=0.2, end_time=13e-6)
    with pytest.MonkeyPatch.context() as patch:
        keep_every(patch, 4)
        stopped(problem, folder / "a.npz", 9)
    return problem, folder / "a.npz", runs.solve(problem)


def copied(path, folder):
    """Copies of both checkpoints in another folder."""
    for each in (path, path_before(path)):
        (folder / each.name).write_bytes(each.read_bytes())
    return folder / path.name


def moving_with_two_banks():
    """All in one: flowing and stretching metal, a former, a second bank, a crowbar, leads."""
    switched = runs.crowbar_and_second_bank()
    bank = tuple(replace(each, fires_at=each.fires_at / 3) for each in switched.bank)
    return replace(runs.moving_with_former(), bank=bank, crowbar=replace(switched.crowbar, fires_at=3e-6), leads=switched.leads,
                   accuracy=0.5, end_time=4e-6)


# ---- the same bits -----------------------------------------------------------------------------------------------------

def test_a_shot_that_was_stopped_goes_on_to_the_same_bits(tmp_path, every_few_steps, monkeypatch):
    write, written = keeping.write_checkpoint, []

    def copy(path, checkpoint):
        write(path, checkpoint)
        (tmp_path / f"{len(written)}.npz").write_bytes(path.read_bytes())
        written.append(checkpoint.state.switches)
    monkeypatch.setattr(keeping, "write_checkpoint", copy)
    never_stopped = runs.solve(moving_with_two_banks(), Keeper(tmp_path / "a.npz"))
    monkeypatch.setattr(keeping, "write_checkpoint", write)
    first = next(k for k, switches in enumerate(written) if "open" not in switches.arcs)
    assert not written[first].crowbar and written[-1].crowbar
    assert runs.difference(never_stopped, runs.resume(tmp_path / f"{first}.npz")) is None


def test_the_companion_of_a_shot_goes_on_too_and_writing_changes_nothing(kept, tmp_path, every_few_steps, monkeypatch):
    problem, _, never_stopped = kept
    write, of_companion = keeping.write_checkpoint, []

    def stop_in_the_companion(path, checkpoint):
        write(path, checkpoint)
        of_companion.append(checkpoint.main is not None)
        if sum(of_companion) == 2:
            raise runs.Stopped
    monkeypatch.setattr(keeping, "write_checkpoint", stop_in_the_companion)
    with pytest.raises(runs.Stopped):
        runs.solve(problem, Keeper(tmp_path / "a.npz"))
    assert of_companion.count(False) == never_stopped.steps // 4 + 2
    monkeypatch.setattr(keeping, "write_checkpoint", write)
    assert runs.difference(never_stopped, runs.resume(tmp_path / "a.npz")) is None


def test_a_finished_shot_is_there_again_without_a_step(kept, tmp_path, monkeypatch):
    _, path, never_stopped = kept
    path = copied(path, tmp_path)
    assert runs.difference(never_stopped, runs.resume(path)) is None
    assert read_checkpoint_header(path)["finished"]
    monkeypatch.setattr("fieldsolve.shot.integrator.discharge.take_step", lambda *_: pytest.fail("a step was made"))
    assert runs.difference(never_stopped, runs.resume(path)) is None


@pytest.mark.slow
@pytest.mark.parametrize("make", runs.CONFIGURATIONS)
def test_every_configuration_goes_on_to_the_same_bits_in_another_process(make, tmp_path, monkeypatch):
    keep_every(monkeypatch, 1)
    write, written = keeping.write_checkpoint, []

    def copy(path, checkpoint):
        write(path, checkpoint)
        (tmp_path / f"{len(written)}.npz").write_bytes(path.read_bytes())
        written.append(checkpoint)
    never_stopped = runs.solve(make())
    monkeypatch.setattr(keeping, "write_checkpoint", copy)
    assert runs.difference(never_stopped, runs.solve(make(), Keeper(tmp_path / "a.npz"))) is None
    monkeypatch.setattr(keeping, "write_checkpoint", write)
    count = len(written)
    for k in (0, count // 4, count // 2, 3 * count // 4, count - 1):
        assert runs.difference(never_stopped, runs.resume(tmp_path / f"{k}.npz", checkpoint=tmp_path / "b.npz")) is None
    never_stopped.save(tmp_path / "c.shot.npz")
    command = [sys.executable, "-W", "ignore", "-c", READ, tmp_path / f"{count // 3}.npz", tmp_path / "d.shot.npz"]
    subprocess.run(command, cwd=ROOT, check=True)
    assert runs.difference(*(fs.load_shot(tmp_path / f"{name}.shot.npz") for name in "cd")) is None


# ---- the file ----------------------------------------------------------------------------------------------------------

def test_the_last_two_are_kept_and_the_one_before_helps_out(kept, tmp_path):
    _, path, never_stopped = kept
    path = copied(path, tmp_path)
    times = [read_checkpoint(each, MAKERS).state.time for each in (path_before(path), path)]
    assert 0 < times[0] < times[1] and never_stopped.times[[4, 8]].tolist() == times
    path.write_bytes(path.read_bytes()[:-1000])
    with pytest.warns(UserWarning, match=r"cut short.*a.before.npz, is taken"):
        assert read_checkpoint(path, MAKERS).state.time == times[0]
    path_before(path).unlink()
    with pytest.raises(InputError, match="cut short"):
        fs.resume_shot(path)
    with pytest.raises(InputError, match=r"no such file: .*solve_shot\(checkpoint"):
        fs.resume_shot(tmp_path / "none.npz")


def test_the_file_is_json_and_arrays_without_pickle(kept):
    with zipfile.ZipFile(kept[1]) as file:
        assert {name.rpartition("/")[2].rpartition(".")[2] for name in file.namelist()} == {"json", "npy"}
    with np.load(kept[1], allow_pickle=False) as arrays:
        assert all(arrays[name].dtype != object for name in arrays.files if name.startswith("arrays/"))


def test_numbers_stay_as_far_apart_in_memory(kept, tmp_path):
    """Sums and products over arrays are the same to the last bit only where their numbers lie in the same order."""
    checkpoint = read_checkpoint(kept[1], MAKERS)
    layouts = {name: points.r.strides for name, points in checkpoint.setup.fixed_points.items()}
    assert any(strides[0] != strides[1] * points.r.shape[1] for (name, strides), points in
               zip(layouts.items(), checkpoint.setup.fixed_points.values(), strict=True))
    write_checkpoint(tmp_path / "b.npz", checkpoint)
    again = read_checkpoint(tmp_path / "b.npz", MAKERS)
    assert layouts == {name: points.r.strides for name, points in again.setup.fixed_points.items()}


@dataclass(frozen=True)
class OwnState:
    """A body at rest."""

    energy: MotionEnergy = NO_ENERGY
    heat: float = 0.0


@dataclass(frozen=True)
class OwnMotion:
    """A motion of somebody else's, which stays where it is."""

    mass: float = 0.1

    def initial_state(self, body):
        return OwnState()

    def positions(self, body, state, time):
        return body.initial_positions

    def advance(self, body, state, time, length, before, after, heat=0.0):
        return OwnState()

    def observables(self, state):
        return {}


def test_a_state_of_another_class_is_refused_at_once(tmp_path):
    problem = runs.problem([runs.coil(2), runs.disc()], motion={"disc": OwnMotion()}, accuracy=0.5)
    with pytest.raises(InputError, match=r"checkpoint: the run holds run.setup.movement.states\[0\], an object of .*OwnState, which no"):
        runs.solve(problem, Keeper(tmp_path / "a.npz"))
    assert list(tmp_path.iterdir()) == []


def test_functions_have_to_be_given_again(tmp_path):
    problem = runs.problem([runs.coil(2)], fs.PrescribedCurrents({"coil": lambda time: 2e9 * time}), step=1e-6, end_time=2e-6, accuracy=0.5)
    with pytest.warns(UserWarning, match=r"does not hold problem.bank.currents of coil, the function .*<lambda>"):
        shot = runs.solve(problem, Keeper(tmp_path / "a.npz"))
    with pytest.raises(InputError, match=r"give it, fs.resume_shot\(path, given={'problem.bank.currents of coil': ...}\)"):
        fs.resume_shot(tmp_path / "a.npz")
    current = problem.bank.currents["coil"]
    with pytest.warns(UserWarning, match="does not hold"):
        again = runs.resume(tmp_path / "a.npz", given={"problem.bank.currents of coil": current})
    assert runs.difference(shot.history, again.history) is None


# ---- the command -------------------------------------------------------------------------------------------------------

@pytest.fixture
def case(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text = f"{RIG}[run]\nend_time = \"6 us\"\nmotion = false\naccuracy = 0.5\n"
    (tmp_path / "rig.toml").write_text(text, encoding="utf-8")
    return tmp_path


def without_seconds(text):
    return [line for line in text.splitlines() if "unknowns, " not in line and not line.startswith("going on")]


def test_the_command_goes_on_and_prints_the_same_again(case, capsys, monkeypatch, every_few_steps):
    write, written = keeping.write_checkpoint, []

    def stop(path, checkpoint):
        write(path, checkpoint)
        written.append(path)
        if len(written) == 2:
            raise KeyboardInterrupt
    monkeypatch.setattr(keeping, "write_checkpoint", stop)
    assert main(["shot", "rig.toml", "--checkpoint", "a.checkpoint.npz"]) == 1
    assert "to go on: fieldsolve shot --resume a.checkpoint.npz" in capsys.readouterr().err
    assert main(["shot", "rig.toml", "--checkpoint", "a.checkpoint.npz"]) == 2
    assert "not finished; go on with it by --resume" in capsys.readouterr().err
    assert main(["shot", "--resume", "a.checkpoint.npz"]) == 0
    first = capsys.readouterr().out
    assert main(["shot", "rig.toml", "--resume", "a.checkpoint.npz", "--checkpoint", "a.checkpoint.npz"]) == 0
    again = capsys.readouterr().out
    assert "going on with rig.toml at" in first and "as it was finished" in again and without_seconds(first) == without_seconds(again)
    assert "current of coil" in first or "coil           current" in first


@pytest.mark.parametrize(("options", "words"), [
    ([], "give CASE.toml, or --resume"), (["--resume", "a.checkpoint.npz", "--held"], "--held with --resume"),
    (["--resume", "a.checkpoint.npz", "--set", "bank.voltage=5 kV"], "--set with --resume"),
    (["--resume", "none.checkpoint.npz"], "no such file"), (["--resume", "rig.toml"], "of another kind"),
    (["rig.toml", "--resume", "a.checkpoint.npz"], "is not the case of"),
    (["--resume", "a.checkpoint.npz", "--report", "a.html"], "give CASE.toml beside"),
    (["rig.toml", "--checkpoint", "a.npz"], r"must end in .checkpoint.npz"),
    (["rig.toml", "--checkpoint", "none/a.checkpoint.npz"], "no such folder"),
])
def test_what_cannot_be_gone_on_with_is_said(kept, case, capsys, options, words):
    (case / "a.checkpoint.npz").write_bytes(kept[1].read_bytes())
    assert main(["shot", *options]) == 2
    err = capsys.readouterr().err
    assert words in err and err.count("\n") == 1


# ---- what the machine lacks --------------------------------------------------------------------------------------------

def test_a_full_disk_costs_one_warning_and_not_the_shot(kept, tmp_path, monkeypatch, every_few_steps):
    def full(*_):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr("fieldsolve.shot.checkpoint.file.write_container", full)
    path = copied(kept[1], tmp_path)
    before = path.read_bytes()
    with pytest.warns(UserWarning, match="no checkpoint could be written to .*No space left on device.*goes on without") as caught:
        assert runs.difference(kept[2], runs.resume(path)) is None
    assert len([each for each in caught if "no checkpoint" in str(each.message)]) == 1 and path.read_bytes() == before


def test_a_place_where_nothing_can_be_written_is_said_at_once(tmp_path):
    for place, words in ((tmp_path / "none" / "a.npz", "nothing can be written there"), (tmp_path, "is a folder")):
        with pytest.raises(InputError, match=words):
            runs.solve(runs.held(), Keeper(place))
