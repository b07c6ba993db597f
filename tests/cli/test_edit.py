"""`afterfeel template` and `afterfeel set` do what the editors do, and say what they changed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from panel.cli import main
from panel.study.folder import read_folder, write_study
from panel.study.saving import journal_rows
from tests.studies import small_study


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_study(small_study(), tmp_path / "small")
    return tmp_path / "small"


def run(*words: object, code: int = 0, text: str = "") -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words], input=text)
    assert result.exit_code == code, result.output
    return result


def test_a_table_from_a_file_with_decimal_commas(folder: Path, tmp_path: Path):
    (tmp_path / "b.csv").write_text("Batch;Prototype;pH;made\nN1;P1;5,4;2026-03-10\n")
    told = json.loads(run("set", folder, "batches", tmp_path / "b.csv", "--who", "EK", "--json").stdout)
    assert told["saved"]
    assert [(row["table"], row["key"]) for row in told["changed"]] == [("batches", "batch=N1")]
    assert "Perhaps made_on is meant" in told["notes"][0]
    assert read_folder(folder).table("batches").set_index("batch").loc["N1", "ph"] == 5.4
    assert journal_rows(folder)["who"].tolist() == ["EK"]
    again = run("set", folder, "batches", tmp_path / "b.csv").stdout
    assert "Nothing changes" in again


def test_trying_changes_nothing(folder: Path):
    before = (folder / "datapackage.json").read_bytes()
    told = run("set", folder, "margin", "7,5", "--try").stdout
    assert "1 row would change" in told
    assert (folder / "datapackage.json").read_bytes() == before


def test_facts_names_and_the_benchmark(folder: Path):
    run("set", folder, "margin", "7,5")
    run("set", folder, "gates", '{"ph": [5.0, 6.0]}')
    run("set", folder, "benchmark", "P2")
    run("set", folder, "rename", "prototype", "P4", "Q4")
    study = read_folder(folder)
    assert study.facts["margin"] == 7.5
    assert study.facts["gates"] == {"ph": [5.0, 6.0]}
    assert study.benchmark == "P2"
    assert "Q4" in study.prototypes
    run("set", folder, "margin", "")
    assert "margin" not in read_folder(folder).facts


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("margin", "ten"), "The fact margin cannot be read"),
        (("delete", "prototype", "P1"), "Write why P1 is taken out"),
        (("delete", "prototype", "P1", "--why", "no"), "P1 stays"),
        (("benchmark", "P9"), "no prototype 'P9'"),
        (("margin",), "Name a table and its file"),
        (("batches", "missing.csv"), "There is no file"),
        (("gates", "{"), "is no JSON"),
    ],
)
def test_what_cannot_be_done_is_said(folder: Path, words: tuple[str, ...], says: str):
    assert says in run("set", folder, *words, code=2).stderr


def test_problems_are_named_with_row_and_column(folder: Path):
    told = run("set", folder, "batches", "-", "--json", text="batch,prototype,ph\nN1,P1,acid\n").stdout
    (problem,) = json.loads(told)["problems"]
    assert (problem["table"], problem["column"]) == ("batches", "ph")
    assert "'acid' is not read" in problem["message"]


def test_a_workbook_goes_out_and_comes_back(folder: Path, tmp_path: Path):
    run("template", "--out", tmp_path / "s.xlsx", "--from", folder)
    assert "Nothing changes" in run("set", folder, tmp_path / "s.xlsx").stdout
    assert "is there already" in run("template", "--out", tmp_path / "s.xlsx", code=2).stderr
    run("template", "--out", tmp_path / "s.xlsx", "--force")
    assert "Nothing changes" in run("set", folder, tmp_path / "s.xlsx").stdout
