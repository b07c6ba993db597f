"""`afterfeel template` and `afterfeel set` do what the editors do, and say what they changed."""

from __future__ import annotations

import ast
import json
import re
import shutil
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import count
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import panel
from panel.checks.all_checks import _check_claim_stamps
from panel.cli import main
from panel.errors import StudyError
from panel.models.emollients.predictions import kept_predictions
from panel.plan.codes import plan_fits_seal, sealed_key
from panel.plan.safety import safety_gate
from panel.store.ballot import prepare_ballots
from panel.study.folder import read_folder, write_study
from panel.study.knowledge import shared_table
from panel.study.renaming import with_row_corrected
from panel.study.saving import journal_rows
from panel.study.scores_used import scores_used
from panel.study.study import Study
from panel.study.table_cells import rows_of_study
from tests.ballot_studies import PROTOTYPES, ballot_study, cleared
from tests.studies import small_study
from tests.study.test_score_sheets import book


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_study(small_study(), tmp_path / "small")
    return tmp_path / "small"


def run(*words: object, code: int = 0, text: str = "") -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words], input=text)
    assert result.exit_code == code, result.output
    return result


def test_a_row_is_numbered_as_the_check_numbers_it(folder: Path, tmp_path: Path):
    (tmp_path / "batches.csv").write_text("batch,prototype,ph\nP2-1,P2,sour\n", encoding="utf-8")
    said = run("set", folder, "batches", tmp_path / "batches.csv").output
    found = json.loads(run("set", folder, "batches", tmp_path / "batches.csv", "--whole", "--try", "--json").stdout)
    checked = run("check", folder).output
    (row,) = re.findall(r"batches, row (\d+), column ph", checked)
    assert f"batches: Row {row}, ph: 'sour' is not read" in said
    assert [problem["row"] for problem in found["problems"] if problem["column"] == "ph"] == [2]


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


def test_what_was_wrong_before_is_told_once(tmp_path: Path):
    rows = ["Judge,Product,Gloss,Tack", *(f"J{n},W{p},{n + p},{9 - n}" for n in range(6) for p in (1, 2))]
    (tmp_path / "wax.csv").write_text(
        "\n".join(rows).replace("J2,W1,3,7", "J2,W1,3 ?,7").replace("J3,W1,4,6", "J3,W1,?,6")
    )
    folder = tmp_path / "wax"
    assert "'3 ?' (not a number)" in run("import", tmp_path / "wax.csv", "--out", folder).output
    assert "is not read" not in run("set", folder, "rename", "prototype", "W2", "W9").output
    place = ("assessor=J2", "prototype=W1", "attribute=Gloss")
    assert "is not read" not in run("set", folder, "correct", *place, "new=3", "--who", "L", "--why", "asked").output
    (tmp_path / "s.csv").write_text("assessor,prototype,attribute,score\nJ4,W1,Gloss,4?\nJ5,W1,Gloss,4?\n")
    told = run("set", folder, "scores", tmp_path / "s.csv").output
    assert told.count("'4?' is not read") == 2
    assert "'3 ?'" not in told  # corrected


def test_a_workbook_goes_out_and_comes_back(folder: Path, tmp_path: Path):
    run("template", "--out", tmp_path / "s.xlsx", "--from", folder)
    assert "Nothing changes" in run("set", folder, tmp_path / "s.xlsx").stdout
    assert "is there already" in run("template", "--out", tmp_path / "s.xlsx", code=2).stderr
    run("template", "--out", tmp_path / "s.xlsx", "--force")
    assert "Nothing changes" in run("set", folder, tmp_path / "s.xlsx").stdout


def without_clock(facts: Mapping[str, object]) -> dict[str, object]:
    return {name: bool(fact) if name == "margin_changed_at" else fact for name, fact in facts.items()}


def same(one: Study, other: Study) -> None:
    """The two are equal row by row; the order of rows, and the moments that the clock stamped, do not matter."""
    rows, others = (rows_of_study(replace(each, facts=without_clock(each.facts))) for each in (one, other))
    assert set(rows) == set(others)
    for name, held in rows.items():
        assert sorted(map(sorted, map(dict.items, held))) == sorted(map(sorted, map(dict.items, others[name]))), name


class Ticking(datetime):
    """A clock that is a minute later each time one looks."""

    minutes = count()

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:
        return datetime(2031, 1, 1, tzinfo=UTC) + timedelta(minutes=next(cls.minutes))


