"""Starting the app: what stops it is said in one sentence, and nothing is started then."""

from __future__ import annotations

import asyncio
import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from panel.app import launch as launching
from panel.app.front_door import FrontDoor
from panel.app.state import FOLDERS_VARIABLE, STUDY_VARIABLE
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
        def __init__(self, script, *, middleware, lifespan):
            asked.update(script=script, middleware=middleware, lifespan=lifespan)

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
    assert asked["config"]["server.headless"] is True  # the browser is opened here, with the word that opens the app
    ((door, _, words),) = asked["middleware"]
    assert door is FrontDoor
    assert len(words["token"]) >= 32
    assert os.environ[FOLDERS_VARIABLE].split(os.pathsep)[0] == str(tmp_path)


def test_the_address_that_opens_the_app_is_told_and_opened(free_port: int, monkeypatch: pytest.MonkeyPatch):
    told, seen = [], []

    class App:
        def __init__(self, script, *, middleware, lifespan):
            self.lifespan, self.token = lifespan, middleware[0][2]["token"]

        def run(self, *, config):
            async def start():
                async with self.lifespan(self):
                    pass

            with socket.socket() as listening:
                listening.bind(("127.0.0.1", free_port))
                listening.listen()
                asyncio.run(start())
                for _ in range(100):
                    if seen:
                        break
                    time.sleep(0.05)

    monkeypatch.setattr("streamlit.App", App)
    monkeypatch.setattr("webbrowser.open", seen.append)
    monkeypatch.setattr(sys, "argv", ["afterfeel"])
    monkeypatch.setattr(launching, "_refuse_taken", lambda port: None)
    launching.launch(None, free_port, browser=True, tell=told.append)
    assert len(seen) == 1
    assert seen[0].startswith(f"http://127.0.0.1:{free_port}/?token=")
    assert seen[0] in told[0]


def test_a_folder_that_is_not_there_stops_the_start(tmp_path: Path, free_port: int):
    with pytest.raises(PanelError, match=r"There is no folder .*nothing; name one that is there with --folder"):
        launching.launch(None, free_port, browser=False, folders=[tmp_path / "nothing"])


def test_without_a_study_none_is_left_over_from_before(free_port: int, monkeypatch: pytest.MonkeyPatch):
    os.environ[STUDY_VARIABLE] = "/somewhere"
    monkeypatch.setattr("streamlit.App.run", lambda self, *, config: None)
    monkeypatch.setattr(sys, "argv", ["afterfeel"])
    launching.launch(None, free_port, browser=True)
    assert STUDY_VARIABLE not in os.environ
