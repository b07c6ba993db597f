"""A row that does not say whose it is, or of what, is in no analysis: each command answers as if it were not there."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.models.prototypes.differences import find_differences
from panel.study.folder import write_study
from panel.study.named_rows import NEEDED, named_rows
from panel.study.open_study import open_study
from panel.study.scores_used import scores_used
from panel.study.study import Study
from tests.studies import crossed_study, small_study
from tests.test_cli import DEMO
from tests.time_studies import everything_over_time

COMMANDS = (
    ("compare",),
    ("panel",),
    ("map", "--draws", "100"),
    ("trace",),
    ("decide",),
    ("over-time",),
    ("consumers",),
    ("forced-choice",),
)


def answers(words):
    result = CliRunner().invoke(main, [*words, "--json"])
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    found.pop("set_aside", None)
    return found


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """The demo, and sensations over time, with names wiped from a tenth of the rows, and without those rows."""
    demo, rng = open_study(DEMO), np.random.default_rng(8)
    timed = everything_over_time().tables
    demo = Study({**demo.tables, **{name: timed[name] for name in ("courses", "dominances")}}, demo.facts, demo.unread)
    wiped, dropped = dict(demo.tables), dict(demo.tables)
    for table, names in NEEDED.items():
        frame = demo.table(table)
        chosen = rng.random(len(frame)) < 0.1
        wiped[table] = frame.copy()
        wiped[table].loc[chosen, names[0]] = ""
        wiped[table].loc[chosen & (rng.random(len(frame)) < 0.5), names[1]] = " "
        dropped[table] = frame.loc[~chosen].reset_index(drop=True)
    place = tmp_path_factory.mktemp("nameless")
    for name, tables in (("wiped", wiped), ("dropped", dropped)):
        write_study(Study(tables, demo.facts, demo.unread), place / name)
    return place


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_a_row_without_a_name_changes_no_answer(folders, command):
    name, *options = command
    wiped, dropped = (answers([name, str(folders / place), *options]) for place in ("wiped", "dropped"))
    assert wiped == dropped


def test_the_check_stops_and_says_how_many(folders):
    result = CliRunner().invoke(main, ["check", str(folders / "wiped"), "--json"])
    assert result.exit_code == 1
    stops = [one for one in json.loads(result.stdout)["findings"] if one["kind"] == "name_missing"]
    assert {one["severity"] for one in stops} == {"stop"}
    told = {one["where"].split(",")[0] for one in stops}
    assert told == set(NEEDED)
    assert all("in no analysis" in one["message"] for one in stops)


@pytest.mark.parametrize("column", ["assessor", "prototype", "attribute", "session"])
@pytest.mark.parametrize("blank", ["", "  "])
def test_scores_without_a_name_are_set_aside_and_say_why(column, blank):
    study = small_study()
    scores = study.scores.copy()
    scores.loc[[0, 7, 50], column] = blank
    used = scores_used(Study({**study.tables, "scores": scores}, study.facts))
    assert list(used.set_aside["row"]) == [2, 9, 52]
    assert set(used.set_aside["why"]) == {f"no {column} is named in this row"}
    assert used.frame.index.tolist() == [row for row in range(96) if row not in (0, 7, 50)]


def test_a_correction_names_no_person():
    study = small_study()
    scores = study.scores.copy()
    scores.loc[0, "assessor"] = ""
    fix = {"when": "2025-04-01", "who": "leader", "table": "scores", "key": "attribute=AF_GREASE", "new": "50"}
    corrections = study.table("corrections").reindex([0]).fillna("").assign(**fix, why="x")
    used = scores_used(Study({**study.tables, "scores": scores, "corrections": corrections}, study.facts))
    assert 0 not in used.frame.index


def test_a_study_without_sessions_needs_none_and_is_as_before():
    study = crossed_study(np.random.default_rng(1), assessors=4, prototypes=3, attributes=1, sessions=2)
    without = Study({**study.tables, "scores": study.scores.assign(session="")}, study.facts)
    assert scores_used(without).set_aside.empty
    assert len(scores_used(without).frame) == 24


def test_rows_left_out_in_every_way_are_not_told_as_changed_both_ways():
    study = crossed_study(np.random.default_rng(1), assessors=4, prototypes=3, attributes=2, sessions=2)
    scores = study.scores.copy()
    scores.loc[:3, "assessor"] = ""
    found = find_differences(Study({**study.tables, "scores": scores}, study.facts))
    assert len(found.set_aside) == 4
    assert found.both_ways.empty


def test_the_session_of_an_answer_is_a_matter_of_its_question():
    study = open_study(DEMO)
    answers = study.table("answers").copy()
    one = answers["question"] == answers["question"].iloc[0]
    answers["session"] = np.where(one, "1", "")
    assert len(named_rows(Study({"answers": answers}), "answers")) == len(answers)
    answers.loc[answers.index[one][:5], "session"] = ""
    assert len(named_rows(Study({"answers": answers}), "answers")) == len(answers) - 5