def test_what_was_changed_is_a_script_that_makes_an_earlier_copy_the_same(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("panel.study.saving.datetime", Ticking)
    run("set", folder, "margin", "6")
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    (tmp_path / "b.csv").write_text("Batch;Prototype;pH\nN1;P1;5,4\nN2;P2;acid\n")
    run("set", folder, "batches", tmp_path / "b.csv", "--who", "EK")
    run("set", folder, "rename", "prototype", "P4", "Q4", "--who", "EK")
    run("set", folder, "gates", '{"ph": [5.0, null]}')
    run("set", folder, "session", "P1", "P2", "--who", "Ito")
    run("set", folder, "margin", "")
    run("history", folder, "--undo", "6", "--who", "Ben", "--why", "it stays")
    script = tmp_path / "changes.jsonl"
    script.write_text(run("history", folder, "--script").stdout)
    assert len(script.read_text().splitlines()) == 7
    run("set", copy, script, "--who", "Ada")
    same(read_folder(copy), read_folder(folder))
    assert read_folder(copy).facts["margin"] == 6
    assert journal_rows(copy)["who"].iloc[0] == "Ada"
    assert "Nothing changes" in run("set", copy, script).stdout


def test_a_script_that_does_not_fit_changes_nothing(folder: Path, tmp_path: Path):
    write_study(small_study(), tmp_path / "other")
    run("set", folder, "rename", "prototype", "P4", "Q4")
    run("set", tmp_path / "other", "rename", "prototype", "P4", "R4")
    script = tmp_path / "c.jsonl"
    script.write_text(run("history", folder, "--script").stdout)
    before = (tmp_path / "other" / "datapackage.json").read_bytes()
    assert "P4" in run("set", tmp_path / "other", script, code=2).stderr
    assert (tmp_path / "other" / "datapackage.json").read_bytes() == before
    entry = json.loads(script.read_text())
    script.write_text(json.dumps(entry | {"not_listed": 3}))
    write_study(small_study(), tmp_path / "third")
    assert "3 of its rows are not listed" in run("set", tmp_path / "third", script, code=2).stderr
    script.write_text("no line\n")
    assert "cannot be read" in run("set", tmp_path / "third", script, code=2).stderr


def test_a_missing_session_and_codes_of_people_are_set_as_in_the_app(folder: Path):
    for person, name in zip(read_folder(folder).assessors, ("Maria Rossi", "Hans Weber", "Anna Klein"), strict=False):
        run("set", folder, "rename", "assessor", person, name)
    run("set", folder, "codes")
    assert all(re.fullmatch(r"A\d\d", person) for person in read_folder(folder).assessors)
    before = len(read_folder(folder).table("servings"))
    assert "Write who makes the plan" in run("set", folder, "session", "P1", "P2", code=2).stderr
    run("set", folder, "session", "P1", "P2", "--who", "Ito")
    study = read_folder(folder)
    assert set(study.table("servings")["prototype"].iloc[before:]) == {"P1", "P2"}
    assert plan_fits_seal(study)


def test_a_serving_plan_is_written_once(folder: Path):
    assert "has a serving plan" in run("plan", folder, "--keep", "Ito", code=2).stderr
    run("set", folder, "servings", "-", "--whole", text="session,assessor,position,prototype,code\n")
    run("plan", folder, "--keep", "Ito", "--replicates", 2)
    study = read_folder(folder)
    assert plan_fits_seal(study)
    assert sealed_key(study)["sealed_by"] == "Ito"
    counts = study.table("servings").groupby(["assessor", "prototype"]).size()
    assert (counts == 2).all()


def test_statements_of_a_file_are_fixed_and_stamped(folder: Path):
    text = "claim;kind;prototype;versus;margin\nless greasy than P1;superiority;P2;P1;7,5\n"
    assert "stamped by a named person" in run("set", folder, "claims", "-", text=text, code=2).stderr
    run("set", folder, "claims", "-", "--who", "EK", text=text)
    row = read_folder(folder).table("claims").iloc[-1]
    assert (row["claim"], row["margin"], row["stamped_by"]) == ("less greasy than P1", 7.5, "EK")
    assert not list(_check_claim_stamps(read_folder(folder)))


# The safety record by command: it is written down, and the ballots follow.


@pytest.fixture
def hills(tmp_path: Path) -> Path:
    write_study(cleared(ballot_study()), tmp_path / "hills")
    return tmp_path / "hills"


def open_batches(folder: Path, on: str) -> int:
    batches = safety_gate(read_folder(folder), on).batches
    return int((batches["open"].astype(bool) & (batches["frozen"] == "")).sum())


def test_a_reaction_is_written_down_freezes_its_batch_and_is_settled(hills: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    on = read_folder(hills).table("safety")["date"].max()
    before = open_batches(hills, on)
    prepare_ballots(hills, read_folder(hills))
    told = run(
        *("reaction", hills, "--who", "lead", "--signs", "red patch", "--action", "rinsed", "--severity", "mild"),
        *("--batch", f"{PROTOTYPES[0]}-1", "--assessor", ""),
    )
    assert "its batches are frozen" in told.stdout
    assert "The safety gate is not open: 2 of 3" in told.stdout  # as the ballots are told
    assert "physician" in told.stderr
    assert open_batches(hills, on) == before - 1
    (number,) = read_folder(hills).table("reactions")["reaction"]
    run("reaction", hills, "--settle", number, "--who", "Dr S.", "--action", "not the sample", "--document", "AE 1")
    assert open_batches(hills, on) == before
    assert "Give all" in run("reaction", hills, "--settle", number, "--who", "Dr S.", "--action", "x", code=2).stderr
    assert journal_rows(hills)["who"].tolist() == ["Dr S.", "lead"]


def test_a_sign_off_is_recorded_for_each_batch_and_never_given(tmp_path: Path):
    folder = tmp_path / "hills"
    write_study(ballot_study(), folder)
    batches = ballot_study().table("batches")["batch"].nunique()
    item = shared_table("safety_gate").set_index("item")
    of_batch = str(item.index[item["scope"] == "batch"][0])
    words = ("--who", "Dr S.", "--role", "safety assessor", "--document", "CPSR 7")
    run("sign-off", folder, of_batch, *words, "--date", "2026-03-01")
    signed = read_folder(folder).table("safety")
    assert (signed["item"].tolist(), signed["date"].unique().tolist()) == ([of_batch] * batches, ["2026-03-01"])
    assert "reference to the signed document" in run("sign-off", folder, of_batch, *words[:4], code=2).stderr
    assert "has no item 'luck'" in run("sign-off", folder, "luck", *words, code=2).stderr
    assert len(read_folder(folder).table("safety")) == batches


def test_a_score_is_corrected_a_decision_recorded_and_a_statement_withdrawn(folder: Path, tmp_path: Path):
    place = ("assessor=A02", "session=2", "prototype=P4", "attribute=AF_GREASE")
    told = run("set", folder, "correct", *place, "new=33,5", "--who", "lead", "--why", "the ballot says so")
    assert "1 row changed" in told.stdout
    assert read_folder(folder).table("corrections")["new"].tolist() == ["33.5"]
    wrong = run("set", folder, "correct", *place, "hand=left", "--who", "lead", "--why", "x", code=2)
    assert "not found by hand" in wrong.stderr
    assert "Write it as NAME=VALUE" in run("set", folder, "correct", "A02", code=2).stderr
    run("set", folder, "decision", "chosen=P4", "not_established=taste", "role=lab", "--who", "K", "--why", "near")
    assert read_folder(folder).table("decisions")["chosen"].tolist() == ["P4"]
    assert "has no choice" in run("set", folder, "decision", "choice=P4", "--who", "K", "--why", "x", code=2).stderr
    (tmp_path / "c.csv").write_text("Claim;Kind;Prototype;Attribute\nless greasy;superiority;P4;AF_GREASE\n")
    run("set", folder, "claims", tmp_path / "c.csv", "--who", "K")
    run("set", folder, "withdraw", "1", "--who", "K", "--why", "not needed")
    assert read_folder(folder).table("claims")["withdrawn_by"].tolist() == ["K"]
    assert "by its number" in run("set", folder, "withdraw", "first", code=2).stderr


def test_a_prediction_is_written_down_and_what_a_finding_proposes_is_done(tmp_path: Path):
    demo = Path(__file__).parents[2] / "data_demo" / "reading_room"
    shutil.copytree(demo, tmp_path / "room")
    blend = ("Dicaprylyl Carbonate=3", "C13-15 Alkane=3", "Caprylic/Capric Triglyceride=5")
    blend += ("Prunus Amygdalus Dulcis (Sweet Almond) Oil=4",)
    run("set", tmp_path / "room", "predict", "P9", *blend)
    run("set", tmp_path / "room", "proposal", "330", "--who", "lead")  # a finding of the demo proposes 33
    assert read_folder(tmp_path / "room").table("corrections")["new"].tolist() == ["33.0"]
    assert "No finding proposes" in run("set", tmp_path / "room", "proposal", "331", "--who", "x", code=2).stderr
    assert [each["prototype"] for each in kept_predictions(read_folder(tmp_path / "room"))] == ["P9"]


# What an editor of the app does, a command does too.


_BY_A_FILE = {  # rows that a form of the app makes are rows of a file for a command, which does the rest by itself
    *(
        "_with_attributes",
        "_with_batches",
        "_with_listed",
        "_with_people",
        "_with_row",
        "_with_targets",
    ),  # set STUDY TABLE FILE
    "with_claim",  # set STUDY claims FILE
    "rebased",
}
_ON_THE_PAGE_ALONE = {"_with_opening"}  # the key is opened where the record of ballots is at hand


def changes_made_in(folder: Path) -> set[str]:
    """Return the functions that make the changed study where the app saves a change: those called on `now`."""
    found = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Lambda) and [each.arg for each in node.args.args] in (["now"], ["seen"]):
                calls = [each for each in ast.walk(node.body) if isinstance(each, ast.Call)]
                found |= {each.func.id for each in calls if isinstance(each.func, ast.Name)}
                of_modules = (each.func for each in calls if isinstance(each.func, ast.Attribute))
                found |= {each.attr for each in of_modules if isinstance(each.value, ast.Name)}
    return found - {"_with_prototypes", "_with_reactions", "moment"}  # only parts of a change


def test_whatever_the_app_changes_a_command_changes_too():
    package = Path(panel.__file__).parent
    commands = "\n".join(path.read_text(encoding="utf-8") for path in (package / "cli").glob("*.py"))
    made = changes_made_in(package / "app")
    assert {"with_correction", "with_sign_offs", "record_reaction", "with_session", "rename"} <= made
    assert {name for name in made if not re.search(rf"\b{name}\b", commands)} == _BY_A_FILE | _ON_THE_PAGE_ALONE


def test_a_table_of_scores_goes_into_a_study_that_was_begun(tmp_path: Path):
    write_study(small_study(scores=None, servings=None), tmp_path / "begun")
    (tmp_path / "sheet.csv").write_text("Tester;Sample;drag\nT1;P1;3,5\nT1;P2;2\nT2;P1;4\nT2;P2;1,5\n")
    told = run("set", tmp_path / "begun", "sheet", tmp_path / "sheet.csv", "--who", "EK").stdout
    assert "decimal" in told
    study = read_folder(tmp_path / "begun")
    assert study.scores["score"].tolist() == [3.5, 2.0, 4.0, 1.5]
    assert len(study.table("formulas")) == len(small_study().table("formulas"))
    assert "holds scores already" in run("set", tmp_path / "begun", "sheet", tmp_path / "sheet.csv", code=2).output


def test_scores_of_another_study_bring_their_file_and_each_slip_is_found_in_its_own(tmp_path: Path):
    """A lip balm on a scale of 0 to 10: one slip in each of the files, of which the second has a line more above."""
    (tmp_path / "monday.csv").write_text("Judge;Balm;wax\nB1;K;4\nB1;L;55\nB2;K;5\nB2;L;7\n")
    (tmp_path / "friday.csv").write_text("Friday;;\nJudge;Balm;wax\nC1;K;3\nC1;L;6\nC2;K;77\nC2;L;5\n")
    one, two = tmp_path / "one", tmp_path / "two"
    for day, out in (("monday", one), ("friday", two)):
        run("import", tmp_path / f"{day}.csv", "--out", out, "--scale-min", 0, "--scale-max", 10)
    (tmp_path / "alone.csv").write_bytes((two / "scores.csv").read_bytes())
    told = run("set", one, "sheet", tmp_path / "friday.csv", code=2).output
    assert "set STUDY scores OTHER/scores.csv" in told
    shutil.copytree(one, tmp_path / "pasted")
    run("set", one, "assessors", two / "assessors.csv")
    run("set", one, "scores", two / "scores.csv")
    places = [row["where"] for row in json.loads(run("check", one, "--json").stdout)["findings"]]
    assert [found[1] for place in places if (found := re.search(r"\((line .*)\)", place))] == [
        "line 3 of monday.csv",
        "line 5 of friday.csv",
    ]
    assert [file.name for file in read_folder(one).raw_files] == ["monday.csv", "friday.csv"]
    again = run("set", one, "scores", two / "scores.csv").stdout
    assert "Nothing changes" in again
    # a table that lies in no study does not say which file its lines are of
    run("set", tmp_path / "pasted", "scores", tmp_path / "alone.csv")
    told = run("check", tmp_path / "pasted").stdout
    assert ("line 3 of monday.csv" in told, "line 5" in told) == (True, False)
    # the own table, put back whole, keeps its lines
    assert "Nothing changes" in run("set", one, "scores", one / "scores.csv", "--whole").stdout


def test_who_keeps_a_name_as_a_code_is_told_where_others_get_one(tmp_path: Path):
    (tmp_path / "rub.csv").write_text("Judge;Gel;cold\nQUI;K;3\nQUI;L;6\nBEA 2;K;7\nBEA 2;L;5\n")
    run("import", tmp_path / "rub.csv", "--out", tmp_path / "rub")
    told = run("set", tmp_path / "rub", "codes").stdout
    assert "Left as they are, for they look like codes: BEA 2. Rename one that is a name." in told
    assert read_folder(tmp_path / "rub").assessors == ("A01", "BEA 2")


def test_a_copied_ballot_is_told_and_set_aside_in_one_go_also_without_sessions(tmp_path: Path):
    heads = ["Judge", "Sample", "cooling", "glide", "film", "gloss", "slip"]
    design = [(who, of) for who in ("J1", "J2", "J3") for of in ("G1", "G2", "G33")]
    rows = [[who, of, *(str((n * n + 5 * k + 2 * n * k) % 9) for k in range(5))] for n, (who, of) in enumerate(design)]
    (tmp_path / "gel.csv").write_text("\n".join(map(";".join, [heads, *rows, rows[3]])))
    gel = tmp_path / "gel"
    run("import", tmp_path / "gel.csv", "--out", gel, "--scale-min", 0, "--scale-max", 10)
    told = run("check", gel).stdout
    assert "5 scores stand a second time with the same value; the first repeats row 17." in told
    assert "afterfeel set STUDY correct row=47-51 new= --who NAME --why REASON" in told
    assert "taken as replicates" not in told
    run("set", gel, "correct", "row=47-51", "new=", "--who", "EK", "--why", "copied")
    assert len(scores_used(read_folder(gel)).frame) == 45
    assert "second time" not in run("check", gel).stdout
    words = ("--who", "EK", "--why", "copied")
    told = run("set", gel, "correct", "row=2-3", "new=4", *words, code=2).output
    assert "Several rows can only be set aside together" in told


def test_a_line_that_was_sent_twice_is_set_aside_by_the_row_that_the_check_names(tmp_path: Path):
    lines = ["Judge;Sample;Visit;cooling", "J1;G1;1;4", "J1;G2;1;5", "J2;G1;1;5", "J2;G2;1;7", "J1;G2;1;5"]
    (tmp_path / "gel.csv").write_text("\n".join(lines))
    gel = tmp_path / "gel"
    run("import", tmp_path / "gel.csv", "--out", gel, "--scale-min", 0, "--scale-max", 10)
    told = run("check", gel).stdout
    assert "scores, row 6 (line 6 of gel.csv)" in told
    assert "afterfeel set STUDY correct row=6 new= --who NAME --why REASON" in told
    words = ("--who", "EK", "--why", "sent twice")
    run("set", gel, "correct", "row=6", "new=", *words)
    used = scores_used(read_folder(gel))
    assert (len(used.frame), used.set_aside["row"].tolist(), used.set_aside["score"].tolist()) == (4, [6], [5.0])
    assert "stands here again" not in run("check", gel).stdout
    run("set", gel, "correct", "row=6", "new=8", *words)  # the last correction counts
    assert scores_used(read_folder(gel)).corrected["row"].tolist() == [6]
    assert read_folder(gel).table("corrections")["old"].tolist() == ["5.0", ""]
    assert "rows are 2 to 6" in run("set", gel, "correct", "row=7", "new=", *words, code=2).output
    assert "by rows alone" in run("set", gel, "correct", "row=6", "session=1", "new=", *words, code=2).output
    assert "needs a name" in run("set", gel, "correct", "row=6", "new=", code=2).output
    same = run("set", gel, "correct", "row=2", "new=", *words, "--json").stdout  # one of its kind is named as ever
    assert "key=assessor=J1; session=1; prototype=G1; attribute=cooling;" in same
    scores = read_folder(gel).scores
    typed = Study({"scores": scores.assign(raw_line=float("nan"))})
    with pytest.raises(StudyError, match="Rows 6 and 3 of the scores are alike in everything"):
        with_row_corrected(typed, 6, new="", who="EK", why="sent twice", when="2026-03-10")


def candles(tmp_path: Path) -> tuple[Path, Path]:
    """A study of two candles, and a workbook of two surveys of them and a codebook, the wanted one second."""
    (tmp_path / "panel.csv").write_text("Judge;Candle;smoke\nJ1;W1;4\nJ1;W2;5\nJ2;W1;5\nJ2;W2;7\n")
    run("import", tmp_path / "panel.csv", "--out", tmp_path / "candles")
    shop = [["Passer-by", "Candle", "Overall liking (1-9)"]]
    shop += [[f"K{n}", of, str(4 + n % 3 + k)] for n in range(6) for k, of in enumerate(("W1", "W2"))]
    lead = "Please say how far you agree - "
    home = [["Household", f"{lead}It burns without soot.", f"{lead}It is easy to light!", "The flame is"]]
    home += [[f"H{n}", str(1 + n % 5), str(5 - n % 5), "too small" if n % 2 else "just right"] for n in range(6)]
    ends = [["1", "strongly disagree"], ["5", "strongly agree"]]
    name, content = book(Shop=shop, Kitchen_table=home, Answers=ends)
    (tmp_path / name).write_bytes(content)
    return tmp_path / "candles", tmp_path / name


def test_a_survey_is_read_from_the_sheet_that_is_named(tmp_path: Path):
    study, file = candles(tmp_path)
    told = run("set", study, "survey", file, "--sheet", "Kitchen table", "product=W2").stdout
    assert "5 read as full agreement, as its answers in words" in told  # the sheet of ends is read all the same
    answers = read_folder(study).table("answers")
    assert {*answers["assessor"]} == {f"H{n}" for n in range(6)}
    assert "its sheets are Shop, Kitchen table" in run("set", study, "survey", file, "--sheet", "Garden", code=2).output
    run("import", file, "--survey", "--sheet", "Kitchen table", "--kind", "product=W2", "--out", tmp_path / "alone")
    assert {*read_folder(tmp_path / "alone").table("answers")["prototype"]} == {"W2"}
    told = run("import", file, "--survey", "--heading", 3, "--out", tmp_path / "third", code=2).output
    assert "A survey is read without --heading" in told


def test_a_table_of_a_workbook_is_read_from_the_sheet_that_is_named(folder: Path, tmp_path: Path):
    name, content = book(Notes=[["a", "b"], ["c", "d"]], Lots=[["Batch", "Prototype"], ["N1", "P1"]])
    (tmp_path / name).write_bytes(content)
    run("set", folder, "batches", tmp_path / name, "--sheet", "Lots")
    assert "N1" in read_folder(folder).table("batches")["batch"].tolist()
    assert (
        "Sheet 'Notes' was read. Other sheets were not read: Lots."
        in run("set", folder, "prototypes", tmp_path / name, "--try").stdout
    )


def test_who_answered_is_the_first_column_that_names_somebody_for_each_product_or_the_one_that_is_said(tmp_path: Path):
    study, file = candles(tmp_path)
    run("set", study, "survey", file)
    assert {*read_folder(study).table("answers")["assessor"]} == {f"K{n}" for n in range(6)}
    rows = [f"x{n % 3},D{n % 4},{of},{5 + n % 2}" for of in ("W1", "W2") for n in range(4)]
    (tmp_path / "odd.csv").write_text("\n".join(["Stall,Door,Candle,Overall liking (1-9)", *rows]))
    told = run("set", study, "survey", tmp_path / "odd.csv", code=2).output
    assert "Say which column holds the person; by command: --assessor COLUMN." in told
    for words in (("--assessor", "Door"), ("Door=person",)):
        shutil.copytree(study, tmp_path / words[0])
        run("set", tmp_path / words[0], "survey", tmp_path / "odd.csv", *words)
        assert len(read_folder(tmp_path / words[0]).table("answers")) == 12 + 8


def test_a_question_that_is_given_a_name_keeps_its_words(tmp_path: Path):
    study, file = candles(tmp_path)
    lead = "Please say how far you agree - "
    named = (f"{lead}It burns without soot.=soot=agreement", "The flame is=size=just_about_right")
    run("set", study, "survey", file, "--sheet", "Kitchen table", "product=W2", *named)
    words = {row["question"]: row.get("words") for row in read_folder(study).facts["questions"]}
    assert (words["soot"], words["size"]) == ("It burns without soot.", "The flame is")
    (tmp_path / "own.csv").write_text("question,kind,words\nsoot,agreement,It burns without any soot\n")
    run("set", study, "questions", tmp_path / "own.csv")
    run("set", study, "survey", file, "--sheet", "Kitchen table", "product=W1", *named)
    words = {row["question"]: row.get("words") for row in read_folder(study).facts["questions"]}
    assert words["soot"] == "It burns without any soot"


def test_the_test_in_which_people_answered_is_said_at_once_or_later_and_no_answer_is_doubled(tmp_path: Path):
    study, file = candles(tmp_path)
    words = ("survey", file, "--sheet", "Kitchen table", "product=W2")
    run("set", study, *words)
    before = read_folder(study).table("answers")
    for _ in range(2):
        run("set", study, *words, "session=home use")
    after = read_folder(study).table("answers")
    assert (len(after), {*after["session"]}) == (len(before), {"home use"})
    said = ("--sheet", "Kitchen table", "--kind", "product=W2", "--kind", "session=hall test")
    run("import", file, "--survey", *said, "--out", tmp_path / "shop")
    assert {*read_folder(tmp_path / "shop").table("answers")["session"]} == {"hall test"}


def test_empty_cells_that_leave_what_is_there_are_told_and_a_whole_table_empties_them(folder: Path, tmp_path: Path):
    before = read_folder(folder).table("attributes").set_index("attribute")
    name = str(before.index[0])
    assert before.loc[name, "scale_max"] == 100
    (tmp_path / "a.csv").write_text(f"attribute,scale_max,unit\n{name},,s\n")
    told = run("set", folder, "attributes", tmp_path / "a.csv", "--who", "EK").stdout
    assert f"Empty cells leave what the study holds: scale_max of {name}. To empty cells, bring the whole table" in told
    after = read_folder(folder).table("attributes").set_index("attribute")
    assert (after.loc[name, "scale_max"], after.loc[name, "unit"]) == (100, "s")
    assert (
        "Empty cells leave" not in run("set", folder, "attributes", tmp_path / "a.csv", "--who", "EK", "--whole").stdout
    )
    assert read_folder(folder).table("attributes").set_index("attribute")["scale_max"].isna().all()


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("benchmarkk", "P1", "Nothing reads a fact 'benchmarkk'; it is kept. Perhaps benchmark is meant."),
        ("nonsense", "x", "Nothing reads a fact 'nonsense'; it is kept."),
        ("users", '{"who": "adults", "age": "20"}', "Nothing is judged by 'age' of the fact users"),
        ("users", '{"wo": "adults"}', "Its keys are who, ages, sex, staff. Perhaps who is meant."),
        ("users", '{"who": "adults", "ages": "20 to 64", "sex": "women", "staff": "no"}', ""),
        ("margin", "7", ""),
        ("claim_floors", '{"least_bar": 60}', ""),
    ],
)
def test_a_fact_that_nothing_reads_is_told_with_the_nearest_one(folder: Path, name: str, value: str, told: str):
    said = run("set", folder, name, value, "--who", "EK").stdout
    assert told in said
    assert bool(told) == ("Nothing reads a fact" in said or "Nothing is judged by" in said)


