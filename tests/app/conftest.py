"""What the tests of the app share."""

import os
import tempfile
from pathlib import Path

import pytest

from panel.app.state import FOLDERS_VARIABLE
from panel.views.told import Picture


@pytest.fixture(autouse=True)
def folders_of_the_tests(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Name the folder of the tests' files as one in which studies may be opened, as `--folder` does."""
    monkeypatch.setenv(FOLDERS_VARIABLE, os.pathsep.join((str(tmp_path), tempfile.gettempdir())))


@pytest.fixture(autouse=True)
def recent_list_of_the_tests(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Keep the list of recent studies apart from the user's own."""
    monkeypatch.setattr("panel.study.open_study._recent_file", lambda: tmp_path / "settings" / "recent.json")


@pytest.fixture(autouse=True)
def one_drawing_of_each_picture(monkeypatch: pytest.MonkeyPatch):
    """A page without a browser has no width: drawings for a phone are looked at in a browser and in `tests/views`."""
    monkeypatch.setattr(Picture, "narrow_svg", property(lambda picture: picture.svg))
