"""The command `consumers`: words and one JSON object, on the demo and where something is missing."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.cli.consumers import consumers
from panel.errors import ModelError
from panel.study.folder import read_folder, write_study
from tests.choice_studies import choice_study, named_rows, right_rows, votes
from tests.consumer_studies import answers_study, one_group_panel
from tests.studies import small_study

DEMO = Path(__file__).resolve().parents[2] / "data_demo" / "reading_room"


def asked(folder, *words):
    return CliRunner().invoke(consumers, [str(folder), *words])


def test_the_demo_in_words():
    told = asked(DEMO)
    assert told.exit_code == 0
    for words in (
        "There is no single winner: P4, P8",
        "The prototypes please different people: 2 groups of 38 and 19 consumers.",
        "Liking goes along in group 1",
        "Over all prototypes consumers like it less where they find richness of the after-feel too rich (1.0 less)",
        "All 16 terms but white marks tell the prototypes apart.",
        "Enough people agree in 6 of 8 cases, also with all counted together.",
    ):
        assert words in told.output


def test_the_demo_as_one_json_object():
    told = asked(DEMO, "--json")
    found = json.loads(told.output)
    assert found["kinds"] == ["liking", "just_about_right", "check_all", "agreement"]
    liking = found["liking"][0]
    assert liking["question"] == "overall liking"
    assert liking["n_consumers"] == 60
    assert len(liking["means"]) == 8
    assert {"estimate", "ci_low", "ci_high", "letters"} <= set(liking["means"][0])
    assert {row["test"] for row in liking["tests"]} >= {"mixed model", "Friedman"}
    assert liking["segments"]["n_groups"] == 2
    assert len(liking["preferences"]["directions"]) == 3
    assert isinstance(found["check_all"]["terms"], list)
    assert isinstance(found["agreement"]["statements"][0], dict)


def test_against_another_prototype():
    found = json.loads(asked(DEMO, "--json", "--versus", "P4").output)
    assert found["liking"][0]["benchmark"] == "P4"
    assert {row["versus"] for row in found["liking"][0]["versus"]} == {"P4"}


def test_what_cannot_be_answered_is_said_in_its_place(tmp_path):
    write_study(answers_study(one_group_panel(np.random.default_rng(1), "even", 20, 2)), tmp_path / "two")
    told = asked(tmp_path / "two")
    assert told.exit_code == 0
    assert "Groups are looked for from 4 prototypes on" in told.output
    found = json.loads(asked(tmp_path / "two", "--json").output)
    assert "from 4 prototypes on" in found["liking"][0]["segments"]["why_not"]
    write_study(answers_study(one_group_panel(np.random.default_rng(1), "even", 45, 6)), tmp_path / "six")
    assert "The study has no scores" in asked(tmp_path / "six").output


def test_a_study_without_consumers_says_what_to_do(tmp_path):
    write_study(small_study(), tmp_path / "none")
    told = asked(tmp_path / "none")
    assert isinstance(told.exception, ModelError)
    with pytest.raises(ModelError, match=r"no answers of consumers\. Add them to the table answers"):
        raise told.exception


def test_answers_that_another_command_tells_are_counted_and_named(tmp_path):
    """The command tells nothing of these kinds, and says how many answers there are and who does."""
    choices = choice_study(right_rows("triangle", 19, 36), named_rows("preference", votes(32, 20, 8)))
    write_study(choices, tmp_path / "choices")
    words = (
        "Also asked: which of two they prefer (60 answers) and whether they can tell (36 answers). Told by: afterfeel"
    )
    assert str(asked(tmp_path / "choices").exception).startswith(words)
    agreed = named_rows("preference", ["5"] * 9).assign(kind="agreement", question="soft", versus="")
    write_study(choice_study(named_rows("preference", votes(1, 0)), agreed), tmp_path / "both")
    told = asked(tmp_path / "both")
    assert told.output.rstrip().endswith(
        "Also asked: which of two they prefer (1 answer). Told by: afterfeel forced-choice STUDY."
    )
    assert json.loads(asked(tmp_path / "both", "--json").output)["told_elsewhere"].startswith("Also asked: ")


HOME = "Person,Overall liking (1-9),It spreads well,Tick: light,Tick: rich,How thick is it?,It is ...\n" + "\n".join(
    f"K{n},{5 + n % 4},{'agree' if n % 5 else 'disagree'},{'x' if n % 2 else ''},{'x' if n % 3 == 0 else ''},"
    f"{'just right' if n % 4 else 'too thick'},{'just right' if n % 4 else 'a little too runny'}"
    for n in range(40)
)


def test_of_one_product_what_there_is_is_told_and_why_liking_is_not_compared(tmp_path):
    (tmp_path / "home.csv").write_text(HOME, encoding="utf-8")
    kinds = ("--kind", "product=P4", "--kind", "It is ...=runniness=just_about_right")
    made = CliRunner().invoke(
        main, ["import", str(tmp_path / "home.csv"), "--survey", *kinds, "--out", str(tmp_path / "home")]
    )
    assert made.exit_code == 0, made.output
    answers = read_folder(tmp_path / "home").table("answers")
    assert answers.loc[answers["question"] == "runniness", "answer"].value_counts().to_dict() == {"3": 30, "4": 10}
    told = asked(tmp_path / "home")
    assert told.exit_code == 0
    for words in (
        "Only P4 was tried",
        "light 20 of 40, Tick: rich 14 of 40",
        "Worth testing a change",
        "More than half agree: shown",
    ):
        assert words in told.output
    found = json.loads(asked(tmp_path / "home", "--json").output)
    assert found["liking"][0]["why_not"].startswith("Only P4 was tried")
    assert found["agreement"]["statements"][0]["agreed"] == 32
    assert isinstance(asked(tmp_path / "home", "--versus", "P1").exception, ModelError)
