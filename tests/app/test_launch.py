"""Starting the app: what stops it is said in one sentence, and nothing is started then."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from panel.app import launch as launching
from panel.app.state import STUDY_VARIABLE
from panel.errors import PanelError, StudyError
from panel.study.folder import write_study
from tests.studies import small_study

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def taken_port():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        yield other.getsockname()[1]


@pytest.fixture
def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(autouse=True)
def environment(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(os, "environ", dict(os.environ))


def test_a_taken_port_is_told_in_one_sentence(taken_port: int):
    with pytest.raises(PanelError, match=rf"^Port {taken_port} is taken, perhaps by another window of this app\."):
        launching.launch(None, taken_port, browser=False)


def test_the_command_ends_with_2_and_no_traceback(taken_port: int, tmp_path: Path):
    command = [sys.executable, "-c", "from panel.cli import main; main()", "app", "--no-browser"]
    told = subprocess.run(
        [*command, "--port", str(taken_port)],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert told.returncode == 2
    assert told.stdout == ""
    assert "is taken" in told.stderr
    assert "Traceback" not in told.stderr


def test_a_study_that_cannot_be_read_stops_the_start(tmp_path: Path, free_port: int):
    with pytest.raises(StudyError, match="There is no study"):
        launching.launch(str(tmp_path / "nothing"), free_port, browser=False)


def test_the_study_is_named_by_its_full_path_and_settings_are_passed(
    tmp_path: Path, free_port: int, monkeypatch: pytest.MonkeyPatch
):
    write_study(small_study(), tmp_path / "small")
    monkeypatch.chdir(tmp_path)
    asked = {}

    class App:
        def __init__(self, script):
            asked["script"] = script

        def run(self, *, config):
            asked["config"] = config

    monkeypatch.setattr("streamlit.App", App)
    monkeypatch.setattr(sys, "argv", ["afterfeel"])
    assert launching.launch("small", free_port, browser=False) == 0
    assert os.environ[STUDY_VARIABLE] == str(tmp_path / "small")
    assert asked["script"].is_file()
    assert not (asked["script"].parent / "pages").exists()  # Streamlit would take it for pages of its own
    assert asked["config"]["server.port"] == free_port
    assert asked["config"]["server.address"] == "127.0.0.1"
    assert asked["config"]["server.headless"] is True


def test_without_a_study_none_is_left_over_from_before(free_port: int, monkeypatch: pytest.MonkeyPatch):
    os.environ[STUDY_VARIABLE] = "/somewhere"
    monkeypatch.setattr("streamlit.App.run", lambda self, *, config: None)
    monkeypatch.setattr(sys, "argv", ["afterfeel"])
    launching.launch(None, free_port, browser=True)
    assert STUDY_VARIABLE not in os.environ
