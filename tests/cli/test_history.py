"""`afterfeel history`: who changed what, what stood before and after, and a change taken back."""

import json
from dataclasses import replace

import pandas as pd
import pytest
from click.testing import CliRunner

from panel.checks.structure import check_folder
from panel.cli import main
from panel.study.folder import read_folder, write_study
from panel.study.journal import _OUTSIDE
from panel.study.naming import Naming
from panel.study.saving import last_change, save
from panel.study.shown import shown
from panel.views.planning.study import CHANGED_ROWS, HISTORY, what_changed
from tests.study.small_study import small_study


def ran(*words):
    return CliRunner().invoke(main, ["history", *map(str, words)])


def renamed(name):
    def change(now):
        table = now.table("prototypes").assign(name=[name, *now.table("prototypes")["name"][1:]])
        return replace(now, tables={**now.tables, "prototypes": table})

    return change


@pytest.fixture
def folder(tmp_path):
    write_study(small_study(), tmp_path / "s")
    for who, name in (("Ada", "first"), ("Ben", "second")):
        save(tmp_path / "s", read_folder(tmp_path / "s"), renamed(name), who=who, what=f"The name is {name}.")
    return tmp_path / "s"


def test_the_history_names_the_last_change_first(folder):
    said = ran(folder).output
    assert said.startswith("2 changes; the last on ")
    assert "by Ben: The name is second." in said.splitlines()[0]
    assert said.index("Ben", len(said.splitlines()[0])) < said.index("Ada")
    assert "name first" not in said
    whole = ran(folder, "--all").output
    assert "name first" in whole
    assert "name second" in whole


def test_as_json_it_has_every_row_and_no_fault(folder):
    content = json.loads(ran(folder, "--json").output)
    last = content["changes"][0]
    assert (last["who"], last["before"], last["after"]) == ("Ben", "name first", "name second")
    assert content["faults"] == []


def test_a_change_is_taken_back_with_a_name_and_a_reason(folder):
    refused = ran(folder, "--undo", 2)
    assert refused.exit_code == 2
    done = ran(folder, "--undo", 2, "--who", "Ada", "--why", "typed wrongly")
    assert "by Ada: Change 2 taken back: typed wrongly." in done.output.splitlines()[0]
    assert read_folder(folder).table("prototypes")["name"].iloc[0] == "first"
    assert last_change(folder) == (3, "")


def test_an_edited_journal_is_a_finding_of_check(folder):
    assert check_folder(folder) == []
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b"Ada", b"Eva"))
    (found,) = check_folder(folder)
    assert (found.severity, found.kind, found.where) == ("warning", "journal_edited", "journal.jsonl")
    assert "line 2 does not follow from the line before it" in found.message
    checked = json.loads(CliRunner().invoke(main, ["check", str(folder), "--json"]).output)
    assert "journal_edited" in {row["kind"] for row in checked["findings"]}
    assert found.message in ran(folder).output
    journal.unlink()
    assert "is missing" in check_folder(folder)[0].message


def test_a_file_has_no_history(tmp_path):
    file = tmp_path / "s.xlsx"
    file.write_bytes(b"")
    assert "Only a study folder has a history" in ran(file).output
    assert check_folder(file) == []


def test_a_study_that_was_never_changed_says_so(tmp_path):
    write_study(small_study(), tmp_path / "s")
    assert ran(tmp_path / "s").output.strip() == "Nothing was changed since the study was made."
    assert last_change(tmp_path / "s")[1] == "The journal has no change 0; it has 0."


def test_words_of_a_change_that_no_line_tells_of():
    rows = pd.DataFrame(
        [(3, "", "", _OUTSIDE, "", "", "", ""), (2, "odd", "Ada", "b", "scores", "A01", "", "score 1")],
        columns=["change", "when", "who", "what", "table", "key", "before", "after"],
    )
    assert what_changed(rows) == f"2 changes; the last: {_OUTSIDE}"
    assert shown(HISTORY, rows, Naming())["When"].tolist() == ["–", "odd"]
    assert shown(CHANGED_ROWS, rows, Naming()).to_numpy().tolist() == [["2", "scores", "A01", "nothing", "score 1"]]
