"""Starting the app from the command line: `afterfeel app [STUDY]`."""

from __future__ import annotations

import gc
import os
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from functools import cache
from importlib import import_module
from pathlib import Path
from types import MappingProxyType
from typing import Any

from panel.app.front_door import TOKEN_FIELD, FrontDoor
from panel.app.state import FOLDERS_VARIABLE, STUDY_VARIABLE
from panel.errors import PanelError

SCRIPT = Path(__file__).parent / "start" / "main.py"
# The fits are small: more threads than one only make them wait for each other.
_TRIES = 300  # every tenth of a second
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS")


# How Streamlit is set up: the same for `streamlit run app.py` (.streamlit/config.toml) and for `afterfeel app`.
_ADDRESS = "127.0.0.1"
# Watching files costs time after every click; statistics about use are nobody's business; only this computer may
# open the app. Uploads are held in memory, so their size is bounded.
_BEHAVIOUR: dict[str, Any] = {
    "server.address": _ADDRESS,
    "server.fileWatcherType": "none",
    "server.enableXsrfProtection": True,
    "server.enableStaticServing": False,
    "server.maxUploadSize": 20,
    "server.showEmailPrompt": False,
    "browser.gatherUsageStats": False,
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "type",
}

# Dark ink on white and on a pale sage, one deep teal to act on; at night the same the other way round, as the system
# asks for. Contrasts are measured in tests/app/test_settings.py.
_THEME: dict[str, Any] = {
    "theme.light.primaryColor": "#0b5a63",
    "theme.light.backgroundColor": "#ffffff",
    "theme.light.secondaryBackgroundColor": "#f1f5f3",
    "theme.light.textColor": "#0d1614",
    "theme.light.linkColor": "#0b5a63",
    "theme.light.borderColor": "#c9d3cf",
    "theme.light.dataframeHeaderBackgroundColor": "#f1f5f3",
    "theme.dark.primaryColor": "#6fc7cf",
    "theme.dark.backgroundColor": "#101615",
    "theme.dark.secondaryBackgroundColor": "#1c2624",
    "theme.dark.textColor": "#eef4f2",
    "theme.dark.linkColor": "#6fc7cf",
    "theme.dark.borderColor": "#3b4a46",
    "theme.dark.dataframeHeaderBackgroundColor": "#1c2624",
    "theme.baseRadius": "small",
    "theme.paddingTop": "1.5rem",
    "theme.paddingBottom": "3rem",
    "theme.baseFontSize": 16,
    "theme.headingFontSizes": ["1rem", "1.6rem", "1.15rem", "1rem", "1rem", "1rem"],
    "theme.headingFontWeights": [600, 600, 600, 600, 600, 600],
}

_SETTINGS = MappingProxyType({**_BEHAVIOUR, **_THEME})


def launch(
    study: str | None,
    port: int,
    *,
    browser: bool,
    folders: Sequence[str | Path] = (),
    tell: Callable[[str], None] = print,
) -> int:
    """Start the app for this computer only, serve it until it is stopped, and return the exit code 0.

    PanelError, and nothing started, if the study cannot be read or the port is taken.

    Parameters
    ----------
    study
        Path of a study to open at first; None opens the demo.
    port
        Port on 127.0.0.1.
    browser
        Open a browser window as well.
    folders
        Where studies may be opened and saved, besides the one of `study`; none means the home folder and this one.
    tell
        Takes the address that opens the app; the word in it is new at each start.
    """
    for variable in _ONE_THREAD:
        os.environ.setdefault(variable, "1")
    _refuse_taken(port)
    _name(study, folders)
    warm_up()
    import streamlit as st

    sys.argv = [str(SCRIPT)]  # Streamlit looks for its settings beside the script that was called
    # the browser is opened here, with the token; Streamlit would tell an address without it
    options = {**_SETTINGS, "server.port": port, "server.headless": True, "logger.hideWelcomeMessage": True}
    token = secrets.token_urlsafe(24)
    address = f"http://{_ADDRESS}:{port}/?{TOKEN_FIELD}={token}"

    @asynccontextmanager
    async def lifespan(_app: Any) -> AsyncIterator[None]:
        tell(f"Afterfeel is open at {address} (this address is for you alone). Stop it with Ctrl+C.")
        if browser:
            threading.Thread(target=_open_browser, args=(address, port), daemon=True).start()
        yield

    door: list[Any] = [(FrontDoor, (), {"token": token})]  # what Starlette calls a middleware is these three
    with suppress(KeyboardInterrupt):  # the way to stop it
        st.App(SCRIPT, middleware=door, lifespan=lifespan).run(config=options)
    return 0


def _open_browser(address: str, port: int) -> None:
    pause = threading.Event()
    for _ in range(_TRIES):
        with socket.socket() as probe:
            if probe.connect_ex((_ADDRESS, port)) == 0:
                webbrowser.open(address)
                return
        pause.wait(0.1)


def _name(study: str | None, folders: Sequence[str | Path]) -> None:
    """Hand study and folders to the app by their full paths, once they are known; pages never take one from a link."""
    os.environ.pop(STUDY_VARIABLE, None)
    own = []
    if study is not None:
        from panel.study.open_study import open_study

        open_study(study)
        os.environ[STUDY_VARIABLE] = str(Path(study).resolve())
        own = [Path(study).resolve().parent]
    named = [Path(folder).resolve() for folder in folders] or [Path.home(), Path.cwd()]
    for folder in named:
        if not folder.is_dir():
            raise PanelError(f"There is no folder {folder}; name one that is there with --folder.")
    os.environ[FOLDERS_VARIABLE] = os.pathsep.join(map(str, [*own, *named]))


def _refuse_taken(port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        if os.name == "posix":  # elsewhere this option would take over a port in use
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((_ADDRESS, port))
        except OSError as error:
            raise PanelError(
                f"Port {port} is taken, perhaps by another window of this app. Close it, or choose another port "
                "with --port."
            ) from error


# Loading what the pages need once, before the first one is asked for.


# No module with cached functions: Streamlit wants its server running before it sees them.
_NEEDED = (
    "matplotlib.backends.backend_agg",
    "scipy.stats",
    "streamlit",
    "panel.checks.all_checks",
    "panel.study.scores_import",
    "panel.views.glance",
)


@cache
def warm_up() -> None:
    """Import what the pages use and set it aside from garbage collection.

    Streamlit collects garbage after every run of a page; without this it would look through all libraries each time.
    """
    for name in _NEEDED:
        import_module(name)
    gc.collect()
    gc.freeze()
