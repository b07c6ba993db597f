"""The command `claim`: verdicts in words and as JSON, and exit 0 also where a claim is refused."""

import json
import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from panel.cli.decide import claim
from panel.study.folder import write_study
from tests.studies import small_study

DEMO = Path(__file__).parents[2] / "data_demo" / "reading_room"


@click.group()
def commands():
    """Hold the command until it is one of the tool's."""


commands.add_command(claim)


def run(*words):
    return CliRunner().invoke(commands, ["claim", *map(str, words)])


@pytest.fixture(scope="module")
def as_json():
    result = run(DEMO, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_json_holds_what_was_promised(as_json):
    assert len(as_json["claims"]) == 10
    for row in as_json["claims"]:
        assert {"claim", "kind", "verdict", "reasons", "needs", "exploratory", "footnote", "suggestion"} <= set(row)
        assert row["reasons"]
    verdicts = {row["claim"]: row["verdict"] for row in as_json["claims"]}
    assert verdicts["non-greasy"] == "not supported"
    assert {"numbers", "findings", "gaps", "bearing", "method", "notes"} <= set(as_json)


def test_in_words():
    result = run(DEMO)
    assert result.exit_code == 0
    assert result.stdout.startswith("3 of 10 sentences hold, 2 of them with limits; ")
    assert re.search(r"✗ not supported +“non-greasy”", result.stdout)
    assert "± supported, with contrary evidence" in result.stdout
    assert len(result.stdout.splitlines()) <= 30
    everything = run(DEMO, "--all").stdout
    assert re.search(r"against +trained panel +greasy film: 42.8 of 100", everything)
    assert "Stamped on 2025-03-10 16:00:00 by panel leader, before " in everything
    assert "Local law decides what may be claimed" in result.stdout


def test_drafts_are_judged_and_nothing_is_written(tmp_path):
    before = {path: path.read_bytes() for path in DEMO.iterdir()}
    path = tmp_path / "drafts.csv"
    path.write_text(
        "claim,kind,prototype,versus,attribute\nless greasy than our previous hand cream,superiority,P4,P1,AF_GREASE\n"
        '"less greasy, and kills germs",superiority,P4,P1,AF_GREASE\n',
        encoding="utf-8",
    )
    content = json.loads(run(DEMO, "--draft", path, "--json").stdout)
    assert content["draft"]
    names = {"claim", "kind", "verdict", "reasons", "needs", "not_covered", "may_be_said", "draft"}
    assert all(names <= set(row) for row in content["claims"])
    assert [row["verdict"] for row in content["claims"]] == [
        "supported as worded, in these batches",
        "not a matter for this tool",
    ]
    assert content["claims"][1]["not_covered"] == ["kills", "germs"]
    words = run(DEMO, "--draft", path).stdout
    assert words.startswith("A draft: judged as if it had been stamped before the data. Nothing is recorded")
    assert "✓ supported as worded, in these batches | “less greasy than our previous hand cream”" in words
    assert {path: path.read_bytes() for path in DEMO.iterdir()} == before


def test_a_draft_that_lacks_only_words_says_how_they_are_stated(tmp_path):
    path = tmp_path / "drafts.csv"
    path.write_text(
        "claim,kind,prototype,versus,attribute,direction\n"
        "Clags less than our previous hand cream,superiority,P4,P1,AF_GREASE,less\n",
        encoding="utf-8",
    )
    assert "afterfeel set STUDY also-said AF_GREASE clags --who NAME" in run(DEMO, "--draft", path).stdout


def test_a_study_without_claims(tmp_path):
    write_study(small_study(), tmp_path / "small")
    result = run(tmp_path / "small")
    assert result.exit_code == 0
    assert "No claim has been written down yet." in result.stdout
    assert json.loads(run(tmp_path / "small", "--json").stdout)["claims"] == []
