from __future__ import annotations

import csv
import io
import json

import pytest

from panel.errors import StudyError
from panel.study.folder import files_of_study, study_of_files
from panel.study.raw_table import raw_file
from panel.study.study import Study
from panel.study.tables import DESCRIPTION
from tests.study.small_study import RAW, frame, small_study


def test_each_table_is_a_file_and_the_description_comes_last():
    files = files_of_study(small_study())
    assert list(files)[-1] == DESCRIPTION
    assert set(files) == {f"{name}.csv" for name in small_study().tables} | {"raw/panel.csv", DESCRIPTION}
    assert files["raw/panel.csv"] == RAW


def test_text_that_looks_like_a_formula_is_written_as_it_is():
    rows = list(csv.reader(io.StringIO(files_of_study(small_study())["prototypes.csv"].decode(), newline="")))
    assert rows[1] == ["P1", "base", "benchmark", "=1+1"]


def test_files_give_the_study_back():
    files = files_of_study(small_study())
    assert study_of_files(files.get, "f").content_hash == small_study().content_hash


def test_tables_may_lie_elsewhere_inside_the_study():
    files = files_of_study(small_study())
    files["data/scores.csv"] = files.pop("scores.csv")
    files[DESCRIPTION] = files[DESCRIPTION].replace(b'"scores.csv"', b'"data/scores.csv"')
    assert study_of_files(files.get, "f").content_hash == small_study().content_hash


def test_two_imported_files_of_one_name_are_both_kept():
    raw = (raw_file("a.csv", b"1"), raw_file("A.csv", b"2"), raw_file("../a.csv", b"3"))
    files = files_of_study(Study({}, {}, raw_files=raw))
    assert len(files) == 4
    assert study_of_files(files.get, "f").raw_files == raw


def test_table_without_rows_and_without_columns():
    study = Study({"scores": frame("scores", {"assessor": "A", "score": 1}).iloc[:0], "claims": frame("claims")})
    files = files_of_study(study)
    assert files["scores.csv"] == b"assessor,score\r\n"
    assert [entry["name"] for entry in json.loads(files[DESCRIPTION])["resources"]] == ["scores"]
    assert study_of_files(files.get, "f").tables["scores"].empty


def test_what_is_missing_is_named():
    files = files_of_study(small_study())
    with pytest.raises(StudyError, match=r"f is not a study: it has no datapackage\.json"):
        study_of_files({}.get, "f")
    del files["scores.csv"]
    with pytest.raises(StudyError, match=r"f lacks the file scores\.csv"):
        study_of_files(files.get, "f")


def test_a_table_is_read_with_its_declared_delimiter():
    """Table dialect: https://datapackage.org/standard/table-dialect/; comma where nothing is declared."""
    entry = {"name": "prototypes", "path": "prototypes.csv", "dialect": {"delimiter": ":"}}
    files = {"datapackage.json": json.dumps({"afterfeel": {}, "resources": [entry]}).encode()}
    files["prototypes.csv"] = b"prototype:note\nP1:soft, but; long\n"
    frame = study_of_files(files.get, "f").tables["prototypes"]
    assert frame.to_dict("list") == {"prototype": ["P1"], "note": ["soft, but; long"]}
    files["prototypes.csv"] = b"prototype:note\nP1:soft, but; long\n".replace(b":", b"\t")
    assert list(study_of_files(files.get, "f").tables["prototypes"]) == ["prototype", "note"]


def test_a_column_whose_name_holds_another_delimiter_comes_back():
    files = {"datapackage.json": b'{"afterfeel": {}, "resources": []}', "prototypes.csv": b"nul|\r\nx\r\n"}
    assert list(study_of_files(files.get, "f").tables["prototypes"]) == ["nul|"]


@pytest.mark.parametrize("delimiter", [";;", 3, '"', ["a"]])
def test_a_declared_delimiter_that_is_none(delimiter: object):
    entry = {"name": "prototypes", "path": "prototypes.csv", "dialect": {"delimiter": delimiter}}
    files = {"datapackage.json": json.dumps({"afterfeel": {}, "resources": [entry]}).encode()}
    with pytest.raises(StudyError, match=r"declares the delimiter .* for the table 'prototypes'; give one sign"):
        study_of_files(files.get, "f")


@pytest.mark.parametrize("name", [{"a": 1}, ["scores"], None, 3])
def test_an_entry_whose_name_is_no_text_is_kept_as_that_of_another_file(name):
    files = files_of_study(small_study())
    package = json.loads(files[DESCRIPTION])
    package["resources"].append({"name": name, "path": "x.csv"})
    files[DESCRIPTION] = json.dumps(package).encode()
    assert study_of_files(files.get, "f").content_hash == small_study().content_hash