def test_a_fact_of_entries_typed_as_a_text_shows_how_it_is_written(folder: Path):
    refused = run("set", folder, "users", "women", code=2).output
    assert '{"who": "who they were' in refused


def test_a_column_that_is_named_as_scores_is_imported_or_refused(tmp_path: Path):
    rows = [f"{who},{p},3,{n},{40 + n}" for who in "AB" for n, p in enumerate("PQR")]
    (tmp_path / "t.csv").write_text("\n".join(["Panelist,Sample,Slip,Tack,Time to dry [s]", *rows]))
    for option in ("--score", "--attribute"):
        ends = ("--scale-min", 0, "--scale-max", 15, "--overwrite")
        run("import", tmp_path / "t.csv", "--out", tmp_path / "s", option, "Time to dry [s]", *ends)
        study = read_folder(tmp_path / "s")
        assert study.attributes == ("Slip", "Tack", "Time to dry [s]")
        assert study.scales(study.attributes) == [(0, 15), (0, 15), None]
    refused = run(
        "import", tmp_path / "t.csv", "--out", tmp_path / "x", "--attribute", "Sample", "--prototype", "Tack", code=2
    )
    assert "'Sample' is to name what each score is of, but no column holds them" in refused.output


def test_a_question_is_named_with_or_without_its_last_sign(tmp_path: Path):
    write_study(Study({"prototypes": small_study().table("prototypes")}), tmp_path / "q")
    (tmp_path / "q.csv").write_text("who,Product,I'd take it on holiday.\na,P1,3\nb,P2,4\nc,P1,5\nd,P2,2\n")
    for words in ("I'd take it on holiday.", "I'd take it on holiday", "i'd take it on holiday?"):
        told = run("set", tmp_path / "q", "survey", tmp_path / "q.csv", f"{words}=agreement", "--try").stdout
        assert "would change" in told
    (tmp_path / "one.csv").write_text("who,It feels light.\na,agree\nb,disagree\n")
    run("set", tmp_path / "q", "survey", tmp_path / "one.csv", "product=P1")
    assert set(read_folder(tmp_path / "q").table("answers")["prototype"]) == {"P1"}


