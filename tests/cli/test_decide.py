"""The command decide: what it prints, what its JSON holds, and how it refuses."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from data_demo import make_demo
from panel.cli.decide import decide
from panel.errors import ModelError, StudyError
from panel.study.folder import write_study
from tests.models.decision.known_studies import target_study

DEMO = Path(make_demo.__file__).parent / "reading_room"


def run(*arguments):
    return CliRunner().invoke(decide, [str(part) for part in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("studies") / "study"
    write_study(target_study({"P1": (60, 45), "P2": (25, 75), "P3": (52, 50)}), place)
    return place


def test_the_answer_comes_first_and_fits_a_screen():
    lines = run(DEMO).output.splitlines()
    assert lines[0].startswith(
        "No prototype meets the target for greasy film, which must be met. "
        "P4 is nearest to the target in these batches ("
    )
    assert len(lines) <= 30
    everything = run(DEMO, "--all").output
    assert "Who can be told apart" in everything
    assert "It does not decide. People do" in everything


def test_one_json_object_holds_what_another_program_needs(folder):
    told = json.loads(run(folder, "--json", "--seed", "5").output)
    assert {"ranking", "unmet", "gates", "pairs", "seed"} <= set(told)
    assert told["seed"] == 5
    assert told["windows_read_as"] == "panel"
    assert {"shrunken", "wrong_sign", "chance_true", "chance_versus_true"} <= set(told["windows"][0])
    assert told["choice"] == "P2"
    assert told["contenders"] == ["P2"]
    assert told["ranking"][0]["prototype"] == "P2"


def test_weights_can_be_given_with_a_decimal_comma(folder):
    told = json.loads(run(folder, "--json", "--weight", "GREASE=0,5").output)
    plain = json.loads(run(folder, "--json").output)
    assert told["ranking"][1]["desirability"] != plain["ranking"][1]["desirability"]


@pytest.mark.parametrize(
    ("typed", "error", "words"),
    [
        ("GREASE", StudyError, "The weight 'GREASE' is not understood. Write it like AF_GREASE=2."),
        ("GREASE=", StudyError, "The weight 'GREASE=' is not understood."),
        ("GLOSS=1", ModelError, "GLOSS, which has no target window"),
    ],
)
def test_weights_that_are_not_understood_are_refused(folder, typed, error, words):
    result = run(folder, "--weight", typed)
    assert isinstance(result.exception, error)
    assert words in str(result.exception)


def test_a_study_without_windows_is_refused(tmp_path):
    windows = {"GREASE": (None, None), "SOFT": (None, None)}
    write_study(target_study({"P1": (60, 45), "P2": (25, 75)}, windows=windows), tmp_path / "study")
    assert isinstance(run(tmp_path / "study").exception, ModelError)
