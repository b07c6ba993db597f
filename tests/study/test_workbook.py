"""A study as a workbook. The XML inside is looked at directly: no formula, every text a text."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pandas as pd
import pytest

from panel.errors import StudyError
from panel.study import open_study as module
from panel.study.open_study import _study_of_workbook, workbook_bytes
from panel.study.study import Study
from tests.study.small_study import frame, small_study
from tests.study.test_raw_table import workbook


def test_study_comes_back():
    study = small_study()
    back = _study_of_workbook(workbook_bytes(study), "f.xlsx")
    assert back.content_hash == study.content_hash
    assert back.facts == study.facts
    assert back.unread.empty
    for name, table in study.tables.items():
        pd.testing.assert_frame_equal(back.tables[name], table)


def test_same_study_gives_the_same_bytes():
    assert workbook_bytes(small_study()) == workbook_bytes(small_study())


def test_nothing_is_ever_calculated():
    notes = ["=1+1", "+7", "-5", "@SUM(A1)", '=HYPERLINK("http://x")', "http://x", "{=1}", "017"]
    study = Study({"prototypes": frame("prototypes", *({"prototype": note, "note": note} for note in notes))})
    content = workbook_bytes(study)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        sheets = [archive.read(name) for name in archive.namelist() if name.startswith("xl/worksheets/")]
    assert sheets
    assert not any(b"<f>" in sheet or b"<f " in sheet or b"hyperlink" in sheet for sheet in sheets)
    assert _study_of_workbook(content, "f").tables["prototypes"]["note"].tolist() == notes


def test_numbers_keep_all_digits():
    numbers = [0.1 + 0.2, 1 / 3, 48.7, -0.0, 1e-300, 1.7976931348623157e308, 123456789012345678.0, 5e-324, np.nan]
    study = Study({"readings": frame("readings", *({"prototype": "P", "value": number} for number in numbers))})
    back = _study_of_workbook(workbook_bytes(study), "f").tables["readings"]["value"]
    np.testing.assert_array_equal(back, numbers)
    np.testing.assert_array_equal(np.signbit(back), np.signbit(numbers))


def test_unreadable_cells_keep_their_text():
    content = workbook({"Scores": [["assessor", "score"], ["A01", "4o"], ["A02", "48,7"]]})
    study = _study_of_workbook(content, "f")
    assert study.unread.to_numpy().tolist() == [["scores", "2", "score", "4o", "not a number"]]
    assert study.scores["score"].tolist()[1] == 48.7
    again = _study_of_workbook(workbook_bytes(study), "f")
    assert again.unread.equals(study.unread)


def test_sheets_made_by_hand():
    facts = [
        ["fact", "value"],
        ["title", "My test"],
        ["scale_max", "100"],
        ["rules", '[{"rule": "x"}]'],
        ["odd", "NaN"],
    ]
    content = workbook(
        {"study": facts, "scores": [["assessor", "score"], ["A01", "5"]], "scratch": [["x"]], "claims": []}
    )
    study = _study_of_workbook(content, "f")
    assert study.facts == {"title": "My test", "scale_max": 100, "rules": [{"rule": "x"}], "odd": "NaN"}
    assert set(study.tables) == {"scores"}


def test_facts_need_their_columns():
    with pytest.raises(StudyError, match="f: study needs the columns fact and value"):
        _study_of_workbook(workbook({"study": [["title"], ["x"]]}), "f")


def test_workbook_of_something_else():
    with pytest.raises(StudyError, match="has no sheet of a study"):
        _study_of_workbook(workbook({"Sheet1": [["a"], ["1"]]}), "f")


@pytest.mark.parametrize("note", ["x" * 32_768, "_x005F_x0041_", "\ufffe"])
def test_text_that_a_cell_cannot_hold(note: str):
    study = Study({"prototypes": frame("prototypes", {"prototype": "P", "note": note})})
    with pytest.raises(StudyError, match="cannot hold the text in prototypes, row 2, column 'note'"):
        workbook_bytes(study)


def test_more_rows_than_a_sheet_has(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "_MAX_SHEET_ROWS", 3)
    with pytest.raises(StudyError, match="scores has more rows than a workbook holds"):
        workbook_bytes(Study({"scores": small_study().tables["scores"]}))


def test_fact_that_cannot_be_written():
    with pytest.raises(StudyError, match="The fact 'margin'"):
        workbook_bytes(Study({}, {"margin": float("nan")}))
