from datetime import timedelta

import pytest

from panel.store.ballot import find_ballot
from panel.store.database import now, read, written
from panel.store.events import Entry, let_go_on, make_tokens, record
from panel.store.preparing import follow_gate
from tests.ballot_studies import ballot_study, cleared

WHO = {"who": "lead", "why": "physician agreed"}


@pytest.fixture
def tokens(store, collection):
    table = make_tokens(store, collection, "1", at=now())
    return dict(zip(table["assessor"], table["token"], strict=True))


def add(store, ballot, *entries, at=None, key="k"):
    place = {"collection": ballot.collection, "session": ballot.session, "assessor": ballot.assessor}
    record(store, entries, submission=f"{key} {ballot.assessor}", at=at or now(), **place)


def test_a_ballot_begins_empty(store, tokens):
    ballot = find_ballot(store, tokens["A02"])
    assert (ballot.session, ballot.assessor, ballot.rehearsal, ballot.locked) == ("1", "A02", False, False)
    assert not ballot.safety_signed
    assert [serving.position for serving in ballot.servings] == [1, 2, 3]
    assert (dict(ballot.given), dict(ballot.rubbing_ended), set(ballot.shown), ballot.held) == ({}, {}, set(), set())


def test_what_was_sent_is_found_again_by_nobody_else(store, collection, tokens):
    ballot, moment = find_ballot(store, tokens["A01"]), now()
    serving = ballot.servings[0].serving
    entries = (
        Entry("shown", serving, text="1"),
        Entry("answer", serving, "GLOSS", 12.0),
        Entry("cannot_judge", serving, "SPREAD"),
        Entry("rubbing_ended", serving),
    )
    add(store, ballot, *entries, at=moment)
    follow_gate(store, collection, cleared(ballot_study()), at=now())
    again = find_ballot(store, tokens["A01"])
    assert again.given == {(serving, "GLOSS"): "answer", (serving, "SPREAD"): "cannot_judge"}
    assert again.rubbing_ended == {serving: read(written(moment))}
    assert again.shown == {(serving, "1")}
    assert again.safety_signed
    assert find_ballot(store, tokens["A02"]).given == {}


def test_the_ballot_after_is_the_ballot_found_again(store, tokens):
    ballot, moment = find_ballot(store, tokens["A01"]), read(written(now()))
    serving = ballot.servings[1].serving
    entries = (Entry("answer", serving, "GLOSS", 1.0), Entry("rubbing_ended", serving), Entry("comment", serving))
    add(store, ballot, *entries, at=moment)
    after, again = ballot.after(entries, moment), find_ballot(store, tokens["A01"])
    assert after.given == again.given
    assert after.rubbing_ended == again.rubbing_ended


def test_the_end_of_rubbing_noted_last_counts(store, tokens):
    ballot, moment = find_ballot(store, tokens["A01"]), now()
    serving = ballot.servings[0].serving
    add(store, ballot, Entry("rubbing_ended", serving), at=moment, key="a")
    add(store, ballot, Entry("rubbing_ended", serving), at=moment + timedelta(seconds=30), key="b")
    again = find_ballot(store, tokens["A01"])
    assert again.rubbing_ended == {serving: read(written(moment + timedelta(seconds=30)))}


def test_a_reaction_stops_the_ballot_and_holds_the_sample_for_all(store, collection, tokens):
    ballot = find_ballot(store, tokens["A01"])
    add(store, ballot, Entry("reaction", ballot.servings[0].serving, text="burning"))
    code = ballot.servings[0].code
    assert find_ballot(store, tokens["A01"]).stopped
    other = find_ballot(store, tokens["A02"])
    assert not other.stopped
    assert other.held == {code}
    let_go_on(store, collection, "1", "A01", at=now(), **WHO)
    assert not find_ballot(store, tokens["A01"]).stopped
    assert find_ballot(store, tokens["A02"]).held == set()


def test_a_sample_stays_held_while_somebody_else_reacted_too(store, collection, tokens):
    first, second = (find_ballot(store, tokens[name]) for name in ("A01", "A02"))
    code = first.servings[0].code
    same = next(serving for serving in second.servings if serving.code == code)
    add(store, first, Entry("reaction", first.servings[0].serving))
    add(store, second, Entry("reaction", same.serving))
    let_go_on(store, collection, "1", "A01", at=now(), **WHO)
    assert find_ballot(store, tokens["A03"]).held == {code}
    let_go_on(store, collection, "1", "A02", at=now(), **WHO)
    assert find_ballot(store, tokens["A03"]).held == set()
