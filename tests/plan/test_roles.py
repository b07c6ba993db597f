"""Roles: who sees what before and after the lock, and what does not go together."""

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.plan.protocol import (
    _ROLES,
    _SAFETY_ASSESSOR,
    _TRAINER,
    ANALYST,
    ASSESSOR,
    CLAIM_REVIEWER,
    FORMULATOR,
    PANEL_LEADER,
    Person,
    _knows_prototypes,
    conflicts,
    people,
    servings_seen,
)
from tests.studies import small_study

SERVINGS = small_study().table("servings")


def told(*team, servings=SERVINGS):
    return conflicts(team, servings)["what"].tolist()


@pytest.mark.parametrize("role", list(_ROLES))
def test_before_the_lock_nobody_sees_prototype_and_code_together(role):
    seen = set(servings_seen(SERVINGS, role, locked=False).columns)
    assert not {"prototype", "code"} <= seen
    assert len(servings_seen(SERVINGS, role, locked=False)) == len(SERVINGS)


@pytest.mark.parametrize(
    ("role", "locked", "knows"),
    [
        (FORMULATOR, False, True),
        (PANEL_LEADER, False, False),
        (PANEL_LEADER, True, True),
        (ANALYST, False, False),
        (ANALYST, True, True),
        (CLAIM_REVIEWER, False, False),
        (_SAFETY_ASSESSOR, False, True),
        (_TRAINER, False, False),
        (ASSESSOR, True, False),
    ],
)
def test_who_knows_the_prototypes(role, locked, knows):
    assert _knows_prototypes(role, locked=locked) is knows


def test_the_panel_leader_sees_codes_and_the_analyst_everything_after_the_lock():
    assert "code" in servings_seen(SERVINGS, PANEL_LEADER, locked=False)
    assert servings_seen(SERVINGS, ANALYST, locked=True).equals(SERVINGS)


def test_somebody_who_scores_what_she_made_is_warned():
    assert told(Person("F1", (FORMULATOR,), "A01", ("P1", "P9"))) == ["scores what she made: P1"]
    assert told(Person("F1", (FORMULATOR,), "A01")) == ["formulates and scores in the same study"]
    assert told(Person("F1", (FORMULATOR,), "A99", ("P1",))) == []
    assert told(Person("F1", (FORMULATOR,), "", ("P1",))) == []


def test_two_roles_that_do_not_go_together_are_named():
    assert told(Person("X", (FORMULATOR, ANALYST))) == ["is formulator and analyst"]
    assert told(Person("X", (FORMULATOR, PANEL_LEADER, _SAFETY_ASSESSOR))) == [
        "is formulator and panel leader",
        "is formulator and safety assessor",
    ]
    assert told(Person("X", (PANEL_LEADER,)), Person("Y", (ANALYST,))) == []


def test_every_warning_says_what_to_do():
    team = [Person("X", tuple(_ROLES), "A01", ("P1",))]
    found = conflicts(team, SERVINGS)
    assert len(found) == 6
    assert (found["advice"] != "").all()
    assert isinstance(found, pd.DataFrame)


def test_people_are_read_from_the_facts():
    entry = {"person": "L1", "roles": ["panel leader"], "assessor": "A02", "made": ["P1"]}
    assert people(small_study({"people": [entry]})) == (Person("L1", ("panel leader",), "A02", ("P1",)),)
    assert people(small_study()) == ()


def test_what_is_not_known_is_said():
    with pytest.raises(StudyError, match="The role 'boss' is not known"):
        _knows_prototypes("boss", locked=False)
    with pytest.raises(StudyError, match="The role 'boss' is not known"):
        people(small_study({"people": [{"person": "X", "roles": ["boss"]}]}))
    with pytest.raises(StudyError, match="names nobody"):
        people(small_study({"people": [{"roles": ["analyst"]}]}))