def test_what_is_not_read_of_a_survey_is_told_once(folder: Path, tmp_path: Path):
    (tmp_path / "s.csv").write_text("who,Age,Town,P1 liking\na,30,Aa,7\nb,41,Bb,8\n")
    told = run("set", folder, "survey", tmp_path / "s.csv", "--try").stdout
    assert "not read not read" not in told
    assert re.search(r"Age: not read\b", told)


def test_many_rows_are_counted_by_table_and_no_stamp_is_printed(folder: Path, tmp_path: Path):
    rows = [f"R{n},P1,{1 + n % 5}" for n in range(60)]
    (tmp_path / "s.csv").write_text("\n".join(["Respondent,Product,Liking", *rows]))
    told = run("set", folder, "survey", tmp_path / "s.csv").stdout
    assert "answers: 60 rows (60 new)" in told
    assert "assessors: 60 rows (60 new)" in told
    assert len(told.splitlines()) < 15
    again = [row.replace(",P1,", ",P2,") for row in rows[:20]]
    (tmp_path / "t.csv").write_text("\n".join(["Respondent,Product,Liking", *again]))
    held = json.loads(run("set", folder, "survey", tmp_path / "t.csv", "--json").stdout)
    assert sum(row["table"] == "answers" for row in held["changed"]) == 20
    (tmp_path / "c.csv").write_text(
        "claim,kind,prototype,versus,attribute,direction\nLess greasy,superiority,P2,P1,AF_GREASE,less\n"
    )
    told = run("set", folder, "claims", tmp_path / "c.csv", "--who", "me").stdout
    assert "claim=Less greasy" in told
    assert not re.search(r"[0-9a-f]{40}", told)
    assert (read_folder(folder).table("claims")["stamp"] != "").all()


