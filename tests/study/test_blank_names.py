"""A name that stands once over its rows, as people write tables by hand: merged, left blank below, or left out.

The workbooks are written with XlsxWriter as a spreadsheet program does: the upper left cell of a merged range holds the
text, the others nothing. What is compared with is the same table with every name written out.
"""

from __future__ import annotations

import io
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import xlsxwriter

from panel.checks.all_checks import check_study
from panel.errors import StudyError
from panel.models.prototypes.differences import find_differences
from panel.study.layout import ScoresLayout, guess_layout
from panel.study.raw_table import raw_file, raw_table
from panel.study.scores_import import read_scores, study_from_scores

ATTRIBUTES = ("gloss", "film")


def sheet(assessors=4, prototypes=3, sessions=2):
    """Return a wide table, session by session and person by person, every cell filled."""
    rng = np.random.default_rng(5)
    rows = [
        (f"{s + 1}", f"A{a + 1:02d}", f"P{p + 1}", *(round(40 + 9 * p + rng.normal(0, 4), 1) for _ in ATTRIBUTES))
        for s in range(sessions)
        for a in range(assessors)
        for p in rng.permutation(prototypes)
    ]
    return pd.DataFrame(rows, columns=["Session", "Assessor", "Prototype", *ATTRIBUTES])


def runs(cells):
    """Return first and last place of each run of equal cells."""
    starts = [0, *(i for i in range(1, len(cells)) if cells[i] != cells[i - 1]), len(cells)]
    return [(first, last - 1) for first, last in pairwise(starts)]


def workbook(frame, merged=(), top=0, blocks=()):
    """Return a workbook of the table beginning in line `top`; runs in the columns `merged` are merged cells.

    `blocks` are merged as (first row, first column, last row, last column) below the header.
    """
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True})
    page = book.add_worksheet("Session sheets")
    page.write_row(top, 0, list(frame.columns))
    covered = {(r, c) for r0, c0, r1, c1 in blocks for r in range(r0, r1 + 1) for c in range(c0, c1 + 1)}
    for place, name in enumerate(frame.columns):
        cells = frame[name].tolist()
        for first, last in runs(cells) if name in merged else [(i, i) for i in range(len(cells))]:
            if (first, place) in covered:
                continue
            if last > first:
                page.merge_range(top + 1 + first, place, top + 1 + last, place, cells[first])
            else:
                page.write(top + 1 + first, place, cells[first])
    for r0, c0, r1, c1 in blocks:
        page.merge_range(top + 1 + r0, c0, top + 1 + r1, c1, frame.iloc[r0, c0])
    book.close()
    return content.getvalue()


def imported(content, name="panel.xlsx", **changes):
    table = raw_table(raw_file(name, content))
    layout = guess_layout(table)
    held = {role: getattr(layout, role) for role in layout.columns()} | {"attributes": layout.attributes}
    return read_scores(table, ScoresLayout(**(held | changes)))


def study_of(found):
    return study_from_scores(found, raw_file("panel.xlsx", b""), "t", 0, 100)


def gaps(frame, *columns):
    """Return the table with each run of equal cells written once, as text exports of merged cells hold it."""
    left = frame.copy()
    for column in columns:
        cells = frame[column].tolist()
        left[column] = ["" if i and cells[i] == cells[i - 1] else cell for i, cell in enumerate(cells)]
    return left.to_csv(index=False).encode()


@pytest.mark.parametrize("top", [0, 3])
@pytest.mark.parametrize("merged", [("Assessor",), ("Session",), ("Session", "Assessor")])
def test_merged_names_give_the_same_scores_as_names_written_out(merged, top):
    frame = sheet()
    found, whole = imported(workbook(frame, merged, top)), imported(workbook(frame))
    pd.testing.assert_frame_equal(found.scores, whole.scores)
    rows = {"Assessor": 16, "Session": 22}
    told = [f"Column {name!r} ({name.lower()}): the name above was used for {rows[name]} rows" for name in merged]
    for sentence in told:
        assert f"{sentence}, merged in the file." in found.notes
    assert len(whole.filled) == 0


def test_what_was_filled_down_is_kept_in_the_study_and_is_a_finding():
    study = study_of(imported(workbook(sheet(), ("Assessor",))))
    (finding,) = [one for one in check_study(study) if one.kind == "names_filled_down"]
    assert (finding.severity, finding.where) == ("note", "scores, assessor")
    assert finding.message == "Column 'Assessor' (assessor): the name above was used for 16 rows, merged in the file."
    assert finding.advice.startswith("Nothing to do if the merged cells were meant so.")
    assert not [one for one in check_study(study) if one.severity == "stop"]


def test_a_prototype_merged_over_its_rows_of_a_long_table_is_filled_down():
    frame = sheet().melt(["Session", "Assessor", "Prototype"], var_name="Attribute", value_name="Score")
    frame = frame.sort_values(["Session", "Assessor", "Prototype"], kind="stable", ignore_index=True)
    merged = imported(workbook(frame, ("Session", "Assessor", "Prototype")))
    pd.testing.assert_frame_equal(merged.scores, imported(workbook(frame)).scores)
    assert {one.role for one in merged.filled} == {"session", "assessor", "prototype"}


