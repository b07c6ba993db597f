"""What is in a study, counted; what is not there is not named."""

import numpy as np
import pandas as pd

from panel.checks.finding import Finding
from panel.study.scores_used import with_correction
from panel.study.study import Study
from panel.views.planning.study import what_is_in_the_study, what_the_findings_say
from tests.studies import small_study


def test_the_counts_are_those_of_the_tables():
    study = small_study()
    assert what_is_in_the_study(study) == "4 prototypes, 3 attributes, 4 assessors, 2 sessions and 96 scores."


def test_blanks_are_no_scores_and_consumers_stand_apart():
    scores = small_study().scores
    blank = scores.assign(score=scores["score"].mask(scores.index == 5, np.nan))
    answers = pd.DataFrame({"assessor": ["C1", "C1", "C2"], "prototype": "P1", "question": "q", "answer": "7"})
    said = what_is_in_the_study(small_study(scores=blank, answers=answers))
    assert "95 scores." in said
    place = {"assessor": "A01", "session": "1", "prototype": "P1", "attribute": "AF_GREASE"}
    aside = with_correction(small_study(scores=blank), place, new="", who="EK", why="spilt", when="2026-03-10")
    assert "95 scores (1 of them set aside)." in what_is_in_the_study(aside)
    assert "2 consumers gave 3 answers; they are kept apart from the scores." in said


def test_a_study_just_begun_says_what_to_do():
    prototypes = pd.DataFrame({"prototype": ["P1"]})
    assert what_is_in_the_study(Study({"prototypes": prototypes})) == (
        "1 prototype. There are no scores yet: import a table of scores."
    )


def finding(severity: str) -> Finding:
    return Finding(severity, "kind", "where", "message", "advice")


def test_findings_are_counted_by_what_they_mean():
    assert what_the_findings_say([]) == "Nothing was found that could mislead the results."
    assert what_the_findings_say([finding("note")]) == "1 thing is good to know."
    assert what_the_findings_say([finding("stop"), finding("warning"), finding("warning"), finding("note")]) == (
        "1 problem must be settled before the results mean anything, 2 warnings may mislead the results and 1 thing "
        "is good to know."
    )
