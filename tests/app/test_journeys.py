"""Whole ways through the app in a real browser, each from nothing and without touching a file, their steps counted."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pytest
from playwright.sync_api import Page

from panel.app.front_door import STUDY_FIELD
from panel.app.new_study import _STEPS, _steps_done
from panel.app.state import FOLDERS_VARIABLE
from panel.study.folder import read_folder
from panel.study.formulas import matched_pairs
from tests.app.running import CHROMIUM, Walk, browser, entered, part_of_app, running_app, settled

pytestmark = pytest.mark.browser

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


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
        entered(opened, opening.replace("/?", "/study?", 1))  # where each of these ways begins
        settled(opened)
        yield opened


@pytest.fixture
def walk(page: Page, home: Path, monkeypatch: pytest.MonkeyPatch) -> Walk:
    monkeypatch.setenv(FOLDERS_VARIABLE, str(home))
    page.set_viewport_size(DESK)
    return Walk(page, home)


def begin(walk: Walk, way: str, until: str) -> None:
    """Go from anywhere to one way of beginning a study; where one is in use, the ways are behind a button."""
    walk.place("Study")
    walk.choose("New or another", "Begin")
    if walk.page.get_by_text(way, exact=True).locator("visible=true").count() == 0:
        walk.choose("Begin or open another one", way)
    walk.choose(way, until)


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
    begin(walk, "My table of scores", "Table of scores")
    walk.page.locator('input[type="file"]').set_input_files(file)
    walk.done("The comma was read as the decimal sign")
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


def planned(walk: Walk) -> None:
    """Go from nothing to a study that is planned: 5 prototypes, 2 swaps, 9 people, 6 attributes."""
    begin(walk, "A new study", "Five short steps")
    walk.write("What the study is called", "Lotion in spring")
    walk.write("Product", "body lotion")
    walk.press("Begin", "The study is begun")
    walk.pick("After-feel", "greas", "stick", "slip", "residue")
    walk.pick("Rub-out", "wet", "ease")
    walk.press("Add 6 attributes", "6 attributes added")
    walk.write("Prototypes, separated by ;", "P1; P2; P3; P4; P5")
    walk.write("Which one is the benchmark", "P1")
    walk.press("Save the prototypes", "Prototypes: P1, P2, P3, P4, P5")
    walk.choose("Paste from a spreadsheet")
    walk.field("Cells").fill(FORMULAS)
    walk.field("Cells").press("Control+Enter")
    walk.done(r"Save \d+ rows")
    walk.press(re.compile(r"^Save \d+ rows$"), "Formulas pasted")
    walk.write("How many trained assessors", "9")
    walk.press("Add them", "9 assessors added")
    walk.write("How much of each sample", "50 mg")
    walk.write("The batches are made on", "2026-03-10")
    walk.press("Save dose and batches", "Dose and batches stated")
    walk.write("Who makes the plan (not the panel leader: whoever makes it may know the key)", "K. Ito")
    walk.press("Write the plan into the study", "The serving plan is in the study")


def test_a_study_is_planned_rehearsed_on_a_phone_analysed_claimed_and_written_up(walk: Walk):
    page = walk.page
    planned(walk)
    folder = walk.folder / "afterfeel" / "lotion_in_spring"
    formulas = read_folder(folder).table("formulas")  # a block pasted from a spreadsheet, decimal commas and all
    pairs = matched_pairs(read_folder(folder))
    assert set(zip(pairs["removed"], pairs["added"], strict=True)) == {
        ("Dicaprylyl Carbonate", "C13-15 Alkane"),
        ("Dimethicone", "Coco-Caprylate"),
    }
    assert formulas.groupby("prototype")["percent"].sum().round(6).tolist() == [100.0] * 5
    page.set_viewport_size(PHONE)
    page.reload()  # the study is still there
    settled(page)
    walk.place("Run a test")
    walk.choose("Ballots", "Rehearse it first")
    walk.choose("Rehearse it first", "A program answers")
    walk.press("Rehearse it", "90 servings answered and locked, in a copy")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.set_viewport_size(DESK)
    page.reload()
    settled(page)
    walk.place("Result")
    walk.choose("Differences", "differ on|On no attribute")
    walk.place("Say", "No claim has been written down")
    walk.write("Sentence, exactly as it is to be said", "less greasy than P1")
    walk.pick("Kind of claim", "better")
    walk.pick("Prototype", "P2")
    walk.write("Who stamps it", "M. Aro")
    walk.press("Write the claim and stamp it", "The claim is written and stamped. It is saved in")
    walk.choose("Evidence file", "gaps? (is|are) named in it")
    with page.expect_download() as taken:
        walk.press("Evidence file, PDF")
    assert Path(taken.value.path()).read_bytes().startswith(b"%PDF")
    assert walk.steps <= 90
    copy = read_folder(folder.with_name("lotion_in_spring_rehearsal_1"))
    assert len(copy.scores) == 90 * 6
    assert copy.table("claims")["claim"].tolist() == ["less greasy than P1"]
    # the same address in another window, and after the app was started anew, shows what was kept
    other = page.context.new_page()
    other.goto(f"{page.url.partition('?')[0]}?{urlencode({STUDY_FIELD: str(folder)})}")
    settled(other)
    assert "Lotion in spring" in other.locator("[data-testid=stMain]").inner_text()
    again = part_of_app("start")
    again.query_params[STUDY_FIELD] = str(folder)
    again.run()
    assert _steps_done(read_folder(folder)) == frozenset(_STEPS)
    assert "Lotion in spring" in again.caption[0].value


def test_a_survey_with_a_row_for_each_person_leads_to_liking_and_just_about_right(walk: Walk):
    rng = np.random.default_rng(2)
    rows = ["Respondent;P1: overall liking;P1: greasiness (JAR);P2: overall liking;P2: greasiness (JAR)"]
    for person in range(60):
        one, other = rng.integers(3, 8), rng.integers(5, 10)
        rows.append(f"R{person};{one};{rng.integers(3, 6)};{other};{rng.integers(2, 5)}")
    file = walk.folder / "hall_test.csv"
    file.write_text("\n".join(rows), encoding="utf-8")
    begin(walk, "A survey of consumers", "Survey export")
    walk.page.locator('input[type="file"]').set_input_files(file)
    walk.done("What does each column ask")
    walk.choose("into a new study", "Title of the study")  # the study in use has prototypes of these names, too
    walk.press("Use these answers", "These answers are in use and kept in")
    walk.place("Consumers", "P2 .*liked|liked .*P2|P2")
    walk.choose("Just about right", "What is too little or too much")
    assert walk.field("Question").input_value() or walk.page.get_by_text("greasiness JAR").count()
    assert walk.page.locator("[data-testid=stImage] img:visible").count()
    assert walk.steps <= 12
    answers = read_folder(walk.folder / "afterfeel" / "hall_test").table("answers")
    assert answers["kind"].value_counts().to_dict() == {"liking": 120, "just_about_right": 120}
    more = walk.folder / "later.csv"
    more.write_text("Respondent;P1 soft;P2 soft\nR1;x;\nR2;;x\nR3;x;x", encoding="utf-8")
    begin(walk, "A survey of consumers", "Survey export")
    walk.page.locator('input[type="file"]').set_input_files(more)
    walk.done("What does each column ask")
    walk.choose("into the study in use", "Add these answers")
    walk.press("Add these answers", "The answers of later.csv were added. It is saved in")
    after = read_folder(walk.folder / "afterfeel" / "hall_test").table("answers")
    assert after["kind"].value_counts().to_dict() == {"liking": 120, "just_about_right": 120, "check_all": 4}


def test_scores_go_into_the_study_that_was_begun_beside_its_formulas(walk: Walk):
    file = walk.folder / "sheet.csv"
    file.write_text(scores_with_commas(), encoding="cp1252")
    begin(walk, "A new study", "Five short steps")
    walk.write("What the study is called", "Begun before")
    walk.press("Begin", "The study is begun")
    walk.choose("3 Prototypes")
    walk.write("Prototypes, separated by ;", "L1; L2; L3")
    walk.write("Which one is the benchmark", "L1")
    walk.press("Save the prototypes", "Prototypes: L1, L2, L3")
    walk.choose("Begin or open another one", "My table of scores")
    walk.choose("My table of scores", "Table of scores")
    walk.page.locator('input[type="file"]').set_input_files(file)
    walk.done("Put them")
    walk.press("Add these scores", "The scores of sheet.csv were added")
    study = read_folder(walk.folder / "afterfeel" / "begun_before")
    assert study.benchmark == "L1"
    assert len(study.scores) == 72
