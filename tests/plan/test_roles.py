"""Roles: who does what, and what does not go together."""

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.plan.protocol import (
    _ROLES,
    _SAFETY_ASSESSOR,
    ANALYST,
    FORMULATOR,
    PANEL_LEADER,
    conflicts,
    people,
)
from tests.studies import small_study

SERVINGS = small_study().table("servings")


def somebody(person, roles, assessor="", made=()):
    return {"person": person, "roles": list(roles), "assessor": assessor, "made": list(made)}


def told(*team):
    return conflicts(people(small_study({"people": list(team)})), SERVINGS)["what"].tolist()


def test_somebody_who_scores_what_she_made_is_warned():
    assert told(somebody("F1", (FORMULATOR,), "A01", ("P1", "P9"))) == ["scores what she made: P1"]
    assert told(somebody("F1", (FORMULATOR,), "A01")) == ["formulates and scores in the same study"]
    assert told(somebody("F1", (FORMULATOR,), "A99", ("P1",))) == []
    assert told(somebody("F1", (FORMULATOR,), "", ("P1",))) == []


def test_two_roles_that_do_not_go_together_are_named():
    assert told(somebody("X", (FORMULATOR, ANALYST))) == ["is formulator and analyst"]
    assert told(somebody("X", (FORMULATOR, PANEL_LEADER, _SAFETY_ASSESSOR))) == [
        "is formulator and panel leader",
        "is formulator and safety assessor",
    ]
    assert told(somebody("X", (PANEL_LEADER,)), somebody("Y", (ANALYST,))) == []


def test_every_warning_says_what_to_do():
    team = people(small_study({"people": [somebody("X", _ROLES, "A01", ("P1",))]}))
    found = conflicts(team, SERVINGS)
    assert len(found) == 6
    assert (found["advice"] != "").all()
    assert isinstance(found, pd.DataFrame)


def test_people_are_read_from_the_facts():
    entry = {"person": "L1", "roles": ["panel leader"], "assessor": "A02", "made": ["P1"]}
    (row,) = people(small_study({"people": [entry]})).to_dict("records")
    assert row == {"person": "L1", "roles": ("panel leader",), "assessor": "A02", "made": ("P1",)}
    assert people(small_study()).empty


def test_what_is_not_known_is_said():
    with pytest.raises(StudyError, match="The role 'boss' is not known"):
        people(small_study({"people": [{"person": "X", "roles": ["boss"]}]}))
    with pytest.raises(StudyError, match="names nobody"):
        people(small_study({"people": [{"roles": ["analyst"]}]}))
