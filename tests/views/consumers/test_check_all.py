"""Words, tables and pictures of check-all terms."""

import re
from dataclasses import replace

import numpy as np
import pytest

from data_demo.make_demo import make_study
from panel.models.consumers.check_all import count_check_all
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.consumers.check_all import (
    _COMPONENTS,
    _LIFT,
    _TERM_COUNTS,
    _TERM_PAIRS,
    _TERM_TESTS,
    _headline,
    _lift_figure,
    _lift_lines,
    _map_figure,
    _map_words,
    _term_lines,
    tell_check_all,
)
from tests.consumer_answers import study_of, ticked
from tests.stats.answers.test_cochran import CONOVER
from tests.views.every_picture import demo_answers


@pytest.fixture(scope="module")
def found():
    return count_check_all(make_study()[0])


@pytest.fixture(scope="module")
def one():
    """One term, three prototypes, no liking: no map, an exact test."""
    return count_check_all(study_of(ticked(CONOVER)))


def with_apart(result, values):
    return replace(result, terms=result.terms.assign(differs=values))


def test_the_headline_counts_and_names(found, one):
    assert _headline(found) == "All 16 terms but white marks tell the prototypes apart."
    assert _headline(with_apart(found, True)) == "The prototypes are told apart by all 16 terms."
    assert _headline(with_apart(found, [True] * 4 + [False] * 12)) == "4 of 16 terms tell the prototypes apart."
    assert _headline(with_apart(found, [True] + [False] * 15)) == "1 of 16 terms tells the prototypes apart."
    (term,) = one.terms["term"]
    assert _headline(with_apart(one, True)) == f"The prototypes are told apart by {term}."
    assert "Holm over the term." in one.method
    assert "No term is ticked more" in _headline(one)


def test_where_nobody_judged_all_the_headline_rests_on_the_pairs(found):
    nobody = replace(found, terms=found.terms.assign(n_consumers=0, differs=False, p_value=np.nan))
    first = replace(nobody, pairs=found.pairs.iloc[:1].assign(differs=True))
    assert _headline(first).startswith("No term could be tested over all prototypes at once; pair by pair ")
    assert _headline(first).endswith("(P2 and P1) stands out.")
    none = replace(nobody, pairs=found.pairs.assign(differs=False))
    assert _headline(none).endswith("pair by pair nothing stands out.")


def test_a_pair_that_differs_is_not_hidden_by_a_headline_that_says_none(found):
    none = with_apart(found, False)
    assert _headline(replace(none, pairs=found.pairs.assign(differs=False))).startswith("No term is ticked more")
    told = _headline(replace(none, pairs=found.pairs.iloc[:1].assign(differs=True)))
    assert told.startswith("Over all prototypes at once no term tells them apart")
    assert told.endswith("pair by pair light (P2 and P1) stands out.")


def test_what_differs_is_decided_by_the_adjusted_p_value(found):
    assert (found.terms["differs"] == (found.terms["p_adjusted"] < 0.05)).all()
    assert (found.pairs["differs"] == (found.pairs["p_adjusted"] < 0.05)).all()
    assert (found.lift["shown"] == (found.lift["p_adjusted"] < 0.05)).all()
    assert (found.lift["within_shown"] == (found.lift["within_p_adjusted"] < 0.05)).all()


def test_a_line_tells_most_least_and_the_test(found, one):
    lines = _term_lines(found)
    assert len(lines) == 16
    assert lines[0].startswith("light: ticked most for P2, 35 of 58 (60.3 %); least for P5, 1 of 58 (1.7 %). Q ")
    assert lines[-1].startswith("white marks: no difference shown (Q 7.3, p after Holm = 0.400); ticked 48 of 468")
    assert "(Q 2.8, exact p after Holm = " in _term_lines(one)[0]


def test_rare_and_untested_terms_are_told(one):
    rare = replace(one, terms=one.terms.assign(rare=True))
    assert _term_lines(rare)[0].endswith("Rarely ticked, so it tells little.")
    nothing = count_check_all(study_of(ticked(np.zeros((4, 3)))))
    assert "every consumer ticked it everywhere or nowhere" in _term_lines(nothing)[0]
    untested = replace(one, terms=one.terms.assign(p_value=np.nan, p_adjusted=np.nan))
    assert "(not tested)" in _term_lines(untested)[0]


def test_terms_that_go_with_liking_come_first(found, one):
    lines = _lift_lines(found)
    assert lines[0].startswith(
        "greasy: where it is ticked liking is 0.9 lower (99.69 % interval 0.3 to 1.4, p after Holm < 0.001; "
        "60 consumers)."
    )
    assert lines[0].endswith("Within consumers the same holds (−0.8).")
    assert [line.split(":")[0] for line in lines[:4]] == ["greasy", "soaks in fast", "rich", "dry touch"]
    assert lines[-1].startswith("For the other 12 terms no difference in liking is shown")
    few = replace(found, lift=found.lift.assign(few=found.lift["term"] == "light"))
    assert _lift_lines(few)[-1].endswith("hardly anything to go by: light.")


