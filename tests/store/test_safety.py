from datetime import datetime

import pandas as pd
import pytest
from sqlalchemy import func, select

from panel.errors import StudyError
from panel.plan.safety import record_reaction
from panel.store.database import now
from panel.store.events import Entry, record
from panel.store.lock import lock_session
from panel.store.preparing import follow_gate, prepare, safety_signed, stop_ballots, stopped_by
from panel.store.tables import SAFETY
from panel.study.folder import write_study
from panel.study.study import Study, empty_table
from tests.ballot_studies import ASSESSORS, PROTOTYPES, ballot_study, cleared


@pytest.fixture
def where(tmp_path):
    """SQLite alone: what these statements say is the same everywhere."""
    return str(tmp_path / "ballots.sqlite"), "afterfeel"


OPEN = cleared(ballot_study())
FIRST_OF_SECOND = 19  # the fixture has 18 servings


def follow(store, collection, study=OPEN, **options):
    words = follow_gate(store, collection, study, at=now(), **options)
    return words, safety_signed(store, collection)


def without(prototype):
    signed = OPEN.table("safety")
    return Study({**OPEN.tables, "safety": signed[signed["batch"] != f"{prototype}-1"]}, OPEN.facts)


def reacted(**what):
    entry = record_reaction(
        empty_table("reactions"), when="2025-03-02", who="lead", signs="red", severity="mild", action="rinsed", **what
    )
    return Study({**OPEN.tables, "reactions": entry}, OPEN.facts)


def test_the_ballots_are_closed_until_the_gate_of_every_served_prototype_is_open(store, collection):
    assert not safety_signed(store, collection)
    words, opened = follow(store, collection, ballot_study())
    assert (words.startswith("The safety gate is not open: 0 of 3 served"), opened) == (True, False)
    assert follow(store, collection, without(PROTOTYPES[1]))[1] is False
    words, opened = follow(store, collection)
    assert (words.startswith("The safety gate is open: 3 of 3 served"), opened) == (True, True)
    assert follow(store, collection, without(PROTOTYPES[2]))[1] is False  # a sign-off was taken back


def test_a_prototype_that_nobody_is_served_is_not_waited_for(store, collection):
    more = pd.concat([OPEN.table("batches"), pd.DataFrame({"batch": ["new-1"], "prototype": ["new"]})])
    assert follow(store, collection, Study({**OPEN.tables, "batches": more}, OPEN.facts))[1] is True


def test_a_second_batch_that_is_not_signed_does_not_close_them_but_one_that_is_frozen_does(store, collection):
    more = pd.concat([OPEN.table("batches"), pd.DataFrame({"batch": ["again"], "prototype": [PROTOTYPES[0]]})])
    assert follow(store, collection, Study({**OPEN.tables, "batches": more}, OPEN.facts))[1] is True
    frozen = Study({**reacted(batch="again").tables, "batches": more}, OPEN.facts)
    words, opened = follow(store, collection, frozen)
    assert not opened
    assert "a reaction that is not settled freezes 1" in words


def test_without_batches_or_servings_they_stay_closed(store, collection):
    assert follow(store, collection, Study({**OPEN.tables, "batches": OPEN.table("batches").iloc[:0]}))[1] is False
    assert follow(store, collection, Study({**OPEN.tables, "servings": OPEN.table("servings").iloc[:0]}))[1] is False


def test_what_is_signed_only_later_does_not_count_yet(store, collection):
    early = datetime(2025, 2, 28, 12).astimezone()  # the sign-offs are of 1 March
    follow_gate(store, collection, OPEN, at=early)
    assert not safety_signed(store, collection)


def test_a_session_that_is_locked_is_not_waited_for(store, collection, tmp_path):
    servings = OPEN.table("servings")
    servings = servings[(servings["session"] != "2") | (servings["prototype"] != PROTOTYPES[0])]
    study = Study({**without(PROTOTYPES[0]).tables, "servings": servings}, OPEN.facts)
    number = prepare(store, study, "other hills", at=now())[0]
    assert not safety_signed(store, number)
    follow_gate(store, number, study, at=now())
    assert not safety_signed(store, number)
    write_study(study, tmp_path / "hills")
    record(
        store,
        [Entry("answer", FIRST_OF_SECOND, "GLOSS", 1.0)],
        submission="s",
        collection=number,
        session="1",
        assessor=ASSESSORS[0],
        at=now(),
    )
    lock_session(store, number, "1", tmp_path / "hills", who="lead", at=now())
    follow_gate(store, number, study, at=now())
    assert safety_signed(store, number)


def test_what_a_person_stopped_goes_on_only_when_a_person_says_so(store, collection):
    follow(store, collection)
    stop_ballots(store, collection, who="Dr S.", why="itching", at=now())
    assert stopped_by(store, collection) == "Dr S.: itching"
    words, opened = follow(store, collection)
    assert (words.startswith("The ballots stay closed: Dr S. stopped them"), opened) == (True, False)
    with pytest.raises(StudyError, match="Write why the ballots may go on"):
        follow(store, collection, who="Dr S.")
    assert follow(store, collection, who="Dr S.", why="nothing found")[1] is True
    assert stopped_by(store, collection) == ""
    assert follow(store, collection)[1] is True


def test_a_person_opens_nothing_that_the_gate_keeps_closed(store, collection):
    assert follow(store, collection, ballot_study(), who="lead", why="hurry")[1] is False
    stop_ballots(store, collection, who="lead", why="itching", at=now())
    assert follow(store, collection, ballot_study(), who="lead", why="hurry")[1] is False
    assert follow(store, collection)[1] is True  # the stop was ended; the gate is open now


@pytest.mark.parametrize(("who", "why"), [(" ", "itching"), ("lead", ""), ("the safety gate of the study", "x")])
def test_somebody_stops_them_for_a_reason(store, collection, who, why):
    with pytest.raises(StudyError, match="Write who stops them, and why"):
        stop_ballots(store, collection, who=who, why=why, at=now())


def test_a_look_that_finds_nothing_new_leaves_no_trace(store, collection):
    for _ in range(3):
        follow(store, collection)
    with store.reading() as connection:
        assert connection.execute(select(func.count()).select_from(SAFETY)).scalar_one() == 1
