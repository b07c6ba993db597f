"""The grid in a real browser: a decimal comma typed into a cell outlives a reload, and is saved as the number it is."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from panel.study.folder import read_folder, write_study
from tests.app.running import CHROMIUM, address_of, browser, entered, running_app, settled
from tests.studies import small_study

_WIDTHS = (390, 1280)
pytestmark = pytest.mark.browser

_FIRST_COLUMN, _HEAD, _ROW = 70, 36, 35  # points: inside the first cell of the grid
_DRAWN, _KEY = 1500, 300  # milliseconds: a canvas tells nobody when it is ready


def test_what_is_typed_into_a_cell_on_a_phone_outlives_a_reload_and_is_saved_at_the_desk(tmp_path: Path):
    if not CHROMIUM:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing, so the app was not looked at.")
        pytest.skip("Chromium is not installed.")
    folder = tmp_path / "small"
    write_study(small_study(), folder)
    with running_app(str(folder)) as opening, browser(_WIDTHS[0]) as context:
        page = context.new_page()
        address = entered(page, opening)
        page.goto(f"{address}/{address_of('edit')}")
        settled(page)
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
        page.get_by_text("Not saved yet: 1 row changed.").wait_for()
        page.reload()
        settled(page)
        page.get_by_text("Prototypes", exact=True).last.click()
        page.get_by_text("Not saved yet: 1 row changed.").wait_for()
        page.set_viewport_size({"width": _WIDTHS[1], "height": 900})
        page.get_by_role("button", name="Save prototypes").click()
        page.get_by_text("It is saved in").wait_for()
        for width in _WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert read_folder(folder).table("prototypes")["name"].iloc[0] == "48,7 base"
