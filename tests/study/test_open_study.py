"""The same study whatever it is kept as; anything else gives one sentence and leaves the disk as it was."""

from __future__ import annotations

import string
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from panel.errors import StudyError
from panel.study.folder import write_study
from panel.study.open_study import open_study, study_of_bytes, workbook_bytes, zip_bytes
from panel.study.study import Study
from panel.study.tables import TABLES
from tests.study.small_study import small_study
from tests.study.test_archive_limits import packed
from tests.study.test_raw_table import PNG, workbook

# All that a cell may hold: no control characters except tab and line ends, none that a workbook writes its own way.
TEXTS = st.text(
    st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\ufffe\uffff") | st.sampled_from("\t\n\r\v\f"),
    max_size=20,
) | st.sampled_from(["=1+1", "+5", "-", "@x", "NA", "017", "1,234", "TRUE", "_x0041_", '"', "a,b;c|d", " x "])
NUMBERS = st.floats(allow_infinity=False)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | st.floats(allow_nan=False, allow_infinity=False) | TEXTS,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(string.ascii_letters, max_size=5), inner, max_size=3)
    ),
    max_leaves=6,
)


@st.composite
def studies(draw: st.DrawFn) -> Study:
    tables = {}
    for name in draw(st.lists(st.sampled_from(sorted(TABLES)), min_size=1, max_size=3, unique=True)):
        rows = draw(st.integers(0, 4))
        chosen = draw(st.lists(st.sampled_from(TABLES[name].columns), min_size=1, unique_by=lambda column: column.name))
        columns = {}
        for column in chosen:
            cells = {"number": NUMBERS, "integer": st.integers(-99, 99).map(float)}.get(column.kind, TEXTS)
            values = draw(st.lists(cells, min_size=rows, max_size=rows))
            columns[column.name] = pd.Series(values, dtype="float64" if column.kind in ("number", "integer") else "str")
        # The last row must not be empty: an empty last line of a file is no row.
        columns["unknown to us"] = pd.Series(["x"] * rows, dtype="str")
        tables[name] = pd.DataFrame(columns)
    fact_names = st.text(string.ascii_lowercase + "_", min_size=1, max_size=8).filter(lambda name: name != "raw_files")
    return Study(tables, draw(st.dictionaries(fact_names, JSON, max_size=4)))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(studies())
@example(Study({"formulas": pd.DataFrame({"ingredient": ["Aqua"], "unknown to us": ["x"]}, dtype="str")}))
def test_folder_workbook_and_zip_give_the_same_study(study: Study):
    with tempfile.TemporaryDirectory() as place:
        write_study(study, Path(place) / "s")
        from_folder = open_study(Path(place) / "s")
    from_workbook = study_of_bytes(workbook_bytes(from_folder), "f")
    from_zip = study_of_bytes(zip_bytes(from_workbook), "f")
    hashes = {one.content_hash for one in (study, from_folder, from_workbook, from_zip)}
    assert len(hashes) == 1
    assert from_zip.facts == study.facts
    for name, table in study.tables.items():
        pd.testing.assert_frame_equal(from_zip.tables[name], table)


def test_content_decides_and_not_the_name(tmp_path: Path):
    write_study(small_study(), tmp_path / "s.xlsx")
    (tmp_path / "w.zip").write_bytes(workbook_bytes(small_study()))
    (tmp_path / "z.study").write_bytes(zip_bytes(small_study()))
    places = ["s.xlsx", "s.xlsx/datapackage.json", "w.zip", "z.study"]
    hashes = {open_study(tmp_path / place).content_hash for place in places}
    assert hashes == {small_study().content_hash}
    assert open_study(str(tmp_path / "w.zip")).prototypes == ("P1", "017")


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is not a study folder, workbook or zip"),
        (b"panelist,greasy\nA01,5\n", "a table of scores has to be imported first"),
        (PNG, "is not a study folder, workbook or zip"),
        (b"PK", "not a whole zip archive"),
        (workbook_bytes(small_study())[:-100], "not a whole zip archive"),
        (packed({"../evil": b"x"}), "leads out of it"),
        (packed({"xl/workbook.xml": b"junk"}), "cannot be read as a workbook"),
        (workbook({"scores": [["score", "score"], ["1", "2"]]}), "more than one column called 'score'"),
    ],
)
def test_anything_else_gives_one_sentence(content: bytes, sentence: str, tmp_path: Path):
    path = tmp_path / "file.xlsx"
    path.write_bytes(content)
    with pytest.raises(StudyError, match=sentence) as caught:
        open_study(path)
    assert "\n" not in str(caught.value)
    assert [(one.name, one.read_bytes()) for one in tmp_path.iterdir()] == [("file.xlsx", content)]


def test_places_where_nothing_is(tmp_path: Path):
    with pytest.raises(StudyError, match="There is no study at"):
        open_study(tmp_path / "missing")
    with pytest.raises(StudyError, match="it has no datapackage"):
        open_study(tmp_path)
    with pytest.raises(StudyError, match=r"There is no study|cannot be read"):
        open_study("a\0b")
    with pytest.raises(StudyError, match=r"There is no study|cannot be read"):
        open_study("x" * 5000)
    with pytest.raises(StudyError, match="neither a file nor a folder"):
        open_study("/dev/null")


@given(st.binary(max_size=200), st.integers(0, 10_000), st.booleans())
@settings(max_examples=150, deadline=None)
def test_damaged_files_give_a_study_or_a_sentence(junk: bytes, place: int, in_workbook: bool):
    whole = WORKBOOK if in_workbook else ZIP
    place %= len(whole)
    damaged = whole[:place] + junk + whole[place + len(junk) :]
    sentence = ""
    try:
        study_of_bytes(damaged, "f")
    except StudyError as error:
        sentence = str(error)
    assert "\n" not in sentence


WORKBOOK, ZIP = workbook_bytes(small_study()), zip_bytes(small_study())


def test_number_that_is_huge_as_text(tmp_path: Path):
    study = small_study()
    write_study(study, tmp_path / "s")
    path = tmp_path / "s" / "scores.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("48.7", "9" * 100_000), encoding="utf-8")
    back = open_study(tmp_path / "s")
    assert back.unread["reason"].tolist() == ["too long for a number"]
    assert np.isnan(back.scores["score"].iloc[0])
