"""Facts are typed when a study is read: what cannot be read is told with its place and kept in the file."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from panel.checks.all_checks import check_study
from panel.cli import main
from panel.errors import StudyError
from panel.models.decision.wanted import _gate_limits
from panel.study.facts import KINDS, STATED, fact_advice, facts_with_unread, read_facts, stated_fact
from panel.study.folder import read_folder, write_study
from panel.study.open_study import open_study, study_of_bytes, workbook_bytes, zip_bytes
from panel.study.saving import journal_faults, save
from panel.study.study import Study
from tests.study.small_study import small_study

DEMO = Path(__file__).parents[2] / "data_demo" / "reading_room"
HUGE = 10**400
WRONG = {
    "text": "=1+1",
    "huge": HUGE,
    "list": [],
    "entry": {},
    "yes": True,
    "nested": [[1], {"a": [2]}],
    "names": {"sessions": [[1], None], "AF_GREASE": "x"},
    "odd": {"a": {"b": HUGE}},
}


def with_facts(folder: Path, **facts: object) -> Path:
    """Write facts into the description of a study as somebody does by hand."""
    path = folder / "datapackage.json"
    package = json.loads(path.read_text(encoding="utf-8"))
    for name, value in facts.items():
        (package if name == "title" else package["afterfeel"])[name] = value
    path.write_text(json.dumps(package), encoding="utf-8")
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_study(small_study(), tmp_path / "s")
    return tmp_path / "s"


@pytest.mark.parametrize(
    ("written", "read"), [(0, 0), (7.5, 7.5), ("7,5", 7.5), ("7.5", 7.5), ("100", 100.0), (" 12 ", 12.0)]
)
def test_a_number_may_be_written_as_text(written, read):
    facts, unread = read_facts({"scale_min": written, "mine": written})
    assert facts == {"scale_min": read, "mine": written}  # a fact that nothing here reads stays as it is
    assert unread == []


@pytest.mark.parametrize(
    ("name", "value", "reason"),
    [
        ("scale_min", "=1+1", "it has to be a number, such as 8"),
        ("scale_min", [], "it has to be a number, such as 8"),
        ("margin", True, "it has to be a number, such as 8"),
        ("margin", "", "it has to be a number, such as 8"),
        ("margin", "1.234.5", "it has to be a number, such as 8"),
        ("scale_max", HUGE, "it holds a number too large to reckon with"),
        ("scale_max", float("inf"), "it holds a number too large to reckon with"),
        ("gates", {"ph": [1, HUGE]}, "it holds a number too large to reckon with"),
        ("batch_sd", {"AF": "wide"}, "it has to be a number, or numbers with names in braces"),
        ("title", ["a"], "it has to be a text"),
        ("dose", True, "it has to be a text, a list of texts, or texts with names"),
        ("rules", {}, "it has to be a list of entries, each in braces"),
        ("rules", [1], "it has to be a list of entries, each in braces"),
        ("users", [], "it has to be an entry in braces"),
        ("dominance_attributes", [1], "it has to be a list of texts"),
        ("mine", HUGE, "it holds a number too large to reckon with"),
    ],
)
def test_what_cannot_be_read_counts_as_not_stated_and_says_why(name, value, reason):
    facts, unread = read_facts({name: value})
    assert facts == {}
    ((table, row, column, _, why),) = unread
    assert (table, row, column, why) == ("facts", "", name, reason)


def test_null_says_nothing():
    assert read_facts({"margin": None, "title": None, "predictions": None}) == ({}, [])


def test_each_fact_is_declared_once_with_a_kind_that_has_words():
    assert len({fact.name for fact in STATED}) == len(STATED)
    assert {fact.kind for fact in STATED} <= set(KINDS)
    assert fact_advice("margin") == (
        "Correct margin (the smallest difference that matters): a number, such as 8. "
        "Until then it counts as not stated."
    )


def test_a_wrong_fact_is_a_finding_with_its_place(folder: Path):
    study = read_folder(with_facts(folder, scale_min="=1+1", scale_max=HUGE))
    found = [finding for finding in check_study(study) if finding.kind == "fact_not_read"]
    assert [(finding.severity, finding.where) for finding in found] == [
        ("warning", "facts, scale_min"),
        ("warning", "facts, scale_max"),
    ]
    assert found[0].message == 'The fact scale_min could not be read: "=1+1" (it has to be a number, such as 8).'
    assert "Correct scale_min (the lowest possible score): a number" in found[0].advice
    assert len(found[1].message) < 160
    assert study.scale("GREASY") == small_study().scale("GREASY")


def test_a_wrong_fact_stays_in_the_file_through_every_change_and_form(folder: Path, tmp_path: Path):
    seen = read_folder(with_facts(folder, margin="wide", gates={"ph": HUGE}))
    for change in (
        lambda now: replace(now, facts={**now.facts, "dose": "20 mg"}),
        replace(seen, facts={**seen.facts, "room": "21 C"}),
    ):
        save(folder, seen, change)
    now = read_folder(folder)
    assert (now.facts["dose"], now.facts["room"]) == ("20 mg", "21 C")
    assert facts_with_unread(now)["margin"] == "wide"
    assert sorted(now.unread["column"]) == ["gates", "margin"]
    assert json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["afterfeel"]["gates"] == {"ph": HUGE}
    assert journal_faults(folder) == ()
    write_study(now, tmp_path / "again")
    for other in (
        open_study(tmp_path / "again"),
        study_of_bytes(zip_bytes(now), "s.zip"),
        study_of_bytes(workbook_bytes(now), "s.xlsx"),
    ):
        assert facts_with_unread(other) == facts_with_unread(now)
        assert sorted(other.unread["column"]) == ["gates", "margin"]


def test_a_wrong_fact_that_was_corrected_is_read_again(folder: Path):
    seen = read_folder(with_facts(folder, margin="wide"))
    save(folder, seen, lambda now: replace(now, facts={**now.facts, "margin": 8}))
    now = read_folder(folder)
    assert now.facts["margin"] == 8
    assert now.unread.empty


def test_what_decides_whether_a_prototype_passes_is_never_passed_over(folder: Path):
    study = read_folder(with_facts(folder, gates={"ph": [5, HUGE]}, stability={"P1": HUGE}, tolerance=HUGE))
    with pytest.raises(StudyError, match=r"The fact 'gates' is not understood: it holds a number too large"):
        _gate_limits(study)
    with pytest.raises(StudyError, match="The fact 'tolerance' is not understood"):
        stated_fact(study, "tolerance")
    with pytest.raises(StudyError, match="The fact 'stability' is not understood"):
        _gate_limits(read_folder(with_facts(folder, gates={})))
    assert stated_fact(Study({}), "tolerance") is None
    assert stated_fact(Study({}), "gates", {}) == {}


@pytest.mark.parametrize("value", WRONG.values(), ids=WRONG)
@pytest.mark.parametrize("command", ["check", "compare", "map", "consumers", "decide"])
def test_no_command_traces_back(tmp_path: Path, command: str, value: object):
    folder = tmp_path / "s"
    shutil.copytree(DEMO, folder)
    names = [fact.name for fact in STATED]
    done = CliRunner().invoke(main, [command, str(with_facts(folder, **dict.fromkeys(names, value))), "--json"])
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    assert done.exit_code in (0, 1, 2)
    if command == "check":
        found = [finding["where"] for finding in json.loads(done.stdout)["findings"]]
        assert any(where.startswith("facts, ") for where in found)
    if done.exit_code:
        assert done.stderr.startswith("afterfeel: ") or done.stdout
