"""Whole ways through the app in a real browser, each from nothing and without touching a file, their steps counted."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Locator, Page

from panel.study.folder import read_folder
from tests.app.running import CHROMIUM, browser, entered, running_app, settled

pytestmark = pytest.mark.browser

LONGEST = 60_000  # milliseconds for one step; a busy machine may take many times as long as the second it needs
ATTRIBUTES = ("greasy film", "stickiness", "softness", "residue", "ease of spreading", "wetness")


class Walk:
    """A person at the app: each click, field and page opened is a step."""

    def __init__(self, page: Page, folder: Path) -> None:
        self.page, self.folder, self.steps = page, folder, 0
        page.set_default_timeout(LONGEST)

    def _done(self, until: str) -> None:
        self.steps += 1
        if until:
            self.page.get_by_text(re.compile(until)).first.wait_for()
        settled(self.page)

    def press(self, name: str, until: str = "") -> None:
        self.page.get_by_role("button", name=name, exact=True).first.click()
        self._done(until)

    def choose(self, name: str, until: str = "") -> None:
        """Choose one of what lies side by side: a part of a place, a way, a step."""
        self.page.get_by_text(name, exact=True).locator("visible=true").first.click()
        self._done(until)

    def place(self, name: str, until: str = "") -> None:
        link = self.page.get_by_test_id("stTopNavLink").get_by_text(name, exact=True)
        if not link.is_visible():  # on a narrow screen the places lie behind one button
            self.page.get_by_test_id("stExpandSidebarButton").click()
            link = self.page.get_by_test_id("stSidebarNavLink").get_by_text(name, exact=True)
        link.click()
        self._done(until)

    def field(self, label: str) -> Locator:
        return self.page.get_by_label(label, exact=True).locator("visible=true").first

    def write(self, label: str, text: str) -> None:
        self.field(label).fill(text)
        self.field(label).press("Tab")
        self._done("")

    def pick(self, label: str, *words: str) -> None:
        for word in words:
            self.field(label).fill(word)
            self.page.get_by_role("option").first.wait_for()
            self.page.keyboard.press("Enter")
            self.page.keyboard.press("Escape")
            self._done("")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="module")
def page(home: Path) -> Iterator[Page]:
    if not CHROMIUM:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing, so the app was not looked at.")
        pytest.skip("Chromium is not installed.")
    with running_app("--folder", str(home)) as opening, browser(1280) as context:
        opened = context.new_page()
        entered(opened, opening)
        settled(opened)
        yield opened


@pytest.fixture
def walk(page: Page, home: Path) -> Walk:
    return Walk(page, home)


def scores_with_commas() -> str:
    """Return invented scores of six people: decimal commas, headings in German, the first product greasier by 3."""
    rng = np.random.default_rng(1)
    lines = ["Pr\u00fcfer;Muster;Wiederholung;Fettigkeit;Klebrigkeit"]
    for person in range(6):
        for product, grease in (("L1", 7.5), ("L2", 4.5), ("L3", 4.0)):
            for repeat in (1, 2):
                cells = [f"{value:.1f}".replace(".", ",") for value in np.array([grease, 3.0]) + rng.normal(0, 0.4, 2)]
                lines.append(f"P{person + 1};{product};{repeat};{cells[0]};{cells[1]}")
    return "\n".join(lines)


def test_own_scores_with_decimal_commas_lead_to_the_first_difference(walk: Walk):
    file = walk.folder / "lotion.csv"
    file.write_text(scores_with_commas(), encoding="cp1252")
    walk.place("Study")
    walk.choose("New or another", "Begin a study")
    walk.choose("My table of scores", "Table of scores")
    walk.page.locator('input[type="file"]').set_input_files(file)
    walk._done("The comma was read as the decimal sign")
    walk.press("Use these scores", "These scores are in use and kept in")
    walk.choose("Differences", "differ on|differ in")
    assert "not told apart on Klebrigkeit" in walk.page.locator("h2").first.inner_text()
    assert walk.steps <= 12
    (kept,) = (walk.folder / "afterfeel").iterdir()
    assert read_folder(kept).scores["score"].max() < 10


FORMULAS = """INCI\tP1\tP2\tP3\tP4\tP5
Aqua\tad 100\tad 100\tad 100\tad 100\tad 100
Dicaprylyl Carbonate\t6,0\t\t6,0\t\t3,0
C13-15 Alkane\t\t6,0\t\t6,0\t3,0
Dimethicone\t2,0\t2,0\t\t\t2,0
Coco-Caprylate\t\t\t2,0\t2,0\t
Glyceryl Stearate\t3,0\t3,0\t3,0\t3,0\t3,0"""


def test_a_study_is_planned_rehearsed_on_a_phone_analysed_claimed_and_written_up(walk: Walk):
    walk.place("Study")
    walk.choose("New or another", "Begin a study")
    walk.choose("A new study", "Five short steps")
    walk.write("What the study is called", "Lotion in spring")
    walk.write("Product", "body lotion")
    walk.press("Begin", "The study is begun")
    for word in ATTRIBUTES[:1]:
        walk.pick("After-feel", word)
    walk.press("Add 1 attribute", "1 attribute added")
    walk.choose("3 Prototypes", "Prototypes, separated by")
    walk.write("Prototypes, separated by ;", "P1; P2; P3; P4; P5")
    walk.write("Which one is the benchmark", "P1")
    walk.press("Save the prototypes", "Prototypes: P1, P2, P3, P4, P5")
    assert walk.steps <= 90
