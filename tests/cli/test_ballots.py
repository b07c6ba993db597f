"""The commands `ballots` and `rehearse`, as a user types them."""

import json

import pytest
from click.testing import CliRunner

from panel.ballots import serving
from panel.ballots.rehearsal import _to_rehearse
from panel.cli.planning import _PORT, ballots, rehearse
from panel.errors import StudyError
from panel.store.database import OWN_FILE
from panel.study.folder import read_folder, write_study
from panel.study.study import is_rehearsed
from tests.ballot_studies import ASSESSORS, ballot_study, cleared


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    write_study(cleared(ballot_study()), tmp_path / "hills")
    return tmp_path / "hills"


def serve(monkeypatch, *words):
    """Run the command up to the point where it would wait for phones; return what it said and where it listens."""
    bound = []
    with monkeypatch.context() as changed:
        changed.setattr(serving.uvicorn.Server, "run", lambda self, sockets: bound.append(sockets[0].getsockname()))
        result = CliRunner().invoke(ballots, [str(word) for word in words])
    return result, bound


def test_ballots_says_where_it_answers_and_how_to_get_links(folder, monkeypatch):
    result, bound = serve(monkeypatch, folder, "--port", "0")
    assert result.exit_code == 0, result.output
    assert bound[0][0] == "127.0.0.1"
    assert "The safety gate is open: 3 of 3 served prototypes" in result.stdout
    assert "start this again with --new-links" in result.stdout
    assert "Stop with Ctrl+C" in result.stdout
    assert (folder / OWN_FILE).is_file()


def test_ballots_hands_out_a_link_for_each_assessor_of_the_session_asked_for(folder, monkeypatch):
    result, _ = serve(monkeypatch, folder, "--port", "0", "--new-links", "--session", "2")
    for assessor in ASSESSORS:
        assert f"session 2, {assessor}: http://127.0.0.1:" in result.stdout


def test_ballots_answers_in_the_network_only_when_asked(folder, monkeypatch):
    monkeypatch.setattr("panel.ballots.serving.lan_address", lambda: "127.0.0.2")
    result, bound = serve(monkeypatch, folder, "--port", "0", "--lan")
    assert bound[0][0] == "127.0.0.2"
    assert "not encrypted: use the laboratory's own network" in result.stdout


def test_ballots_wants_a_folder_with_a_plan_that_is_no_rehearsal(tmp_path, folder, monkeypatch):
    def refused(study):
        result, bound = serve(monkeypatch, study, "--port", "0")
        assert bound == []
        assert isinstance(result.exception, StudyError)
        return str(result.exception)

    assert "is no study folder" in refused(tmp_path / "nowhere")
    write_study(ballot_study(servings=ballot_study().table("servings").iloc[:0]), tmp_path / "small")
    assert "no servings for trained assessors" in refused(tmp_path / "small")
    write_study(_to_rehearse(ballot_study()), tmp_path / "rehearsed")
    assert "This study is a rehearsal and stays one" in refused(tmp_path / "rehearsed")


def test_rehearse_makes_a_marked_copy_and_leaves_the_study_as_it_was(tmp_path, folder):
    before = {path: path.read_bytes() for path in folder.rglob("*")}
    out = tmp_path / "rehearsed"
    result = CliRunner().invoke(rehearse, [str(folder), "--out", str(out), "--json"])
    assert result.exit_code == 0, result.output
    content = json.loads(result.stdout)
    assert content["rehearsal"] is True
    assert content["failures"] == []
    assert [one["session"] for one in content["sessions"]] == ["1", "2"]
    study = read_folder(out)
    assert is_rehearsed(study)
    assert set(study.scores["source"]) == {"rehearsal"}
    assert len(study.scores) == 2 * 9 * 5
    assert {path: path.read_bytes() for path in folder.rglob("*")} == before


def test_rehearse_never_writes_over_anything(tmp_path, folder):
    before = {path: path.read_bytes() for path in folder.rglob("*")}
    refused = CliRunner().invoke(rehearse, [str(folder), "--out", str(folder)])
    assert isinstance(refused.exception, StudyError)
    assert "holds something already. A rehearsal goes into a new folder" in str(refused.exception)
    assert {path: path.read_bytes() for path in folder.rglob("*")} == before


def test_rehearse_in_words_and_with_a_failure(tmp_path, monkeypatch):
    small = ballot_study(servings=ballot_study().table("servings").iloc[:1])
    write_study(small, tmp_path / "small")
    said = CliRunner().invoke(rehearse, [str(tmp_path / "small"), "--out", str(tmp_path / "a")]).output
    assert "1 serving answered through the server, 5 answers in the study." in said
    assert "says nothing about the prototypes" in said
    monkeypatch.setattr("panel.ballots.rehearsal._MOST_PAGES", 3)
    failed = CliRunner().invoke(rehearse, [str(tmp_path / "small"), "--out", str(tmp_path / "b")])
    assert failed.exit_code == 1
    assert "the ballot did not come to an end" in failed.output
    assert read_folder(tmp_path / "b").scores.empty


def test_the_usual_port_is_the_same_in_both_places():
    assert _PORT == serving.USUAL_PORT
