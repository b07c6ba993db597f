"""The command `claim`: verdicts in words and as JSON, and exit 0 also where a claim is refused."""

import json
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
    assert {"numbers", "findings", "gaps", "method", "notes"} <= set(as_json)


def test_in_words():
    result = run(DEMO)
    assert result.exit_code == 0
    assert result.stdout.startswith("Of 10 claims:")
    assert "✗ not supported | “non-greasy”" in result.stdout
    assert "Local law decides what may be claimed" in result.stdout


def test_a_study_without_claims(tmp_path):
    write_study(small_study(), tmp_path / "small")
    result = run(tmp_path / "small")
    assert result.exit_code == 0
    assert "No claim has been written down yet." in result.stdout
    assert json.loads(run(tmp_path / "small", "--json").stdout)["claims"] == []
