import io
import json
import zipfile

import pandas as pd
import pytest

from panel.ballots.rehearsal import _to_rehearse
from panel.study.folder import read_folder, write_study
from panel.study.open_study import _study_of_workbook, _study_of_zip, workbook_bytes, zip_bytes
from panel.study.study import RawFile, Study, is_rehearsed
from tests.studies import small_study


def by_fact():
    return Study(small_study().tables, {**small_study().facts, "rehearsal": True})


def by_source():
    scores = small_study().scores
    return small_study(scores=scores.assign(source=["rehearsal", *[""] * (len(scores) - 1)]))


def by_record():
    return Study(small_study().tables, {}, raw_files=(RawFile("ballots.jsonl", "0" * 64, b'{"rehearsal":true}\n'),))


def through_folder(study, tmp_path):
    write_study(study, tmp_path / "study")
    return read_folder(tmp_path / "study")


def through_zip(study, tmp_path):
    return _study_of_zip(zip_bytes(study), "study.zip")


def through_workbook(study, tmp_path):
    return _study_of_workbook(workbook_bytes(study), "study.xlsx")


@pytest.mark.parametrize("made", [by_fact, by_source, by_record])
def test_any_trace_of_a_rehearsal_is_enough(made):
    assert is_rehearsed(made())


@pytest.mark.parametrize("way", [through_folder, through_zip, through_workbook])
@pytest.mark.parametrize("made", [by_fact, by_source])
def test_the_mark_goes_wherever_the_study_goes(made, way, tmp_path):
    assert is_rehearsed(way(made(), tmp_path))
    assert is_rehearsed(way(through_zip(made(), tmp_path), tmp_path / "again"))


def test_a_study_that_is_none_is_not_taken_for_one(tmp_path):
    for study in (small_study(), by_fact()):
        plain = Study(study.tables, {name: value for name, value in study.facts.items() if name != "rehearsal"})
        assert not is_rehearsed(plain)
    real = RawFile("ballots.jsonl", "0" * 64, b'{"rehearsal":false}\n')
    assert not is_rehearsed(Study(small_study().tables, {}, raw_files=(real,)))


def test_the_mark_stands_where_another_program_can_read_it():
    with zipfile.ZipFile(io.BytesIO(zip_bytes(by_fact()))) as archive:
        assert json.loads(archive.read("datapackage.json"))["afterfeel"]["rehearsal"] is True


def test_a_copy_to_rehearse_in_holds_nothing_that_people_said():
    tables = dict(small_study().tables)
    tables["corrections"] = pd.DataFrame({"when": ["2025-01-01"], "who": ["x"]})
    tables["answers"] = pd.DataFrame({"assessor": ["C01"], "prototype": ["P1"]})
    tables["readings"] = pd.DataFrame({"prototype": ["P1"], "measure": ["pH"], "unit": [""], "value": [5.5]})
    study = Study(
        tables, {"title": "Which?", "locked_sessions": [{}], "scale_max": 10}, raw_files=by_record().raw_files
    )
    copy = _to_rehearse(study)
    assert is_rehearsed(copy)
    assert {"scores", "corrections", "answers"} & set(copy.tables) == set()
    assert {"prototypes", "readings"} <= set(copy.tables)
    assert copy.facts == {"title": "Rehearsal of Which?", "scale_max": 10, "rehearsal": True}
    assert copy.raw_files == ()
    assert len(study.scores)  # the study itself stays
