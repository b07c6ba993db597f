"""Sentences about time: they follow the numbers, also where nothing is shown."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.models.over_time.after_feel import follow_after_feel, reduce_courses
from panel.models.over_time.dominance import follow_dominance
from panel.study.naming import naming
from panel.study.shown import shown
from panel.study.study import Study
from panel.views.over_time import (
    _AFTER_FEEL_MEANS,
    _AFTER_FEEL_TESTS,
    _AFTER_FEEL_VERSUS,
    _COURSES_TABLE,
    _DOMINANT,
    _after_feel_headline,
    _after_feel_sentences,
    _course_names,
    _course_sentences,
    _courses_headline,
    _difference_sentences,
    _dominance_headline,
    _dominance_sentences,
    tell_after_feel,
    tell_courses,
    tell_dominance,
)
from tests.time_studies import after_feel_scores, after_feel_study, dominance_rows, everything_over_time

STUDY = everything_over_time()
NAMES = naming(STUDY)


def test_change_that_differs():
    found = follow_after_feel(STUDY)
    told = "The prototypes do not change alike over time on greasy film in these batches."
    assert _after_feel_headline(found) == told
    (told,) = _after_feel_sentences(found, NAMES)
    assert told.startswith("greasy film: the prototypes do not change alike (F 7.6, p after Holm < 0.001); ")
    late = found.versus.query("prototype == 'P3' and minutes == 20")["estimate"].item()
    assert f"20 min ({-late:.1f}) (scale units in brackets)." in told
    assert "P3 lower at 2 min" in told
    assert "P2" not in told  # no interval of P2 leaves out zero


def test_nothing_shown_is_not_told_as_alike():
    scores = after_feel_scores(np.random.default_rng(12))
    flat = scores.assign(score=np.random.default_rng(1).normal(50, 5, len(scores)))
    found = follow_after_feel(after_feel_study(flat))
    assert _after_feel_headline(found).endswith("That does not show they change alike.")
    (told,) = _after_feel_sentences(found, NAMES)
    assert "no difference in the change is shown" in told
    assert told.endswith("No difference from P1 stands out at any time.")


def test_what_a_session_may_be_is_told_first_and_as_no_difference():
    scores = after_feel_scores(np.random.default_rng(5))
    split = scores.assign(session=np.where(scores["prototype"] == "P1", "1", "2"))
    found = follow_after_feel(after_feel_study(split))
    told = tell_after_feel(found, NAMES)
    assert told.mind[0].startswith("2 of 3 pairs cannot be told from the session")
    (line,) = _after_feel_sentences(found, NAMES)
    assert " No difference from P1 can be told: P1 and P2 were never served in one session" in line
    assert "P2 higher" not in line


def test_higher_is_told_as_higher():
    scores = after_feel_scores(np.random.default_rng(6))
    turned = scores.assign(score=100 - scores["score"])
    (told,) = _after_feel_sentences(follow_after_feel(after_feel_study(turned)), NAMES)
    assert "P3 higher at" in told


@pytest.mark.parametrize(("side", "other", "turned"), [("lower", "higher", 1), ("higher", "lower", -1)])
def test_the_side_does_not_depend_on_how_fine_the_scale_is(side, other, turned):
    found = follow_after_feel(STUDY)
    fine = found.versus.assign(estimate=turned * found.versus["estimate"] / 100)  # below one, as on a scale of 0 to 1
    (told,) = _after_feel_sentences(replace(found, versus=fine), NAMES)
    assert f"P3 {side} at" in told
    assert f"{other} at" not in told


def test_without_a_benchmark_nothing_is_said_of_one():
    tables = dict(STUDY.tables) | {
        "prototypes": pd.DataFrame({"prototype": ["P1", "P2", "P3"], "role": "", "name": ""})
    }
    (told,) = _after_feel_sentences(follow_after_feel(Study(tables)), NAMES)
    assert "P1" not in told


def test_courses():
    found = reduce_courses(STUDY)
    (told,) = _course_sentences(found, NAMES)
    assert told.startswith("STICK: 24 courses of 6 people;")
    assert f"{found.courses['largest'].mean():.1f} on average, reached after 20.0 s" in told
    assert "or longer" not in told
    cut = replace(found, courses=found.courses.assign(ended=[False] * 3 + [True] * 21))
    assert _course_sentences(cut, NAMES)[0].endswith(" s or longer: 3 of 24 were still felt when the recording ended.")
    more = pd.concat([found.courses, found.courses.assign(attribute="GREASE")])
    lines = _course_sentences(replace(found, courses=more), NAMES)
    assert [line.split(":")[0] for line in lines] == ["STICK", "GREASE"]  # as in the study, not as in the alphabet
    headline = _courses_headline(found, NAMES)
    assert headline.startswith("The courses of the prototypes differ in 6 of 7 quantities of STICK, in these batches.")
    assert "duration" not in headline  # what is not shown is not listed
    words = _course_names(found, NAMES)
    assert words.attribute("STICK: rate_up") == "STICK, rate of rise (per s)"


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("cannot tell", "In no quantity can the courses be told apart. That does not show that they are alike."),
        ("differs", "The courses of the prototypes differ in every quantity in these batches."),
    ],
)
def test_courses_that_differ_in_everything_or_nothing(verdict, words):
    found = reduce_courses(STUDY)
    tests = found.differences.attributes.assign(verdict=verdict)
    assert _courses_headline(replace(found, differences=replace(found.differences, attributes=tests)), NAMES) == words
    assert "was not tested" in _courses_headline(replace(found, differences=None), NAMES)


def test_dominance():
    found = follow_dominance(STUDY, rng=np.random.default_rng(1))
    assert _dominance_headline(found, NAMES) == "Dominant beyond chance at the end: P1 greasy and P2 dry."
    early = replace(found, periods=found.periods.assign(end=found.periods["end"] * 0.8))
    assert _dominance_headline(early, NAMES) == "Last to be dominant beyond chance: P1 greasy and P2 dry."
    moment = replace(found, periods=found.periods.assign(start=0.5, end=0.5))
    assert "greasy at 50 % of the time" in _dominance_sentences(moment, NAMES)[0]
    first, second = _dominance_sentences(found, NAMES)
    assert first.startswith("P1: dominant beyond chance: wet from 0 to ")
    assert "greasy from 56 to 100 % of the time" in first
    line = found.lines["line"].iloc[0]
    assert f"(16 people; beyond chance from {100 * line:.0f} %)." in first
    assert "dry from" in second
    told = _difference_sentences(found, NAMES)
    assert any(line.startswith("dry is dominant more often in P2 than in P1") for line in told)
    assert any(line.startswith("wet is dominant less often in P2 than in P1") for line in told)
    assert all("for all prototypes, times and sensations at once" in line for line in told)


@pytest.mark.parametrize("sequences", [{"P1": ["ab"] * 2}, {"P1": ["aaaa", "bbbb", "cccc", "dddd"] * 3}])
def test_nothing_dominant(sequences):
    found = follow_dominance(Study({"dominances": dominance_rows(sequences)}), rng=np.random.default_rng(1))
    assert _dominance_sentences(found, NAMES)[0].startswith("P1: nothing is dominant beyond chance (")
    assert "That does not show that none is" in _dominance_headline(found, NAMES)
    assert _difference_sentences(found, NAMES) == []


def test_no_difference_of_dominance():
    rows = dominance_rows({"P1": ["aabb"] * 6, "P2": ["aabb"] * 6})
    found = follow_dominance(Study({"dominances": rows}), rng=np.random.default_rng(1))
    assert _difference_sentences(found, NAMES)[0].startswith("At no time is a difference of dominance shown.")


def test_everything_is_told_once():
    found = (follow_after_feel(STUDY), reduce_courses(STUDY), follow_dominance(STUDY, rng=np.random.default_rng(1)))
    for result, tell in zip(found, (tell_after_feel, tell_courses, tell_dominance), strict=True):
        told = tell(result, NAMES)
        lines = [item for each in told.every_drawer() for item in each.items if isinstance(item, str)]
        assert len(lines) == len(set(lines))
        assert told.headline not in lines
        assert len(told.picture.svg) > 1000
        assert told.picture.alt


def test_after_feel_tables():
    found = follow_after_feel(STUDY)
    tests, means, versus = (
        shown(table, found, NAMES) for table in (_AFTER_FEEL_TESTS, _AFTER_FEEL_MEANS, _AFTER_FEEL_VERSUS)
    )
    assert tests["What is tested"].tolist()[-1] == "Prototype x time"
    assert tests["Degrees of freedom"].tolist()[-1] == "4; 28.0"
    assert means["Minutes"].tolist() == ["2", "10", "20"] * 3
    assert means["Mean"].iloc[0] == f"{found.curves['estimate'].iloc[0]:.1f}"
    assert set(versus["Compared with"]) == {"P1"}
    assert versus["95 % interval, simultaneous"].str.contains(" to ").all()
    assert _AFTER_FEEL_VERSUS.titled(found).startswith("Differences from P1 at each time")


def test_courses_table():
    table = shown(_COURSES_TABLE, reduce_courses(STUDY), NAMES)
    assert table["Prototype"].tolist() == ["P1", "P2"]
    assert table["Time to the largest intensity (s)"].tolist() == ["20.0", "20.0"]
    assert len(table.columns) == 11


def test_dominance_table():
    table = shown(_DOMINANT, follow_dominance(STUDY, rng=np.random.default_rng(1)), NAMES)
    assert set(table["Evaluations"]) == {"16"}
    greasy = table.loc[table["Dominant"] == "greasy"].iloc[0]
    assert (greasy["From, % of the time"], greasy["To, % of the time"]) == ("56", "100")
