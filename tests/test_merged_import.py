"""A workbook with names merged over their rows, from the file to the answer: by command and in the app."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.study.open_study import open_study
from tests.study.test_blank_names import gaps, sheet, workbook

SENTENCE = "Column 'Assessor' (assessor): the name above was used for 16 rows, merged in the file."


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def files(tmp_path):
    frame = sheet()
    (tmp_path / "merged.xlsx").write_bytes(workbook(frame, ("Session", "Assessor")))
    (tmp_path / "whole.xlsx").write_bytes(workbook(frame))
    (tmp_path / "gaps.csv").write_bytes(gaps(frame, "Session", "Assessor"))
    return tmp_path


def imported(files, name, *options):
    out = files / f"study of {name}"
    result = run("import", files / name, "--scale-min", 0, "--scale-max", 100, "--out", out, *options)
    assert result.exit_code == 0, result.stderr
    return result.stdout, out


def test_merged_names_are_said_at_import_kept_and_analysed_as_names_written_out(files):
    told, merged = imported(files, "merged.xlsx")
    assert SENTENCE in told.splitlines()
    assert "scores, assessor" in told
    _, whole = imported(files, "whole.xlsx")
    assert SENTENCE in open_study(merged).facts["import"]["done"]
    assert SENTENCE in run("check", merged).stdout
    assert run("check", merged).exit_code == 0
    for command in ("compare", "panel"):
        one, other = (run(command, study, "--json") for study in (merged, whole))
        assert one.exit_code == 0, one.stderr
        assert json.loads(one.stdout) == json.loads(other.stdout)
    assert len(json.loads(run("panel", merged, "--json").stdout)["people"]) == 4


def test_a_text_table_with_gaps_stops_proposes_to_fill_down_and_then_does(files):
    result = run("import", files / "gaps.csv", "--out", files / "x")
    assert result.exit_code == 2
    assert "no session stands in column 'Session' in lines 3, 4" in result.stderr or "no assessor" in result.stderr
    assert "--fill-down" in result.stderr
    assert not (files / "x").exists()
    told, filled = imported(files, "gaps.csv", "--fill-down")
    assert "was used for 16 rows, left blank in the file, filled down as asked." in told
    _, whole = imported(files, "whole.xlsx")
    one, other = (json.loads(run("compare", study, "--json").stdout) for study in (filled, whole))
    assert one["attributes"] == other["attributes"]


def test_names_wiped_from_the_folder_by_hand_stop_and_are_in_no_analysis(files):
    _, whole = imported(files, "whole.xlsx")
    table = whole / "scores.csv"
    lines = table.read_text().splitlines()
    kept = [lines[0], *(line for line in lines[1:] if not line.startswith("A02,"))]
    wiped = [lines[0], *(line.removeprefix("A02") if line.startswith("A02,") else line for line in lines[1:])]
    answers = []
    for content in (kept, wiped):
        table.write_text("\n".join(content) + "\n")
        answers.append([json.loads(run(command, whole, "--json").stdout) for command in ("compare", "panel")])
    without, blank = answers
    assert blank[0]["pairs"] == without[0]["pairs"]
    assert blank[1] == without[1]
    assert len(blank[1]["people"]) == 3
    stopped = run("check", whole)
    assert stopped.exit_code == 1
    assert "12 rows of scores name no assessor: they are in no analysis." in stopped.stdout