def test_what_is_said_of_a_column_is_how_it_is_read(folder: Path, tmp_path: Path):
    (tmp_path / "s.csv").write_text("Respondent,Product,The razor glides over me.\na,P1,3\nb,P1,4\nc,P1,5\n")
    told = run("set", folder, "survey", tmp_path / "s.csv", "The razor glides over me=agreement", "--try").stdout
    assert "agreement as was said; 5 read as full agreement, if the ends in the table of questions" in told
    assert "not read" not in told


def named_scores(*people: str) -> str:
    rows = [f"{who};{what};{n + m}" for n, who in enumerate(people) for m, what in enumerate(("P1", "P2", "P3"))]
    return "\n".join(["Assessor;Product;Slip", *rows])


def test_no_codes_are_given_while_two_names_may_be_one_person_and_one_is_made_of_them(tmp_path: Path):
    (tmp_path / "s.csv").write_text(named_scores("Marta", "Bo", "Zoë", "Uwe"), encoding="utf-8")
    run("import", tmp_path / "s.csv", "--out", tmp_path / "s")
    slip = "assessor;prototype;attribute;score\nMärta;P4;Slip;3\n"
    run("set", tmp_path / "s", "scores", "-", text=slip)
    run("set", tmp_path / "s", "assessors", "-", text="assessor\nMärta\n")
    refused = run("set", tmp_path / "s", "codes", code=2).stderr
    assert "'Marta' and 'Märta' may be one person" in refused or "'Märta' and 'Marta' may be one person" in refused
    run("set", tmp_path / "s", "proposal", "Märta", "--who", "leader")
    run("set", tmp_path / "s", "codes")
    scores = read_folder(tmp_path / "s").table("scores")
    assert sorted(scores.groupby("assessor")["prototype"].nunique()) == [3, 3, 3, 4]  # one of them tried one more


