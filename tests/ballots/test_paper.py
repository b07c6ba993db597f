"""Paper ballots, looked at with pypdf: an outside reader of PDF files."""

import io
import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from panel.ballots.paper import paper_ballots, serving_labels
from panel.errors import StudyError
from panel.study.open_study import open_study
from tests.ballot_studies import ASSESSORS, CODES, SECRETS, ballot_study
from tests.ballots.running import ROOT

MM = 72 / 25.4  # points; ISO 32000-1, 8.3.2.3: the unit of user space is 1/72 inch
SIZES = {"A4": (210 * MM, 297 * MM), "Letter": (8.5 * 72, 11 * 72)}  # ISO 216; ANSI/ASME Y14.1
POSITION_ERROR = 0.02  # mm; coordinates are written with few decimals


def read(content):
    return PdfReader(io.BytesIO(content))


def line_lengths(page):
    """Return the lengths in mm of all horizontal lines, from the drawing commands of the page."""
    data = page.get_contents().get_data().decode("latin-1")
    number = r"(-?[\d.]+)"
    found = re.findall(rf"{number} {number} m\s+{number} {number} l\s", data)
    scale = 1.0
    for matrix in re.findall(rf"{number} {number} {number} {number} {number} {number} cm", data):
        scale = max(scale, abs(float(matrix[0])))
    lines = [[float(cell) for cell in line] for line in found]
    return [abs(x2 - x1) * scale / MM for x1, y1, x2, y2 in lines if abs(y1 - y2) < 1e-3 and abs(x1 - x2) > 1]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("length", [100, 150])
def test_each_serving_has_one_page_with_lines_of_true_length(paper, length):
    study = ballot_study()
    pages = read(paper_ballots(study, "1", paper=paper, line_mm=length)).pages
    assert len(pages) == 9
    for page in pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SIZES[paper], abs=0.01)
        scales = [found for found in line_lengths(page) if abs(found - length) < POSITION_ERROR]
        assert len(scales) == 5


def test_fourteen_attributes_fit_on_one_page():
    study = open_study(ROOT / "data_demo" / "reading_room")
    for paper, length in (("A4", 100), ("Letter", 150)):
        pages = read(paper_ballots(study, "1", paper=paper, line_mm=length, assessors=("A01",))).pages
        assert len(pages) == 8
        assert sum(abs(found - length) < POSITION_ERROR for found in line_lengths(pages[0])) == 14


def test_more_attributes_run_on_and_every_page_carries_the_code():
    table = ballot_study().table("attributes")
    many = table.loc[table.index.repeat(8)].reset_index(drop=True)
    pages = read(paper_ballots(ballot_study(attributes=many), "1", assessors=("A01",))).pages
    assert len(pages) > 3
    assert all(re.search(r"417|582|936", page.extract_text()) for page in pages)


def test_code_session_assessor_and_site_stand_on_each_page():
    plan = ballot_study().table("servings").query("session == '1' and assessor != 'C01'")
    for page, row in zip(read(paper_ballots(ballot_study(), "1")).pages, plan.itertuples(), strict=True):
        text = page.extract_text()
        for words in (row.code, f"session 1, sample {row.position:g}, {row.site}", row.assessor, "cannot judge"):
            assert words in text
        assert "After-feel, 2 min after the end of rubbing" in text
        assert "100 mm long" in text


def test_what_is_rinsed_off_is_judged_after_that():
    rinsed = ballot_study()
    rinsed = replace(rinsed, facts={**rinsed.facts, "moment": "after rinsing"})
    text = read(paper_ballots(rinsed, "1", assessors=("A01",))).pages[0].extract_text()
    assert "After-feel, 2 min after rinsing" in text


def test_no_prototype_stands_on_paper():
    for content in (paper_ballots(ballot_study(), "1"), serving_labels(ballot_study(), "1")):
        pdf = read(content)
        text = "".join(page.extract_text() for page in pdf.pages) + str(pdf.metadata)
        assert [word for word in SECRETS if word.lower() in text.lower()] == []
        assert "C01" not in text


def test_words_of_the_study_are_printed_as_they_are():
    odd = '#panic("x") *bold* $x$ [a] <b> \\ "quoted"'
    table = ballot_study().table("attributes").assign(procedure=odd, low_end=odd)
    text = read(paper_ballots(ballot_study(attributes=table), "1", assessors=("A01",))).pages[0].extract_text()
    assert '#panic("x") *bold* $x$ [a] <b>' in text.replace("\n", " ")


def test_the_same_plan_gives_the_same_bytes():
    assert paper_ballots(ballot_study(), "1") == paper_ballots(ballot_study(), "1")
    assert serving_labels(ballot_study(), "1") == serving_labels(ballot_study(), "1")
    assert "/CreationDate" not in read(paper_ballots(ballot_study(), "1")).metadata  # it would change each time


def test_the_font_comes_with_the_file():
    fonts = set()
    for page in read(paper_ballots(ballot_study(), "1", assessors=("A01",))).pages:
        for font in page["/Resources"]["/Font"].values():
            fonts.add(font.get_object()["/BaseFont"])
    assert fonts
    assert all("DejaVuSans" in name for name in fonts)


def test_a_stamp_stands_on_every_page_and_makes_no_more_of_them():
    stamp = "The safety gate is not open: do not apply anything."
    pages = read(paper_ballots(ballot_study(), "1", stamp=stamp)).pages
    assert len(pages) == 9
    assert all(stamp in page.extract_text() for page in pages)
    assert stamp not in read(paper_ballots(ballot_study(), "1")).pages[0].extract_text()


def test_each_cup_has_a_label():
    pages = read(serving_labels(ballot_study(), "2")).pages
    text = "".join(page.extract_text() for page in pages)
    for code in CODES["2"]:
        assert text.count(code) == len(ASSESSORS)
    assert "session 2, A03, sample 3" in text


def test_what_cannot_be_printed_is_told():
    with pytest.raises(StudyError, match="A4 or Letter, with lines of 100 or 150 mm"):
        paper_ballots(ballot_study(), "1", paper="A5")
    with pytest.raises(StudyError, match="lines of 100 or 150 mm"):
        paper_ballots(ballot_study(), "1", line_mm=120)
    with pytest.raises(StudyError, match="Labels come on A4 or Letter"):
        serving_labels(ballot_study(), "1", paper="A5")
    with pytest.raises(StudyError, match="Session 9 has no servings with codes"):
        paper_ballots(ballot_study(), "9")
    with pytest.raises(StudyError, match="no attributes to ask for"):
        paper_ballots(ballot_study(attributes=ballot_study().table("attributes").iloc[:0]), "1")
