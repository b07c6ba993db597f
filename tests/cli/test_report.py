"""The commands that give the results away, as a user types them."""

from __future__ import annotations

import hashlib
import json

import click
import pytest
from click.testing import CliRunner

from panel.cli import _Commands
from panel.cli.studies import archive, report, why
from panel.study.folder import write_study
from tests.studies import small_study


@click.group(cls=_Commands)
def commands() -> None:
    """Hold the three commands alone."""


for _command in (report, why, archive):
    commands.add_command(_command)


def run(*words):
    return CliRunner().invoke(commands, [str(word) for word in words])


@pytest.fixture
def study(tmp_path):
    write_study(small_study(), tmp_path / "study")
    return tmp_path / "study"


def test_the_report_is_written_and_its_gaps_are_printed(study, tmp_path):
    out = tmp_path / "evidence.html"
    result = run("report", study, "--out", out)
    assert result.exit_code == 0, result.stderr
    assert hashlib.sha256(out.read_bytes()).hexdigest() in result.stdout
    assert "1 Claim sheet: Nobody has written down a claim" in result.stdout


def test_the_report_as_json(study, tmp_path):
    out = tmp_path / "evidence.xlsx"
    result = run("report", study, "--out", out, "--seed", 3, "--json")
    found = json.loads(result.stdout)
    assert found["path"] == str(out)
    assert found["sha256"] == hashlib.sha256(out.read_bytes()).hexdigest()
    assert found["data_sha256"] == small_study().content_hash
    assert found["seed"] == 3
    assert {"part", "heading", "gap", "command"} == set(found["gaps"][0])


@pytest.mark.parametrize("command", ["report", "archive"])
def test_a_file_that_is_there_stays_unless_it_may_be_replaced(command, study, tmp_path):
    out = tmp_path / ("evidence.html" if command == "report" else "study.zip")
    out.write_bytes(b"mine")
    refused = run(command, study, "--out", out)
    assert refused.exit_code == 2
    assert "is there already" in refused.stderr
    assert out.read_bytes() == b"mine"
    if command == "report":
        assert run(command, study, "--out", out, "--force").exit_code == 0
        assert out.read_bytes() != b"mine"


def test_an_ending_that_is_no_form_is_refused_before_anything_is_read(tmp_path):
    result = run("report", tmp_path / "nowhere", "--out", tmp_path / "evidence.odt")
    assert result.exit_code == 2
    assert "evidence.odt has no ending that says in which form" in result.stderr


def test_the_archive_is_written(study, tmp_path):
    out = tmp_path / "study.zip"
    result = run("archive", study, "--out", out, "--json")
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["sha256"] == hashlib.sha256(out.read_bytes()).hexdigest()


def test_why_in_words_and_as_json(study):
    result = run("why", study, "D-AF_GREASE-P2-P1-estimate")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("D-AF_GREASE-P2-P1-estimate = ")
    assert "Behind it stand 32 rows of scores.csv: 16 direct and 16 through the model." in result.stdout
    found = json.loads(run("why", study, "D-AF_GREASE-P2-P1-estimate", "--json").stdout)
    assert found["value"] == found["row"]["estimate"]
    assert len(found["rows"]) == 32
    assert {"file", "line", "use", "assessor", "score"} <= set(found["rows"][0])


def test_why_takes_the_id_of_a_row_on_paper_and_names_its_other_numbers(study):
    result = run("why", study, "D1")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("D-RO_ABS-P2-P1-estimate = ")
    assert "Other numbers of this row: D-RO_ABS-P2-P1-std_error, " in result.stdout
    found = json.loads(run("why", study, "D1-p_value", "--json").stdout)
    assert found["number_id"] == "D-RO_ABS-P2-P1-p_value"
    assert "D-RO_ABS-P2-P1-estimate" in found["others"]


def test_the_same_stated_day_gives_the_same_file(study, tmp_path):
    made = [tmp_path / "one.html", tmp_path / "two.html", tmp_path / "other.html"]
    for path, day in zip(made, ("2026-02-03", "2026-02-03", "2026-02-04"), strict=True):
        assert run("report", study, "--out", path, "--date", day).exit_code == 0
    assert made[0].read_bytes() == made[1].read_bytes() != made[2].read_bytes()
    assert b"made on 2026-02-03" in made[0].read_bytes()
    refused = run("report", study, "--out", tmp_path / "no.html", "--date", "tomorrow")
    assert refused.exit_code == 2
    assert "'tomorrow' is no day" in refused.stderr


def test_why_names_ids_that_are_near(study):
    result = run("why", study, "D-AF_GREESE-P2-P1-estimate")
    assert result.exit_code == 2
    assert "Near to it: D-AF_GREASE-P2-P1-estimate" in result.stderr