def test_names_are_taken_out_of_journal_and_imported_files(tmp_path: Path):
    people = ("Marta", "Ignaz", "Zoë", "Uwe")
    (tmp_path / "s.csv").write_bytes(named_scores(*people).encode("cp1252"))
    run("import", tmp_path / "s.csv", "--out", tmp_path / "s")
    run("set", tmp_path / "s", "margin", "7")
    assert "codes forget" in run("set", tmp_path / "s", "codes").stdout
    held = b"".join(file.read_bytes() for file in (tmp_path / "s").rglob("*") if file.is_file()).decode("latin-1")
    assert all(person.encode().decode("latin-1") in held for person in people)  # of the journal
    before = read_folder(tmp_path / "s").table("scores")
    assert "for a reason" in run("set", tmp_path / "s", "codes", "forget", code=2).stderr
    told = run("set", tmp_path / "s", "codes", "forget", "--who", "leader", "--why", "asked by the panel").stdout
    assert "of 2 changes before was taken out" in told
    assert "s.csv" in told
    files = [file for file in (tmp_path / "s").rglob("*") if file.is_file()]
    held = b"".join(file.read_bytes() for file in files).decode("latin-1")
    assert not [person for person in people if person.encode().decode("latin-1") in held or person in held]
    assert read_folder(tmp_path / "s").table("scores").equals(before)
    assert journal_rows(tmp_path / "s")["what"].str.contains("asked by the panel").all()
    assert run("check", tmp_path / "s").exit_code == 0
    assert "journal" not in run("check", tmp_path / "s").stdout


