"""The command `forced-choice`: words and one JSON object, with and without such answers."""

import json

import pandas as pd
import pytest
from click.testing import CliRunner

from panel.cli.consumers import forced_choice
from panel.errors import ModelError
from panel.study.folder import write_study
from tests.choice_studies import choice_study, named_rows, right_rows, votes


def asked(folder, study, *words):
    write_study(study, folder)
    return CliRunner().invoke(forced_choice, [str(folder), *words])


BOTH = choice_study(right_rows("triangle", 19, 36), named_rows("preference", votes(32, 20, 8)))


def test_in_words(tmp_path):
    told = asked(tmp_path / "both", BOTH)
    assert told.exit_code == 0
    assert told.output.startswith("P4 and P8: people can tell them apart.")
    assert "32 preferred P4, 20 preferred P1, 8 had no preference" in told.output
    assert len(told.output.splitlines()) <= 30
    assert "No difference shown is not similarity shown." not in told.output
    everything = CliRunner().invoke(forced_choice, [str(tmp_path / "both"), "--all"]).output
    assert "No difference shown is not similarity shown." in everything
    assert "36 answers show a difference with a chance of 80 %" in everything


def test_as_json(tmp_path):
    content = json.loads(asked(tmp_path / "both", BOTH, "--json").output)
    (test,) = content["tests"]
    assert (test["right"], test["n"], test["needed"]) == (19, 36, 18)
    assert len(content["preference_ways"]) == 6
    assert {"sessions", "repeated", "unread", "preferences", "level", "method", "notes"} <= set(content)


def test_a_limit_given_on_the_way(tmp_path):
    told = asked(tmp_path / "both", BOTH, "--similar-below", "0.3")
    assert "not set beforehand" in told.output


def test_preferences_alone(tmp_path):
    study = choice_study(named_rows("preference", votes(9, 4)))
    assert asked(tmp_path / "alone", study).output.startswith("No preference between P4 and P1 is shown")
    content = json.loads(CliRunner().invoke(forced_choice, [str(tmp_path / "alone"), "--json"]).output)
    assert "tests" not in content


def test_a_study_without_such_answers_says_how_to_record_them(tmp_path):
    liking = pd.DataFrame(
        {"assessor": ["C1"], "prototype": ["P1"], "question": ["q"], "kind": ["liking"], "answer": ["7"]}
    )
    told = asked(tmp_path / "none", choice_study(liking))
    assert isinstance(told.exception, ModelError)
    with pytest.raises(ModelError, match="Add them to the table answers: kind triangle"):
        raise told.exception
