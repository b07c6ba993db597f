import numpy as np
import pytest

from panel.ballots.rehearsal import rehearse
from panel.errors import StudyError
from panel.models.prototypes.differences import find_differences
from panel.store.board import session_record, sessions_table
from panel.store.database import now, open_store
from panel.store.lock import lock_session
from panel.study.folder import read_folder, write_study
from panel.study.numbers_read import typed_number
from tests.ballot_studies import ASSESSORS, ballot_study


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    opened = open_store(tmp_path_factory.mktemp("rehearsal") / "b.sqlite")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def rehearsal(store):
    return rehearse(ballot_study(), store, np.random.default_rng(7))


def test_everybody_answers_everything_through_the_server(rehearsal):
    assert rehearsal.failures == ()
    assert len(rehearsal.servings) == 2 * 3 * len(ASSESSORS)
    assert (rehearsal.servings["answered"] + rehearsal.servings["cannot_judge"] == 5).all()


def test_what_is_in_the_study_at_the_end_is_what_was_sent(rehearsal, store, tmp_path):
    write_study(ballot_study(), tmp_path / "hills")
    for session in ("1", "2"):
        assert lock_session(store, rehearsal.collection, session, tmp_path / "hills", who="lead", at=now()).rehearsal
    study = read_folder(tmp_path / "hills")
    marks = rehearsal.sent.loc[rehearsal.sent["field"].str.startswith("v")]
    sent = sorted(typed_number(text, "a mark") for text in marks["text"])
    assert sorted(study.scores["score"].dropna()) == sent
    assert len(study.scores) == 90
    assert len(find_differences(study).pairs) == 5 * 3  # the analysis takes it as it takes any study


def test_a_rehearsal_is_marked_for_ever(rehearsal, store):
    table = sessions_table(store)
    assert table.loc[table["collection"] == rehearsal.collection, "rehearsal"].all()
    lines = session_record(store, rehearsal.collection, "1").splitlines()
    assert len(lines) > 45
    assert all(b'"rehearsal":true' in line for line in lines)


def test_times_are_kept_by_the_clock_of_the_rehearsal(rehearsal):
    assert rehearsal.servings["early"].sum() == 0


def test_the_seed_decides_every_mark(rehearsal, tmp_path):
    other = open_store(tmp_path / "b.sqlite")
    again = rehearse(ballot_study(), other, np.random.default_rng(7), sessions=("1",))
    other.close()
    assert again.servings["session"].unique().tolist() == ["1"]
    first = rehearsal.sent.query("session == '1'").reset_index(drop=True)
    assert again.sent.equals(first)


def test_a_session_that_is_not_planned_is_told(store):
    with pytest.raises(StudyError, match="There is no session 9 in the serving plan"):
        rehearse(ballot_study(), store, np.random.default_rng(1), sessions=("9",))


def test_a_loss_would_be_noticed(tmp_path, monkeypatch):
    store = open_store(tmp_path / "b.sqlite")
    kept = session_record
    monkeypatch.setattr(
        "panel.ballots.rehearsal.session_record", lambda *place: kept(*place).replace(b'"kind":"comment"', b"", 1)
    )
    monkeypatch.setattr("panel.ballots.rehearsal._COMMENT", 1.0)
    result = rehearse(ballot_study(), store, np.random.default_rng(1), sessions=("1",))
    store.close()
    (words,) = result.failures
    assert words.startswith(f"{len(result.sent)} marks were sent, {len(result.sent) - 1} are in the record")


@pytest.mark.parametrize("ends", [(0.0, 10.0), (0.0, 15.0), (1.0, 9.0), (0.0, 1.0), (-5.0, 5.0)])
def test_every_line_is_marked_on_its_own_scale(ends, tmp_path):
    attributes = ballot_study().table("attributes").assign(scale_min=0.0, scale_max=100.0)
    attributes.loc[0, ["scale_min", "scale_max"]] = ends
    study = ballot_study(attributes=attributes)
    opened = open_store(tmp_path / "own.sqlite")
    done = rehearse(study, opened, np.random.default_rng(3), sessions=("1",))
    assert done.failures == ()
    write_study(study, tmp_path / "hills")
    lock_session(opened, done.collection, "1", tmp_path / "hills", who="lead", at=now())
    opened.close()
    scores = read_folder(tmp_path / "hills").scores.groupby("attribute")["score"]
    of_all = (scores.max() - scores.min()) / (attributes["scale_max"] - attributes["scale_min"]).to_numpy().max()
    own = of_all * 100 / (ends[1] - ends[0])
    assert 0.1 < own[attributes["attribute"][0]] <= 1  # spread over its own line
    assert (of_all.drop(attributes["attribute"][0]) > 0.1).all()
