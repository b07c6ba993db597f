"""The command `over-time`: words and one JSON object."""

import json

import pytest
from click.testing import CliRunner

from panel.cli.analyses import over_time
from panel.errors import ModelError
from panel.study.folder import write_study
from panel.study.study import Study
from tests.studies import small_study
from tests.time_studies import everything_over_time


@pytest.fixture(scope="module")
def timed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("timed") / "study"
    write_study(everything_over_time(), folder)
    return str(folder)


def test_in_words(timed):
    told = CliRunner().invoke(over_time, [timed, "--all"])
    assert told.exit_code == 0
    assert told.output.startswith("The prototypes do not change alike over time on greasy film in these batches.")
    assert "24 courses of 6 people" in told.output
    assert "greasy from 56 to 100 % of the time" in told.output


def test_as_json(timed):
    content = json.loads(CliRunner().invoke(over_time, [timed, "--json"]).output)
    assert [row["term"] for row in content["after_feel_tests"]] == ["prototype", "time", "prototype_time"]
    assert len(content["courses"]) == 24
    assert {"dominance_rates", "dominance_lines", "dominance_periods", "dominance_differences"} <= set(content)
    assert {"method", "notes", "course_tests", "course_pairs", "mean_courses"} <= set(content)


def test_courses_alone(tmp_path):
    study = everything_over_time()
    write_study(Study({"courses": study.table("courses"), "prototypes": study.table("prototypes")}), tmp_path / "one")
    content = json.loads(CliRunner().invoke(over_time, [str(tmp_path / "one"), "--json"]).output)
    assert "after_feel_tests" not in content
    assert "dominance_rates" not in content


def test_what_cannot_be_read_does_not_keep_back_the_rest(tmp_path):
    study = everything_over_time()
    tables = {"courses": study.table("courses"), "prototypes": study.table("prototypes")}
    begun = study.table("dominances").iloc[:1]  # an evaluation without its end
    write_study(Study(tables | {"dominances": begun}), tmp_path / "part")
    told = CliRunner().invoke(over_time, [str(tmp_path / "part")])
    assert told.exit_code == 0
    assert "Mean quantities of the courses" in told.output
    assert "No evaluation of dominance can be read" in told.stderr


def test_a_study_in_which_nothing_runs_over_time_says_how_to_record_it(tmp_path):
    write_study(small_study(), tmp_path / "none")
    told = CliRunner().invoke(over_time, [str(tmp_path / "none")])
    assert isinstance(told.exception, ModelError)
    assert "each time has a row of its own, with the same name and other minutes" in str(told.exception)
