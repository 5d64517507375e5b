"""Spoilt files of every kind that is read: each is read or refused in one of our own errors, within bounds of time and memory."""
import pytest

from tests import spoilt_archives
from tests.spoilt_inputs import find_troubles, trouble_of


def test_fifty_spoilt_files():
    assert find_troubles(50) == []


@pytest.mark.slow
def test_fifteen_hundred_spoilt_files():
    assert find_troubles(1500, seed=2) == []


def test_a_trouble_is_found(tmp_path, monkeypatch):
    def hang(kind, path):
        raise KeyError(kind)
    monkeypatch.setattr("tests.spoilt_inputs.read", hang)
    assert "KeyError" in trouble_of("case", b"", tmp_path)


def test_spoilt_shots_checkpoints_and_logs():
    assert spoilt_archives.find_troubles(8) == []


@pytest.mark.slow
def test_five_hundred_spoilt_shots_checkpoints_and_logs():
    assert spoilt_archives.find_troubles(500, seed=2) == []
