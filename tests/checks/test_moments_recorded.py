"""When a study was run: what people state, else what its scores and locks carry; each moment has one reader."""

import pandas as pd
import pytest

from panel.checks.moments_recorded import (
    _first_moments,
    batches_tested,
    days_of_scores,
    days_stated,
    first_score,
    judged_blind,
    panel_days,
)
from panel.study.facts import locked_sessions
from panel.study.study import Study

SCORES = pd.DataFrame(
    {
        "assessor": "A1",
        "prototype": ["P1", "P2", "P1", "P2", "P1"],
        "attribute": "X",
        "score": 1.0,
        "session": ["1", "1", "2", "2", "2"],
        "batch": ["", "B2a", "B1", "", ""],
        "recorded_at": ["2025-03-14T14:00:00", "2025-03-14T13:59:00", "2025-03-17T09:00:00", "2025-03-10T09:00:00", ""],
    }
)
BATCHES = pd.DataFrame({"batch": ["B1", "B2a", "B2b"], "prototype": ["P1", "P2", "P2"], "tested_on": ["", "", ""]})


def study(facts=None, **tables):
    return Study({"scores": SCORES, "batches": BATCHES, **tables}, facts or {})


def test_a_batch_is_tested_when_its_first_score_came():
    # P1 has one batch, so its score without a batch is of it; P2 has two, and its score without a batch is of neither
    assert batches_tested(study())["tested_on"].tolist() == ["2025-03-14T14:00:00", "2025-03-14T13:59:00", ""]
    stated = BATCHES.assign(tested_on=["2025-03-01", "", ""])
    assert batches_tested(study(batches=stated))["tested_on"].tolist() == ["2025-03-01", "2025-03-14T13:59:00", ""]


def test_without_times_nothing_is_made_up():
    untimed = study(scores=SCORES.assign(recorded_at=""))
    assert batches_tested(untimed)["tested_on"].tolist() == ["", "", ""]
    assert (days_of_scores(untimed), first_score(untimed), _first_moments(untimed)) == ({}, "", ())
    assert first_score(study(scores=SCORES.assign(recorded_at="soon"))) == ""


def test_the_days_of_a_session_are_those_of_its_scores():
    assert days_of_scores(study()) == {"1": ("2025-03-14",), "2": ("2025-03-10", "2025-03-17")}


def test_days_that_are_named_as_the_sessions_are_those_of_the_panel():
    untimed = SCORES.assign(recorded_at="", session=["Tue", "Tue", "Thu", "Thu", "Thu"])
    dates = {"Thu": "2025-05-08", "tue": ["2025-04-30"], "home use": ["2025-02-12"], "making": "2025-01-02"}
    assert panel_days(study({"dates": dates}, scores=untimed)) == "April and May 2025"
    assert panel_days(study({"dates": {"making": "2025-01-02", "filling": "2025-01-03"}}, scores=untimed)) == ""
    assert panel_days(study({"dates": {"panel": "2025-05-08"}}, scores=untimed)) == "May 2025"
    assert panel_days(study({"dates": dates})) == "March 2025"  # what the scores carry comes first


def test_days_are_read_however_people_state_them():
    assert days_stated(study({"dates": {"hall": ["2025-03-01", "2025-03-02"], "home": "2025-03-05"}})) == {
        "hall": ("2025-03-01", "2025-03-02"),
        "home": ("2025-03-05",),
    }
    assert days_stated(study({"dates": "2025-03-01"})) == {"": ("2025-03-01",)}
    assert days_stated(study({"dates": ["2025-03-01"]})) == {"": ("2025-03-01",)}
    assert days_stated(study()) == days_stated(study({"dates": {}})) == {}


def test_of_a_locked_session_the_moment_in_its_record_counts():
    locked = {"session": "1", "locked_at": "2025-03-14T15:00:00", "who": "lead", "events_sha256": "f" * 64}
    locked |= {"begun_at": "2025-03-14T12:58:00.000+00:00"}
    known = study({"locked_sessions": [locked]})
    assert locked_sessions(known).to_dict("records") == [locked]
    assert _first_moments(known) == ("2025-03-14T12:58:00.000+00:00", "2025-03-10T09:00:00")
    assert first_score(known) == "2025-03-10T09:00:00"
    (found,) = locked_sessions(study({"locked_sessions": [{"session": "1"}, "broken"]})).to_dict("records")
    assert found == {"session": "1", **dict.fromkeys(("locked_at", "who", "events_sha256", "begun_at"), "")}


@pytest.mark.parametrize(
    ("opened", "blind"),
    [
        ("", True),
        ("2025-03-18", True),
        ("2025-03-17", True),  # the day of the last score: after it, as far as anybody says
        ("2025-03-17T08:59:00", False),
        ("2025-03-17T09:01:00", True),
        ("2025-03-17T08:59:00+00:00", True),  # the scores show the clock on the wall: which came first is not known
        ("2025-03-14T23:00:00", False),
        ("2025-03-14", False),
        ("soon", True),
    ],
)
def test_the_panel_was_blind_until_the_key_was_opened(opened, blind):
    codes = pd.DataFrame({"prototype": ["P1", "P2"], "code": ["417", "902"]})
    assert judged_blind(study({"unblinded_on": opened}, servings=codes)) is blind
    assert not judged_blind(study({"unblinded_on": opened}, servings=codes.assign(code=["417", "P1"])))
    assert not judged_blind(study({"unblinded_on": opened}, servings=codes.assign(code=["417", ""])))
    assert not judged_blind(study({"unblinded_on": opened}))


def test_days_stated_of_the_panel_count_and_those_of_others_do_not():
    codes, untimed = pd.DataFrame({"prototype": ["P1"], "code": ["417"]}), SCORES.assign(recorded_at="", session="Tue")
    told = {"unblinded_on": "2025-03-14", "dates": {"Tue": "2025-03-14", "home use": "2025-04-02"}}
    assert judged_blind(study(told, scores=untimed, servings=codes))
    told["dates"]["Tue"] = ["2025-03-14", "2025-03-15"]
    assert not judged_blind(study(told, scores=untimed, servings=codes))