def test_attributes_that_the_study_does_not_list_are_told_at_once(folder: Path, tmp_path: Path):
    rows = [f"A{n % 9},{of},{name},{n}" for n in range(40) for of in ("P1", "P2") for name in ("GRIP", "child's arm")]
    table = tmp_path / "second.csv"
    table.write_text("\n".join(["assessor,prototype,attribute,score", *rows]))
    told = run("set", folder, "scores", table, "--try").output
    (line,) = [each for each in told.splitlines() if "lists no such attribute" in each]
    assert "160 rows name 'GRIP' and \"child's arm\"" in line
    assert "Add what is new to the table attributes first (afterfeel set STUDY attributes FILE.csv)" in line
    assert "lists no attribute" not in told
    table.write_text("\n".join(["assessor,prototype,attribute,score", rows[0]]))
    assert "the study lists no attribute 'GRIP'." in run("set", folder, "scores", table, "--try").output


def test_a_scale_of_seven_steps_is_said_by_command_and_kept(tmp_path: Path):
    study, _ = candles(tmp_path)
    rows = [f"H{n},{1 + n % 7},{n % 2}" for n in range(35)]
    (tmp_path / "seven.csv").write_text("\n".join(["Household,It burns without soot.,Door", *rows]))
    words = ("survey", tmp_path / "seven.csv", "product=W2")
    assert "no scale" in run("set", study, *words, "It burns without soot.=agreement 7", code=2).output
    told = run("set", study, *words, "It burns without soot.=agreement 1-7").stdout
    assert "7 read as full agreement. Nothing in the study says so." in told
    assert "With It burns without soot 5 to 7 of 1 to 7 count as agreeing." in told
    assert "15 of 35 (42.8 %) agreed" in run("consumers", study, "--all").stdout


def test_everyday_words_are_stated_for_an_attribute_by_somebody(folder: Path):
    run("set", folder, "also-said", "AF_GREASE", "clags", "about", "--who", "K")
    stated = read_folder(folder).table("attributes").set_index("attribute")["also_said"]
    assert stated["AF_GREASE"] == "clags about"
    assert "the attribute and its other words" in run("set", folder, "also-said", "AF_GREASE", code=2).stderr
    assert (
        "has no attribute 'GREASE'" in run("set", folder, "also-said", "GREASE", "clags", "--who", "K", code=2).stderr
    )
    assert "Write who states them" in run("set", folder, "also-said", "AF_GREASE", "gums up", code=2).stderr
