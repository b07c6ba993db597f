"""Standing at the bench: what is done on a phone held upright, and a study changed by the keyboard alone."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from panel.store.ballot import prepare_ballots
from panel.study.folder import read_folder, write_study
from tests.app.running import CHROMIUM, Walk, address_of, browser, entered, pressed, running_app, settled
from tests.ballot_studies import ASSESSORS, PROTOTYPES, ballot_study, cleared

pytestmark = pytest.mark.browser

_PHONE, _DESK = 390, 1280
_MOST_TABS = 80  # presses of Tab from the top of a page to its end
_SIDEWAYS = """() => [document.documentElement, document.querySelector('[data-testid=stMain]')]
  .map(part => part.scrollWidth - part.clientWidth)"""
_FOCUSED = """() => {
  const at = document.activeElement;
  if (at.matches('main, body')) return '';  // named by all that lies in them
  const named = at.getAttribute('aria-label') || at.innerText || '';
  return named + '\\n' + (at.closest('label')?.innerText || '');
}"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("bench") / "hills"
    study = cleared(ballot_study())
    write_study(study, place)
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
        prepare_ballots(place, study)
    return place


@pytest.fixture(scope="module")
def window(folder: Path) -> Iterator[tuple[BrowserContext, str]]:
    if not CHROMIUM:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing, so the app was not looked at.")
        pytest.skip("Chromium is not installed.")
    with running_app(str(folder)) as opening, browser(_PHONE, 800) as context:
        yield context, entered(context.pages[0], opening)


def opened(window: tuple[BrowserContext, str], part: str, width: int) -> Page:
    context, address = window
    page = context.pages[0]
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(f"{address}/{address_of(part)}")
    settled(page)
    return page


def fits(page: Page) -> None:
    """Nothing has to be moved sideways to be read, and nothing that can be pressed is cut off."""
    settled(page)
    assert max(page.evaluate(_SIDEWAYS)) <= 0


def test_a_ph_a_reaction_and_the_board_on_a_phone(window: tuple[BrowserContext, str], folder: Path):
    page = opened(window, "edit", _PHONE)
    batches = page.get_by_text("Batches", exact=True).last
    pressed(page, batches, page.get_by_text("A row is one making of a prototype"))
    page.wait_for_selector("[data-testid=stDataFrame] canvas")
    settled(page)
    walk = Walk(page, folder)
    walk.choose("One row, field by field")
    walk.pick("Which row", f"{PROTOTYPES[0]}-1")
    page.locator(f"input[aria-label='Batch (needed)'][value='{PROTOTYPES[0]}-1']").wait_for()  # the row is shown
    settled(page)
    page.get_by_label("pH", exact=True).fill("5,4")
    fits(page)
    pressed(page, page.get_by_role("button", name="Save this row"), page.get_by_text("It is saved in"))
    assert read_folder(folder).table("batches").set_index("batch").loc[f"{PROTOTYPES[0]}-1", "ph"] == 5.4

    page = opened(window, "ballots", _PHONE)
    board = page.get_by_role("tab", name="Board")
    pressed(page, board, page.get_by_text(ASSESSORS[0]).locator("visible=true").first)
    fits(page)

    page = opened(window, "safety", _PHONE)
    pressed(page, page.get_by_text("Write down a reaction"), page.get_by_label("Who writes it down"))
    for label, text in (
        ("Who writes it down", "lead"),
        ("What was seen or felt, and where", "red patch"),
        ("What was done", "rinsed"),
    ):
        page.get_by_label(label).fill(text)
    fits(page)
    settled(page)  # what was typed is exchanged before it is sent
    Walk(page, folder).press("Write it down and freeze the batch", "The reaction is on record")
    assert read_folder(folder).table("reactions")["signs"].tolist() == ["red patch"]
    fits(page)


def focused(page: Page, words: str) -> bool:
    """Return True if a line of what has the focus begins with these words."""
    return any(line.strip().startswith(words) for line in page.evaluate(_FOCUSED).splitlines())


def reach(page: Page, words: str) -> None:
    """Press Tab until what has the focus is called so."""
    for _ in range(_MOST_TABS):
        page.keyboard.press("Tab")
        if focused(page, words):
            return
    raise AssertionError(f"{words} was not reached with Tab.")


def choose(page: Page, first: str, wanted: str) -> None:
    """Reach a row of choices, go along it with the arrow, and take one."""
    reach(page, first)
    for _ in range(_MOST_TABS):
        if focused(page, wanted):
            page.keyboard.press("Enter")
            return
        page.keyboard.press("ArrowRight")
    raise AssertionError(f"{wanted} was not reached with the arrow.")


def test_a_field_is_changed_and_kept_by_the_keyboard_alone(window: tuple[BrowserContext, str], folder: Path):
    page = opened(window, "at_a_glance", _DESK)
    reach(page, "Study")
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Study").wait_for()
    settled(page)
    page.get_by_role("heading", level=1, name="Study").wait_for()
    choose(page, "What is in it", "Edit")
    page.get_by_text("What shall be changed?").wait_for()
    settled(page)
    choose(page, "Prototypes", "About the study")
    page.get_by_label("Product", exact=True).wait_for()
    settled(page)
    reach(page, "Product")
    page.keyboard.type("hand cream")
    reach(page, "Save")
    page.keyboard.press("Enter")
    page.get_by_text("It is saved in").wait_for()
    settled(page)
    reach(page, "What a prototype must pass")
    page.keyboard.press("Enter")
    reach(page, "pH: from")
    page.keyboard.type("4,5")
    reach(page, "Save the gates")
    page.keyboard.press("Enter")
    page.get_by_text("What a prototype must pass was stated").wait_for()
    study = read_folder(folder)
    assert study.facts["product"] == "hand cream"
    assert study.facts["gates"] == {"ph": [4.5, None]}
