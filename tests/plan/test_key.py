"""The sealed key: what the seal shows and hides, and a list of openings that cannot be changed unseen."""

import hashlib
import json

import numpy as np
import pytest

from panel.errors import StudyError
from panel.plan.codes import (
    _key_matches,
    _serving_key,
    first_changed_opening,
    note_opening,
    with_seal,
)
from panel.plan.orders import plan_servings
from panel.study.study import empty_table
from tests.studies import small_study

SERVINGS = plan_servings(["P1", "P2", "P3"], ["A1", "A2", "A3"], np.random.default_rng(1), replicates=2).servings


def openings(*times):
    found = empty_table("unblindings")
    for when in times:
        found = note_opening(found, when=when, who="A. Analyst", why="analysis", locked_at="2025-04-01")
    return found


def sealed(servings, who="third person", at="2025-03-10T09:00"):
    return with_seal({}, servings, sealed_by=who, sealed_at=at)["key"]


def test_the_key_has_each_code_once():
    key = _serving_key(SERVINGS)
    assert key.columns.tolist() == ["session", "code", "prototype"]
    assert len(key) == 6
    assert not key.duplicated(["session", "code"]).any()


def test_the_seal_is_the_sha256_of_salt_and_sorted_key():
    # computed here by hand with the standard library
    servings = small_study().table("servings")
    seal = sealed(servings)
    rows = sorted(_serving_key(servings).to_numpy().tolist())
    assert seal["sha256"] == hashlib.sha256(json.dumps([seal["salt"], rows]).encode()).hexdigest()


def test_the_right_key_matches_and_no_other():
    key, seal = _serving_key(SERVINGS), sealed(SERVINGS)
    assert seal["codes"] == 6
    assert _key_matches(key, seal["salt"], seal["sha256"])
    assert _key_matches(
        key.sample(frac=1, random_state=1), seal["salt"], seal["sha256"]
    )  # whatever the order of the rows
    exchanged = key.assign(prototype=key["prototype"].to_numpy()[::-1])
    assert not _key_matches(exchanged, seal["salt"], seal["sha256"])
    assert not _key_matches(key.iloc[1:], seal["salt"], seal["sha256"])
    assert not _key_matches(key, seal["salt"] + "0", seal["sha256"])


def test_salts_differ_and_cannot_be_guessed():
    salts = {sealed(SERVINGS)["salt"] for _ in range(2)}
    assert [len(salt) for salt in salts] == [64, 64]


def test_what_cannot_be_sealed_is_refused():
    with pytest.raises(StudyError, match="named person at a stated time"):
        sealed(SERVINGS, " ")
    with pytest.raises(StudyError, match="'yesterday', which is no date"):
        sealed(SERVINGS, at="yesterday")
    with pytest.raises(StudyError, match="The servings have no codes"):
        _serving_key(SERVINGS.assign(code=""))
    with pytest.raises(StudyError, match="In session 1 the code 111 stands for two prototypes"):
        _serving_key(SERVINGS.assign(code="111"))


def test_openings_are_added_and_never_changed():
    first = openings("2025-04-07")
    second = note_opening(first, when="2025-04-08", who="B", why="report", locked_at="2025-04-01")
    assert len(second) == 2
    assert second.iloc[:1].equals(first)
    assert first_changed_opening(second) is None


@pytest.mark.parametrize(
    ("when", "locked_at", "locked"),
    [
        ("2025-04-07", "2025-04-01", "yes"),
        ("2025-03-20T10:00", "2025-04-01", "no"),
        ("2025-03-20", "", "no"),
        ("2025-04-01T12:00:05+00:00", "2025-04-01T12:00:05.300000+00:00", "yes"),  # in the second of the lock
        ("2025-04-01T12:00:04+00:00", "2025-04-01T12:00:05.300000+00:00", "no"),
        ("2025-04-01T12:00+02:00", "2025-04-01T11:00+00:00", "no"),  # 10:00 against 11:00 in UTC
    ],
)
def test_an_opening_before_the_lock_is_noted_not_refused(when, locked_at, locked):
    found = note_opening(
        empty_table("unblindings"), when=when, who="physician", why="reaction of A03", locked_at=locked_at
    )
    assert found["locked"].tolist() == [locked]


@pytest.mark.parametrize("column", ["when", "who", "what", "why", "locked", "seal"])
def test_a_changed_row_is_seen(column):
    found = openings("2025-04-07", "2025-04-08", "2025-04-09")
    changed = found.copy()
    changed.loc[1, column] = "something else"
    assert first_changed_opening(changed) == 1


def test_a_row_taken_out_or_moved_is_seen():
    found = openings("2025-04-07", "2025-04-08", "2025-04-09")
    assert first_changed_opening(found.drop(index=1).reset_index(drop=True)) == 1
    assert first_changed_opening(found.iloc[[1, 0, 2]].reset_index(drop=True)) == 0


def test_nothing_is_added_to_a_changed_list():
    found = openings("2025-04-07")
    with pytest.raises(StudyError, match="Row 1 of the list of unblindings was changed"):
        note_opening(found.assign(who="nobody"), when="2025-04-09", who="B", why="report")


@pytest.mark.parametrize("missing", ["when", "who", "why"])
def test_an_opening_needs_time_person_and_reason(missing):
    facts = {"when": "2025-04-07", "who": "B", "why": "report"} | {missing: "  "}
    with pytest.raises(StudyError, match="the time, a named person and the reason"):
        note_opening(empty_table("unblindings"), **facts)
