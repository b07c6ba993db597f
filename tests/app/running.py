"""The app running as users run it, and a browser that looks at it."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import quote

import axe_playwright_python
from playwright.sync_api import BrowserContext, Locator, Page, sync_playwright
from playwright.sync_api import TimeoutError as PlaywrightTimeout
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from panel.app.places import PART, PARTS, PLACES, addresses

ROOT = Path(__file__).resolve().parents[2]
AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
"""axe-core by Deque, MPL-2.0: https://github.com/dequelabs/axe-core"""
CHROMIUM = shutil.which("chromium") or ""
PAGES = tuple(PARTS)
SECONDS = 90  # a part takes well under one; a busy machine may take many times as long
_ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
LONGEST = 60_000  # milliseconds for one step; a busy machine may take many times as long as the second it needs
_LOOK = 200  # milliseconds; nobody presses what has only just come, and what is still being exchanged takes no press
_TRIES = 6  # of picking from a list, sharing the time of one step
_STARTED_WITHIN = 60.0  # seconds; about four on an idle machine
# Each `AppTest` looks through all installed packages for parts of Streamlit; they are the same for all of a run.
manifest_scanner.scan_component_manifests = cache(manifest_scanner.scan_component_manifests)


def part_of_app(name: str) -> AppTest:
    """Return a part of the app, not run yet."""
    place, part = PARTS[name]
    script = f"from panel.app.start.main import _chosen_place, _show_place\n_chosen_place()\n_show_place({place!r})"
    app = AppTest.from_string(script, default_timeout=SECONDS)
    if part is not PLACES[place].parts[0]:
        app.query_params[PART] = part.title
    return app


def with_open_drawers(app: AppTest) -> AppTest:
    """Run a part with every drawer open that is filled when it is opened."""
    app.run()
    for name in app.session_state._state.filtered_state:
        if name.startswith("drawer "):
            app.session_state[name] = True
    return app.run()


def address_of(name: str) -> str:
    """Return the address of a part below that of the app."""
    place, part = PARTS[name]
    own = addresses()[place]
    return own if part is PLACES[place].parts[0] else f"{own}?{PART}={quote(part.title)}"


def free_port() -> int:
    """Return a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running_app(*study: str, home: Path | None = None, port: int = 0) -> Iterator[str]:
    """Start `afterfeel app`, on a free port if none is named, away from the checkout; give its address; then stop it.

    What it keeps lies in `home`; where none is named it is gone with the app.
    """
    port = port or free_port()
    command = [sys.executable, "-c", "from panel.cli import main; main()", "app", *study, "--no-browser"]
    with TemporaryDirectory() as elsewhere:
        own = str(home or elsewhere)
        server = subprocess.Popen(
            [*command, "--port", str(port)],
            cwd=own,
            env={**os.environ, "PYTHONPATH": str(ROOT), **_own_places(own)},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        try:
            yield _opening_address(server, port)
        finally:
            server.send_signal(signal.SIGINT)
            try:
                server.communicate(timeout=10)
            except subprocess.TimeoutExpired:
                server.kill()
                server.communicate()


def _own_places(folder: str) -> dict[str, str]:
    """Return where the app keeps studies and settings, away from those of whoever runs the tests."""
    return {"HOME": folder, "USERPROFILE": folder, "APPDATA": folder, "XDG_CONFIG_HOME": str(Path(folder) / "settings")}


def _opening_address(server: subprocess.Popen[bytes], port: int) -> str:
    """Wait until the app answers, and return the address it told; fail with what it said if it does not."""
    end = time.monotonic() + _STARTED_WITHIN
    said = b""
    while time.monotonic() < end and server.stdout:
        line = server.stdout.readline()
        said += line
        if not line and server.poll() is not None:
            raise AssertionError(f"the app ended with {server.returncode}: {said.decode()}")
        if found := re.search(rb"http://\S+token=\S+", said):
            while time.monotonic() < end:
                with socket.socket() as probe:
                    if probe.connect_ex(("127.0.0.1", port)) == 0:
                        return found[0].decode()
                time.sleep(0.1)
    raise AssertionError(f"the app did not answer in time: {said.decode()}")


@contextmanager
def browser(width: int, height: int = 900) -> Iterator[BrowserContext]:
    """Open Chromium with a window of this size and a profile of its own."""
    size: Any = {"width": width, "height": height}
    with TemporaryDirectory() as profile, sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile, executable_path=CHROMIUM, args=_ARGUMENTS, viewport=size
        )
        context.set_default_timeout(LONGEST)
        try:
            yield context
        finally:
            context.close()


def entered(page: Page, opening: str) -> str:
    """Open the app with the address that was told; return the address of its pages."""
    page.goto(opening)
    return opening.partition("/?")[0]


def settled(page: Page) -> None:
    """Wait until the page has stopped computing and drawing."""
    page.wait_for_selector("h1", timeout=1000 * SECONDS)
    page.wait_for_selector('[data-testid="stApp"][data-test-script-state="notRunning"]', timeout=1000 * SECONDS)
    page.wait_for_selector("[data-testid=stSkeleton]", state="detached", timeout=1000 * SECONDS)


def at_rest(page: Page) -> None:
    """Wait until nothing is computed, drawn or on its way to another colour."""
    settled(page)
    page.wait_for_function(
        "() => document.getAnimations().every(one => one.playState !== 'running'"
        " || one.effect.getComputedTiming().iterations === Infinity)"
    )


def pressed(page: Page, what: Locator, until: Locator) -> None:
    """Press something and wait for what shall come; a click while the page is drawn anew is lost: one clicks again."""
    settled(page)
    what.click()
    for _ in range(_TRIES - 1):
        with suppress(PlaywrightTimeout):
            until.wait_for(timeout=LONGEST / _TRIES)
            return
        settled(page)  # what is still being done was not lost
        if what.is_visible() and not until.is_visible() and not _opened(what):
            what.click()
    until.wait_for()


def _opened(what: Locator) -> bool:
    """Return whether it is the head of a drawer that is open: pressed again it would close."""
    return bool(what.evaluate("one => Boolean(one.closest('details[open] > summary'))"))


def open_drawers(page: Page) -> None:
    """Open every drawer, also those that come with another one."""
    closed = "[data-testid=stExpander] details:not([open]) > summary"
    while page.locator(closed).count():  # all at a time, so that the page is computed anew once or twice
        page.evaluate("closed => document.querySelectorAll(closed).forEach(one => one.click())", closed)
        settled(page)
        page.wait_for_timeout(_LOOK)
        settled(page)
    page.mouse.move(0, 0)  # what the mouse is on has another colour for a moment
    at_rest(page)


def violations(page: Page) -> list[tuple[str, str]]:
    """Return what axe-core finds. Its source runs beside the page's policy, as a browser extension would."""
    if not page.evaluate("'axe' in window"):
        session = page.context.new_cdp_session(page)
        session.send("Runtime.evaluate", {"expression": AXE.read_text(encoding="utf-8")})
    found = page.evaluate("axe.run({resultTypes: ['violations']})")  # of what is in order one example each
    assert len(found["passes"]) > 10
    return [(rule["id"], node["html"]) for rule in found["violations"] for node in rule["nodes"]]


