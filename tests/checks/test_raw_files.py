"""A raw file that was changed after the import is found."""

from dataclasses import replace

from panel.checks.all_checks import check_study
from panel.checks.structure import check_raw_files
from panel.study.raw_table import raw_file
from tests.studies import small_study


def test_an_unchanged_file_gives_no_finding():
    study = replace(small_study(), raw_files=(raw_file("scores.csv", b"a,b\n1,2\n"),))
    assert check_raw_files(study) == []


def test_a_changed_file_is_named():
    kept = raw_file("scores.csv", b"a,b\n1,2\n")
    study = replace(small_study(), raw_files=(replace(kept, content=b"a,b\n1,3\n"),))
    (found,) = check_raw_files(study)
    assert found.severity == "warning"
    assert found.where == "raw files, scores.csv"
    assert "SHA-256" in found.message
    assert "Put the file back" in found.advice
    assert found in check_study(study)
