"""The workbook to fill in comes back as it went out, filled or not, and what is wrong is placed by sheet and cell."""

from __future__ import annotations

import io

import pytest
import xlsxwriter

from panel.app.state import demo_folder
from panel.errors import StudyError
from panel.study.archives import open_workbook, sheet_names, sheet_rows
from panel.study.editing import changes_between
from panel.study.open_study import HOW_TO, open_study, study_of_bytes
from panel.study.study import Study
from panel.study.table_cells import known_column
from panel.study.tables import TABLES
from panel.study.template import _SHEETS, read_workbook, template_bytes
from tests.study.small_study import small_study


def workbook(**sheets: list[list[str]]) -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content) as made:
        for name, rows in sheets.items():
            sheet = made.add_worksheet(name)
            for line, row in enumerate(rows):
                for place, cell in enumerate(row):
                    sheet.write_string(line, place, cell)
    return content.getvalue()


@pytest.mark.parametrize("study", [small_study(), open_study(demo_folder())], ids=["small", "demo"])
def test_a_workbook_that_comes_back_untouched_changes_nothing(study: Study):
    after, _, _ = read_workbook(study, template_bytes(study), "study.xlsx")
    assert changes_between(study, after).empty


def test_an_empty_workbook_changes_nothing_and_explains_every_column():
    content = template_bytes()
    study = small_study()
    assert changes_between(study, read_workbook(study, content, "study.xlsx")[0]).empty
    with open_workbook(content, "study.xlsx") as (book, _):
        assert sheet_names(book) == [HOW_TO, "study", *_SHEETS]
        told = {(row[0], row[1]): row for row in sheet_rows(book, HOW_TO)[1:]}
        for name in _SHEETS:
            heads = sheet_rows(book, name)[0]
            if name != "formulas":  # stands side by side
                assert tuple(heads) == TABLES[name].column_names
            for column in TABLES[name].columns:
                assert column.meaning in told[name, column.name][3]
                assert told[name, column.name][4]  # an example


def test_a_filled_workbook_can_be_opened_as_a_study_too():
    filled = study_of_bytes(template_bytes(open_study(demo_folder())), "study.xlsx")
    demo = open_study(demo_folder())
    assert changes_between(demo, filled).query("table in @SHEETS", local_dict={"SHEETS": _SHEETS}).empty


def test_what_is_wrong_is_placed_by_sheet_and_cell():
    content = workbook(
        prototypes=[["prototype", "role"], ["P1", "benchmark"], ["P2", "prototyp"]],
        batches=[["batch", "prototype", "made", "ph"], [], ["B1", "P1", "", "5,4"], ["B2", "P7", "", "acid"]],
        formulas=[
            ["Ingredient (INCI)", "kind", "P1", "P2"],
            ["Aqua", "", "q.s.", "90"],
            ["Squalane", "oil", "5,5", "some"],
        ],
        Batch=[["x"], ["y"]],
    )
    after, notes, problems = read_workbook(Study({}), content, "study.xlsx")
    places = [problem.split(":")[0] for problem in problems]
    assert places == ["prototypes!B3", "batches!D4", "batches!B4", "formulas!B3", "formulas!D3", "formulas!B3"]
    assert "'acid' is not read" in problems[1]
    assert any("'Batch' is none of a study" in note and "Perhaps batches" in note for note in notes)
    assert after.table("formulas")["percent"].tolist()[0] == 94.5
    assert known_column("formulas", "Ingredient (INCI)") == "ingredient"


def test_an_unknown_column_is_kept_and_the_nearest_is_named():
    content = workbook(batches=[["batch", "prototype", "viscosity"], ["B1", "P1", "23000"]])
    after, notes, _ = read_workbook(Study({}), content, "study.xlsx")
    assert after.tables["batches"]["viscosity"].tolist() == ["23000"]
    assert "no column 'viscosity'; it is kept" in notes[0]
    assert "Perhaps viscosity_mpa_s is meant" in notes[0]


def test_what_is_on_record_only_grows():
    demo = open_study(demo_folder())
    head = list(TABLES["claims"].column_names)
    row = ["less greasy than ours", "difference"] + [""] * (len(head) - 2)
    after, _, _ = read_workbook(demo, workbook(claims=[head, row]), "study.xlsx")
    assert len(after.table("claims")) == len(demo.table("claims")) + 1


def test_a_workbook_of_something_else_is_refused():
    with pytest.raises(StudyError, match="has no sheet of a study; its sheets would be study, prototypes"):
        read_workbook(Study({}), workbook(Sheet1=[["a"], ["b"]]), "other.xlsx")