def test_the_name_of_a_block_over_two_columns_is_that_of_its_first_column_only():
    frame = sheet().assign(Note="")[["Assessor", "Note", "Session", "Prototype", *ATTRIBUTES]]
    found = imported(workbook(frame, blocks=[(0, 0, 2, 1)]))
    pd.testing.assert_frame_equal(found.scores, imported(workbook(frame)).scores)
    assert [one.rows for one in found.filled] == [2]
    both = sheet()[["Assessor", "Session", "Prototype", *ATTRIBUTES]]
    with pytest.raises(StudyError, match="no session stands in column 'Session' in lines 2, 3, 4,"):
        imported(workbook(both, blocks=[(0, 0, 2, 1)]))


def test_blanks_that_are_not_merged_stop_with_their_lines():
    frame = sheet()
    frame.loc[[4, 5, 9], "Assessor"] = ""
    with pytest.raises(StudyError) as stopped:
        imported(workbook(frame, ("Session",)))
    assert str(stopped.value).startswith("panel.xlsx: no assessor stands in column 'Assessor' in lines 6, 7, 11, and ")
    assert "not merged with a name above them" in str(stopped.value)
    assert "--fill-down" in str(stopped.value)


def test_merged_and_left_blank_in_one_column_are_told_apart():
    frame = sheet()
    with pytest.raises(StudyError, match=r"in lines 24, 25, and"):
        imported(workbook(frame.assign(Assessor=[*frame["Assessor"][:22], "", ""]), ("Assessor",)[:0]))
    content = workbook(frame.assign(Assessor=[*frame["Assessor"][:22], "", ""]))
    found = imported(content, fill_down=True)
    pd.testing.assert_frame_equal(found.scores, imported(workbook(frame)).scores)
    assert found.filled[0].words.startswith("Column 'Assessor' (assessor): the name above was used for 2 rows, ")
    assert found.filled[0].words.endswith(", left blank in the file, filled down as asked.")


@pytest.mark.parametrize("columns", [("Assessor",), ("Session",), ("Prototype",), ("Session", "Assessor")])
def test_a_text_table_with_gaps_stops_and_is_filled_down_only_when_asked(columns):
    frame = sheet(prototypes=3).sort_values(["Session", "Prototype"] if "Prototype" in columns else ["Session"])
    frame = frame.sort_values("Session", kind="stable").reset_index(drop=True)
    content = gaps(frame, *columns)
    with pytest.raises(StudyError, match=r"no \w+ stands in column '\w+' in lines 3, 4, .*Scores without a name"):
        imported(content, "panel.csv")
    found = imported(content, "panel.csv", fill_down=True)
    pd.testing.assert_frame_equal(found.scores, imported(frame.to_csv(index=False).encode(), "panel.csv").scores)


def test_a_blank_above_all_names_stops_even_when_asked_to_fill_down():
    frame = sheet()
    frame.loc[0, "Assessor"] = ""
    with pytest.raises(StudyError, match=r"in line 2, and no name above\. Write the name into the file\."):
        imported(frame.to_csv(index=False).encode(), "panel.csv", fill_down=True)


def test_a_column_of_assessors_without_any_name_stops():
    frame = sheet().assign(Assessor="")
    with pytest.raises(StudyError, match=r"\(24 in all\)"):
        imported(frame.to_csv(index=False).encode(), "panel.csv")


def test_a_session_column_without_any_session_is_no_session_and_a_row_without_scores_is_no_matter():
    frame = sheet().assign(Session="").astype({"gloss": object, "film": object})
    frame.loc[24] = ["", "", "", "", ""]
    frame.loc[24, "Prototype"] = "P1"
    found = imported(frame.to_csv(index=False).encode(), "panel.csv")
    assert set(found.scores["session"]) == {""}
    assert found.scores["score"].notna().sum() == 48


def test_a_score_merged_over_rows_counts_once_and_is_said():
    frame = sheet()
    frame.loc[[0, 1], "gloss"] = 50.0
    found = imported(workbook(frame, ("gloss",)))
    assert "Scores merged over several rows count once, in the first of them: gloss." in found.notes
    assert found.scores.loc[found.scores["attribute"] == "gloss", "score"].tolist()[0] == 50.0
    assert np.isnan(found.scores.loc[found.scores["attribute"] == "gloss", "score"].tolist()[1])


def test_the_analysis_of_merged_names_is_that_of_names_written_out():
    frame = sheet()
    one = find_differences(study_of(imported(workbook(frame, ("Session", "Assessor")))))
    other = find_differences(study_of(imported(workbook(frame))))
    pd.testing.assert_frame_equal(one.attributes, other.attributes)


def test_merged_ranges_lying_over_one_another_are_refused(monkeypatch):
    monkeypatch.setattr("panel.study.raw_table.MAX_CELLS", 200)
    frame = sheet()
    monkeypatch.setattr("panel.study.raw_table.merged_ranges", lambda *_: [(1, 1, 24, 1)] * 10)
    with pytest.raises(StudyError, match="merged cells that lie over one another"):
        raw_table(raw_file("panel.xlsx", workbook(frame)))