class Walk:
    """A person at the app: each click, field and page opened is a step."""

    def __init__(self, page: Page, folder: Path) -> None:
        self.page, self.folder, self.steps = page, folder, 0
        page.set_default_timeout(LONGEST)

    def done(self, until: str) -> None:
        self.steps += 1
        if until:
            self.page.get_by_text(re.compile(until)).first.wait_for()
        settled(self.page)

    def click(self, what: Locator, until: str) -> None:
        """Click, and wait for words if there are any to wait for."""
        come = self.page.get_by_text(re.compile(until)) if until else self.page.locator("h1")
        self.page.wait_for_timeout(_LOOK)
        pressed(self.page, what, come.first)
        self.done(until)

    def press(self, name: str | re.Pattern[str], until: str = "") -> None:
        self.click(self.page.get_by_role("button", name=name, exact=isinstance(name, str)).first, until)

    def choose(self, name: str | re.Pattern[str], until: str = "") -> None:
        """Choose one of what lies side by side: a part of a place, a way, a step."""
        self.click(self.page.get_by_text(name, exact=True).locator("visible=true").first, until)

    def place(self, name: str, until: str = "") -> None:
        link = self.page.get_by_test_id("stTopNavLink").get_by_text(name, exact=True)
        if not link.is_visible():  # on a narrow screen the places lie behind one button
            self.page.get_by_test_id("stExpandSidebarButton").click()
            link = self.page.get_by_test_id("stSidebarNavLink").get_by_text(name, exact=True)
        self.click(link, until)

    def field(self, label: str) -> Locator:
        return self.page.get_by_label(label, exact=True).locator("visible=true").first

    def write(self, label: str, text: str) -> None:
        self.field(label).fill(text)
        self.field(label).press("Tab")
        self.done("")

    def pick(self, label: str, *words: str) -> None:
        """Choose what has these words in it, each when the list has come down to it, and see it stand there."""
        main, wait = self.page.get_by_test_id("stMain"), LONGEST / _TRIES
        for word in words:
            option = self.page.get_by_role("option").filter(has_text=re.compile(re.escape(word), re.IGNORECASE)).first
            stands = None
            for _ in range(_TRIES):  # a page that is drawn anew closes the list: one types again, as a person would
                self.field(label).fill("")
                self.field(label).fill(word)
                with suppress(PlaywrightTimeout):
                    option.wait_for(timeout=wait)
                    chosen = option.inner_text(timeout=wait)
                    stands = main.get_by_text(chosen).or_(main.locator(f'input[value="{chosen}"]'))  # of many, or one
                    option.click(timeout=wait)
                self.page.keyboard.press("Escape")
                with suppress(PlaywrightTimeout):
                    if stands is not None:
                        stands.locator("visible=true").first.wait_for(timeout=wait)
                        break
            assert stands is not None
            stands.locator("visible=true").first.wait_for()
            self.done("")
