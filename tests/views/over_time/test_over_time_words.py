"""Sentences about time: they follow the numbers, also where nothing is shown."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.models.over_time.after_feel import follow_after_feel
from panel.models.over_time.dominance import follow_dominance
from panel.models.over_time.intensity import reduce_courses
from panel.study.naming import naming
from panel.study.study import Study
from panel.views.over_time.over_time import (
    after_feel_headline,
    after_feel_heads,
    after_feel_sentences,
    course_heads,
    course_names,
    course_sentences,
    courses_headline,
    dominance_difference_sentences,
    dominance_heads,
    dominance_sentences,
    what_after_feel_cannot_show,
    what_courses_cannot_show,
    what_dominance_cannot_show,
)
from tests.time_studies import after_feel_scores, after_feel_study, dominance_rows, everything_over_time

STUDY = everything_over_time()
NAMES = naming(STUDY)


def test_change_that_differs():
    found = follow_after_feel(STUDY)
    assert after_feel_headline(found) == "The prototypes do not change alike over time on greasy film."
    (told,) = after_feel_sentences(found, NAMES)
    assert told.startswith("greasy film: the prototypes do not change alike (F 7.6, p < 0.001); ")
    late = found.versus.query("prototype == 'P3' and minutes == 20")["estimate"].item()
    assert f"20 min ({-late:.1f}) (scale units in brackets)." in told
    assert "P3 lower at 2 min" in told
    assert "P2" not in told  # no interval of P2 leaves out zero
    assert after_feel_heads(found) == ["greasy film"]


def test_nothing_shown_is_not_told_as_alike():
    scores = after_feel_scores(np.random.default_rng(12))
    flat = scores.assign(score=np.random.default_rng(1).normal(50, 5, len(scores)))
    found = follow_after_feel(after_feel_study(flat))
    assert after_feel_headline(found).endswith("That does not show they change alike.")
    (told,) = after_feel_sentences(found, NAMES)
    assert "no difference in the change is shown" in told
    assert told.endswith("No difference from P1 stands out at any time.")


def test_higher_is_told_as_higher():
    scores = after_feel_scores(np.random.default_rng(6))
    turned = scores.assign(score=100 - scores["score"])
    (told,) = after_feel_sentences(follow_after_feel(after_feel_study(turned)), NAMES)
    assert "P3 higher at" in told


def test_without_a_benchmark_nothing_is_said_of_one():
    tables = dict(STUDY.tables) | {
        "prototypes": pd.DataFrame({"prototype": ["P1", "P2", "P3"], "role": "", "name": ""})
    }
    (told,) = after_feel_sentences(follow_after_feel(Study(tables)), NAMES)
    assert "P1" not in told


def test_courses():
    found = reduce_courses(STUDY)
    (told,) = course_sentences(found, NAMES)
    assert told.startswith("STICK: 24 courses of 6 people;")
    assert f"{found.courses['largest'].mean():.1f} on average, reached after 20.0 s" in told
    assert course_heads(found, NAMES) == ["STICK"]
    assert courses_headline(found, NAMES) == (
        "The courses of the prototypes differ in 6 of 7 quantities; not told apart in “STICK, duration (s)”."
    )
    words = course_names(found, NAMES)
    assert words.attribute("STICK: rate_up") == "STICK, rate of increase (per s)"


@pytest.mark.parametrize(
    ("p_values", "words"),
    [
        (0.9, "In no quantity can the courses be told apart. That does not show that they are alike."),
        (0.001, "The courses of the prototypes differ in every quantity."),
    ],
)
def test_courses_that_differ_in_everything_or_nothing(p_values, words):
    found = reduce_courses(STUDY)
    tests = found.differences.attributes.assign(p_adjusted=p_values)
    assert courses_headline(replace(found, differences=replace(found.differences, attributes=tests)), NAMES) == words
    assert courses_headline(replace(found, differences=None), NAMES) == ""


def test_dominance():
    found = follow_dominance(STUDY)
    first, second = dominance_sentences(found, NAMES)
    assert first.startswith("P1: dominant beyond chance are wet from 0 to ")
    assert "greasy from 56 to 100 % of the time" in first
    assert "(16 evaluations; beyond chance from 50 %)." in first
    assert "dry from" in second
    assert dominance_heads(found, NAMES) == ["P1", "P2"]
    told = dominance_difference_sentences(found, NAMES)
    assert any(line.startswith("dry is dominant more often in P2 than in P1") for line in told)
    assert any(line.startswith("wet is dominant less often in P2 than in P1") for line in told)
    assert all("at that moment alone" in line for line in told)


@pytest.mark.parametrize(
    ("sequences", "words"),
    [
        ({"P1": ["ab"] * 2}, "P1: 2 evaluations are too few to rise above chance."),
        ({"P1": ["aaaa", "bbbb", "cccc", "dddd"] * 3}, "P1: nothing is dominant beyond chance (12 evaluations;"),
    ],
)
def test_nothing_dominant(sequences, words):
    found = follow_dominance(Study({"dominances": dominance_rows(sequences)}))
    assert dominance_sentences(found, NAMES)[0].startswith(words)
    assert dominance_difference_sentences(found, NAMES) == []


def test_no_difference_of_dominance():
    found = follow_dominance(Study({"dominances": dominance_rows({"P1": ["aabb"] * 6, "P2": ["aabb"] * 6})}))
    assert dominance_difference_sentences(found, NAMES) == ["At no moment is a difference of dominance seen."]


def test_what_cannot_be_shown_is_said():
    assert any("nothing is known" in line for line in what_after_feel_cannot_show())
    assert any("course of nobody" in line for line in what_courses_cannot_show())
    assert any("tested alone" in line for line in what_dominance_cannot_show())
