import numpy as np
import pandas as pd
import pytest
from sqlalchemy import inspect, select

from panel.errors import StudyError
from panel.store.ballot import find_ballot
from panel.store.board import board_of_servings, sessions_table
from panel.store.database import now
from panel.store.events import Entry, make_tokens, record
from panel.store.preparing import prepare
from panel.store.tables import _METADATA
from panel.study.study import Study
from tests.ballot_studies import ASSESSORS, CODES, SECRETS, ballot_study


@pytest.fixture
def where(tmp_path):
    """SQLite alone: what these statements say is the same everywhere."""
    return str(tmp_path / "ballots.sqlite"), "afterfeel"


FIRST_CODE = ballot_study().table("servings")["code"][0]


def again(store, study, **options):
    return prepare(store, study, "hills", at=now(), **options)


def began(store, collection):
    entry = Entry("answer", 1, "GLOSS", 50.0)
    record(store, [entry], submission="s", collection=collection, session="1", assessor="A01", at=now())


def changed(name, **columns):
    table = ballot_study().table(name).copy()
    for column, (row, value) in columns.items():
        table.loc[row, column] = value
    return ballot_study(**{name: table})


def test_the_plan_is_copied_without_the_prototypes(store, collection):
    board = board_of_servings(store, collection)
    plan = ballot_study().table("servings").query("assessor != 'C01'")
    places = ["session", "assessor", "position", "code", "site"]
    expected = plan.sort_values(places[:3])[places].astype({"position": "int64"}).reset_index(drop=True)
    pd.testing.assert_frame_equal(board[places].astype({"position": "int64"}), expected, check_dtype=False)


def test_nothing_in_the_database_tells_what_a_sample_is(store, collection):
    with store.reading() as connection:
        held = str([connection.execute(select(table)).all() for table in _METADATA.sorted_tables])
        assert "prototype" not in str([inspect(connection).get_columns(t.name) for t in _METADATA.sorted_tables])
    assert [word for word in SECRETS if word.lower() in held.replace("hills", "").lower()] == []


def test_consumers_are_never_asked_for_intensities(store, collection):
    assert again(store, ballot_study()) == (collection, ("1", "2"))


def test_the_attributes_come_in_the_order_in_which_they_are_judged(store, collection):
    token = make_tokens(store, collection, "1", at=now())["token"][0]
    questions = find_ballot(store, token).questions
    assert [q.attribute for q in questions] == ["GLOSS", "SPREAD", "GREASE", "STICK", "RESIDUE"]
    assert [q.minutes for q in questions] == [None, None, 2.0, 2.0, 20.0]
    assert {(q.scale_min, q.scale_max) for q in questions} == {(0.0, 100.0)}
    assert questions[4].earliest < 20.0 < questions[4].latest


def test_a_stage_without_minutes_has_the_usual_ones(store):
    study = changed("attributes", minutes=(2, np.nan))
    number = prepare(store, study, "other", at=now())[0]
    token = make_tokens(store, number, "1", at=now())["token"][0]
    assert find_ballot(store, token).questions[2].minutes == 2.0  # the table of stage times


def test_preparing_twice_is_preparing_once(store, collection):
    assert again(store, ballot_study())[0] == collection
    began(store, collection)
    assert again(store, ballot_study())[0] == collection
    assert len(board_of_servings(store, collection)) == 18


def test_a_rehearsal_is_always_one_of_its_own(store, collection):
    first, second = (again(store, ballot_study(), rehearsal=True)[0] for _ in range(2))
    assert len({collection, first, second}) == 3
    assert sessions_table(store).groupby("collection")["rehearsal"].all().to_dict() == {
        collection: False,
        first: True,
        second: True,
    }


def test_a_plan_may_change_until_its_session_begins(store, collection):
    again(store, changed("servings", code=(0, "111"), site=(0, "knee")))
    board = board_of_servings(store, collection, "1")
    assert board["code"].tolist()[0] == "111"
    assert len(board) == 9


def test_a_plan_that_changed_after_the_beginning_is_refused(store, collection):
    began(store, collection)
    with pytest.raises(StudyError, match="The serving plan of session 1 changed after its ballots had begun"):
        again(store, changed("servings", code=(0, "111")))
    with pytest.raises(StudyError, match="The attributes of session 1 changed after its ballots had begun"):
        again(store, changed("attributes", procedure=(0, "sniff")))


def test_a_new_session_may_come_later(store):
    plan = ballot_study().table("servings")
    first, _ = prepare(store, ballot_study(servings=plan.query("session == '1'")), "hills", at=now())
    began(store, first)
    assert again(store, ballot_study())[0] == first
    assert len(board_of_servings(store, first)) == 2 * len(ASSESSORS) * len(CODES["1"])


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"code": (3, "")}, r"servings.csv, line 5: session, assessor, position or code is missing"),
        ({"position": (3, np.nan)}, r"line 5: session, assessor, position or code is missing"),
        ({"position": (1, 1.0)}, r"line 3: A01 has position 1 twice in session 1"),
        ({"code": (1, FIRST_CODE)}, rf"line 3: A01 has code {FIRST_CODE} twice in session 1"),
    ],
)
def test_an_incomplete_plan_is_refused_with_its_line(store, columns, words):
    with pytest.raises(StudyError, match=words):
        again(store, changed("servings", **columns))


def test_a_study_without_plan_or_attributes_is_refused(store):
    with pytest.raises(StudyError, match=r"no servings for trained assessors\. Make a serving plan first"):
        again(store, ballot_study(servings=ballot_study().table("servings").query("assessor == 'C01'")))
    with pytest.raises(StudyError, match="no attributes to ask for"):
        again(store, ballot_study(attributes=ballot_study().table("attributes").iloc[:0]))


def test_a_scale_without_length_is_refused(store):
    study = changed("attributes")
    flat = study.table("attributes").assign(scale_min=5.0, scale_max=5.0)
    with pytest.raises(StudyError, match="The scale of GLOSS goes from 5 to 5; correct its ends"):
        again(store, ballot_study(attributes=flat))


def test_a_line_without_ends_is_asked_for_and_never_made_up(store):
    study = ballot_study()
    with pytest.raises(StudyError, match=r"where the scale of GLOSS, .* begins and ends\. Fill in scale_min"):
        prepare(store, Study(study.tables, {}), "no scale", at=now())
    some = study.table("attributes").assign(scale_min=0.0, scale_max=[15.0, *[np.nan] * 4])
    with pytest.raises(StudyError, match=r"where the scale of (?!GLOSS)"):
        prepare(store, Study({**study.tables, "attributes": some}, {}), "no scale", at=now())


def test_nothing_is_kept_of_a_preparation_that_fails(store):
    with pytest.raises(StudyError):
        again(store, changed("servings", code=(3, "")))
    with store.reading() as connection:
        tables = [table for table in _METADATA.sorted_tables if table.name != "schema_version"]
        assert [table.name for table in tables if connection.execute(select(table)).first() is not None] == []
