"""What is half done in a real browser: typed into a grid or begun as a new study, it outlives reload and restart."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from playwright.sync_api import Page

from panel.app.new_study import _STEPS
from panel.study.folder import read_folder, write_study
from tests.app.running import CHROMIUM, Walk, address_of, browser, entered, running_app, settled
from tests.studies import small_study

_WIDTHS = (390, 1280)
pytestmark = pytest.mark.browser

_FIRST_COLUMN, _HEAD, _ROW = 70, 36, 35  # points: inside the first cell of the grid
_DRAWN, _KEY = 1500, 300  # milliseconds: a canvas tells nobody when it is ready
_NOT_SAVED = "Not saved yet: 1 row changed."


def typed_into_the_grid(page: Page) -> None:
    """Type a decimal comma into the second cell of the prototypes, and reload the page in the midst of it."""
    page.get_by_text("Prototypes", exact=True).last.click()
    settled(page)
    page.wait_for_selector("[data-testid=stDataFrame] canvas")
    box = page.locator("[data-testid=stDataFrame] canvas").first.bounding_box()
    page.wait_for_timeout(_DRAWN)
    page.mouse.click(box["x"] + _FIRST_COLUMN, box["y"] + _HEAD + _ROW / 2)
    for key in ("ArrowRight", "Enter", "Control+a"):
        page.wait_for_timeout(_KEY)
        page.keyboard.press(key)
    page.keyboard.type("48,7 base", delay=_KEY / 10)
    page.keyboard.press("Enter")
    page.get_by_text(_NOT_SAVED).wait_for()
    page.reload()
    settled(page)
    page.get_by_text("Prototypes", exact=True).last.click()
    page.get_by_text(_NOT_SAVED).wait_for()


def begun(walk: Walk) -> None:
    """Begin a study and go as far as the third step: prototypes are named, their formulas are not written."""
    walk.choose("A new study", "Five short steps")
    walk.write("What the study is called", "Lotion in spring")
    walk.press("Begin", "The study is begun")
    walk.pick("After-feel", "greas")
    walk.press("Add 1 attribute", "1 attribute added")
    walk.write("Prototypes, separated by ;", "P1; P2")
    walk.press("Save the prototypes", "Prototypes: P1, P2")


def test_what_is_half_done_outlives_a_reload_and_a_restart(tmp_path: Path):
    if not CHROMIUM:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing, so the app was not looked at.")
        pytest.skip("Chromium is not installed.")
    folder = tmp_path / "small"
    write_study(small_study(), folder)
    with browser(_WIDTHS[0]) as context:
        page = context.new_page()
        with running_app("--folder", str(tmp_path), home=tmp_path) as opening:
            address = entered(page, opening)
            page.goto(f"{address}/{address_of('edit')}&study={folder}")
            settled(page)
            typed_into_the_grid(page)
            page.goto(f"{address}/{address_of('start')}")
            settled(page)
            begun(Walk(page, tmp_path))
        with running_app("--folder", str(tmp_path), home=tmp_path) as opening:
            address = entered(page, opening)
            page.goto(f"{address}/{address_of('start')}")
            settled(page)
            page.set_viewport_size({"width": _WIDTHS[1], "height": 900})
            walk = Walk(page, tmp_path)
            walk.press("lotion_in_spring", "This study is in use again")
            walk.place("Study")
            walk.choose("New or another", "Setting up Lotion in spring")
            assert page.get_by_role("radio", name=_STEPS[2]).is_checked()
            assert walk.field("Prototypes, separated by ;").input_value() == "P1; P2"
            page.goto(f"{address}/{address_of('edit')}&study={folder}")
            settled(page)
            page.get_by_text("Prototypes", exact=True).last.click()
            page.get_by_text(_NOT_SAVED).wait_for()
            page.get_by_role("button", name="Save prototypes").click()
            page.get_by_text("It is saved in").wait_for()
            for width in _WIDTHS:
                page.set_viewport_size({"width": width, "height": 900})
                assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert read_folder(folder).table("prototypes")["name"].iloc[0] == "48,7 base"