def test_what_goes_with_liking_is_no_cause(found, one):
    (line,) = tell_check_all(found, Naming()).mind
    assert line == (
        "Liked better where these are ticked: soaks in fast and dry touch; liked less where these are ticked: greasy "
        "and rich. Between answers of the same consumer that is not shown for rich and dry touch. What makes the "
        "liking these answers do not show."
    )
    across = replace(found, lift=found.lift.assign(within_shown=found.lift["term"] != "rich"))
    assert (
        "Between answers of the same consumer that is not shown for rich." in tell_check_all(across, Naming()).mind[0]
    )
    inside = replace(found, lift=found.lift.assign(shown=False, within_shown=found.lift["term"] == "rich"))
    only = "Between answers of the same consumer liking differs with rich; over all answers together that is not shown."
    assert tell_check_all(inside, Naming()).mind == (only,)
    assert _lift_lines(inside)[0] == only
    nothing = replace(found, lift=found.lift.assign(shown=False, within_shown=False))
    assert tell_check_all(nothing, Naming()).mind[0].startswith("For none of the terms is a difference in liking")
    assert tell_check_all(one, Naming()).mind == ()
    assert "Without a liking question" in " ".join(one.notes)


def test_the_map_is_explained_or_missing(found, one):
    assert _map_words(found)[0].startswith("The map shows 88 % of what sets the prototypes apart")
    assert "no map" in _map_words(one)[0]
    assert tell_check_all(one, Naming()).picture is None
    assert "not how strong" in tell_check_all(found, Naming()).cannot[0]


def test_tables_hold_every_row(found, one):
    counts = shown(_TERM_COUNTS, found, Naming())
    assert counts.shape == (16, 9)
    assert counts.loc[0, "P5"] == "1 of 58 (1.7 %)"
    tests = shown(_TERM_TESTS, found, Naming())
    assert len(tests) == 16
    assert set(tests["Way"]) == {"chi-square"}
    assert shown(_TERM_TESTS, one, Naming())["Way"].tolist() == ["exact"]
    pairs = shown(_TERM_PAIRS, found, Naming())
    assert len(pairs) == 16 * 28
    assert pairs.loc[0, "Difference in points of per cent"] == "+24.1"
    lift = shown(_LIFT, found, Naming())
    assert lift.set_index("Term").loc["greasy", ["Liking, ticked minus not", "Interval that decides"]].tolist() == [
        "−0.9",
        "−1.4 to −0.3 (99.69 %)",
    ]
    assert len(lift) == 16
    assert shown(_COMPONENTS, found, Naming())["Share"].tolist()[:2] == ["74.6 %", "13.0 %"]


def test_the_map_draws_terms_and_prototypes_with_marks_of_their_own(found):
    axes = _map_figure(found.map, demo_answers().names).axes[0]
    words = {text.get_text() for text in axes.texts}
    assert words == {*found.terms["term"], *(f"P{number}" for number in range(1, 9))}
    marks = [(line.get_marker(), str(line.get_gid())) for line in axes.lines]
    assert [marker for marker, _ in marks].count(".") == 16
    assert [name for _, name in marks if name.startswith("prototype ")] == [f"prototype P{n}" for n in range(1, 9)]
    shares = found.map["components"]["share"]
    assert axes.get_xlabel() == f"Component 1 ({100 * shares.iloc[0]:.0f} % of the differences)"
    assert axes.get_ylabel() == f"Component 2 ({100 * shares.iloc[1]:.0f} %)"
    picture = tell_check_all(found, Naming()).picture
    assert picture.alt in re.sub(r"\s+", " ", picture.svg)


def test_two_prototypes_give_a_map_on_one_line():
    rows = ticked(CONOVER[:, :2], "a") + ticked(CONOVER[:, 1:], "b")
    axes = _map_figure(count_check_all(study_of(rows)).map, Naming()).axes[0]
    assert axes.get_ylabel() == ""


def test_the_picture_of_liking_goes_from_welcome_to_unwelcome(found, one):
    axes = _lift_figure(found).axes[0]
    words = [label.get_text() for label in axes.get_yticklabels()]
    assert words[0] == "soaks in fast"
    assert words[-1] == "greasy"
    titles = [[each.title for each in tell_check_all(result, Naming()).every_drawer()] for result in (found, one)]
    assert ["Terms and liking" in each for each in titles] == [True, False]
