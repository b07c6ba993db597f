"""What the tests of the app share."""

import tempfile

import pytest

from panel.app.state import FOLDERS_VARIABLE


@pytest.fixture(autouse=True)
def folders_of_the_tests(monkeypatch: pytest.MonkeyPatch):
    """Name the folder of the tests' files as one in which studies may be opened, as `--folder` does."""
    monkeypatch.setenv(FOLDERS_VARIABLE, tempfile.gettempdir())
