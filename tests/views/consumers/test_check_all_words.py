"""Words, tables and pictures of check-all terms."""

from dataclasses import replace

import numpy as np
import pytest

from data_demo.make_demo import make_study
from panel.errors import ModelError
from panel.models.consumers.check_all import count_check_all
from panel.views.consumers.check_all import (
    check_all_headline,
    lift_figure,
    lift_svg,
    lift_table,
    term_components_table,
    term_counts_table,
    term_map_figure,
    term_map_svg,
    term_map_words,
    term_pairs_table,
    term_tests_table,
    what_check_all_cannot_show,
    what_goes_with_liking,
    what_the_terms_show,
)
from tests.consumer_answers import study_of, ticked
from tests.stats.answers.test_cochran import CONOVER


@pytest.fixture(scope="module")
def found():
    return count_check_all(make_study()[0])


@pytest.fixture(scope="module")
def one():
    """One term, three prototypes, no liking: no map, an exact test."""
    return count_check_all(study_of(ticked(CONOVER)))


def with_p(result, values):
    return replace(result, terms=result.terms.assign(p_adjusted=values))


def test_the_headline_counts_and_names(found, one):
    assert check_all_headline(found) == "15 of 16 terms tell the prototypes apart; not white marks."
    assert check_all_headline(with_p(found, 0.001)) == "The prototypes are told apart by all 16 terms."
    assert check_all_headline(with_p(one, 0.001)) == "The prototypes are told apart by the term."
    assert "No term is ticked more" in check_all_headline(one)


def test_a_line_tells_most_least_and_the_test(found, one):
    lines = what_the_terms_show(found)
    assert len(lines) == 16
    assert lines[0].startswith("light: ticked most for P2, 35 of 58 (60.3 %); least for P5, 1 of 58 (1.7 %). Q ")
    assert lines[-1].startswith("white marks: no difference shown (Q 7.3, p = 0.400 after Holm); ticked 48 of 468")
    assert "(Q 2.8, exact p = " in what_the_terms_show(one)[0]


def test_rare_and_untested_terms_are_told(one):
    rare = replace(one, terms=one.terms.assign(rare=True))
    assert what_the_terms_show(rare)[0].endswith("Rarely ticked, so it tells little.")
    nothing = count_check_all(study_of(ticked(np.zeros((4, 3)))))
    assert "every consumer ticked it everywhere or nowhere" in what_the_terms_show(nothing)[0]
    untested = replace(one, terms=one.terms.assign(p_value=np.nan, p_adjusted=np.nan))
    assert "(not tested)" in what_the_terms_show(untested)[0]


def test_terms_that_go_with_liking_come_first(found, one):
    lines = what_goes_with_liking(found)
    assert lines[0].startswith("greasy: where it is ticked liking is 0.9 lower (95 % interval 0.5 to 1.2, p < 0.001")
    assert "Within consumers the same holds (−0.8)" in lines[0]
    assert lines[-1].startswith("No difference in liking is shown for")
    few = replace(found, lift=found.lift.assign(few=found.lift["term"] == "light"))
    assert what_goes_with_liking(few)[-1].endswith("hardly anything to go by: light.")
    assert "Without a liking question" in what_goes_with_liking(one)[0]


def test_the_map_is_explained_or_missing(found, one):
    assert term_map_words(found)[0].startswith("The map shows 87 % of what sets the prototypes apart")
    assert "no map" in term_map_words(one)[0]
    assert "not how strong" in what_check_all_cannot_show(found)[0]


def test_tables_hold_every_row(found, one):
    counts = term_counts_table(found)
    assert counts.shape == (16, 9)
    assert counts.loc[0, "P5"] == "1 of 58 (1.7 %)"
    assert len(term_tests_table(found)) == 16
    assert set(term_tests_table(found)["Way"]) == {"chi-square"}
    assert term_tests_table(one)["Way"].tolist() == ["exact"]
    assert len(term_pairs_table(found)) == 16 * 28
    assert term_pairs_table(found).loc[0, "Difference in points of per cent"] == "+24.1"
    assert len(lift_table(found)) == 16
    assert term_components_table(found)["Share"].tolist()[:2] == ["74.6 %", "13.0 %"]
    assert term_components_table(one).empty


def test_the_map_draws_terms_and_prototypes_with_marks_of_their_own(found, one):
    axes = term_map_figure(found).axes[0]
    words = {text.get_text() for text in axes.texts}
    assert words == {*found.terms["term"], *(f"P{number}" for number in range(1, 9))}
    marks = [line.get_marker() for line in axes.lines if line.get_marker() in ("o", "s")]
    assert (marks.count("o"), marks.count("s")) == (16, 8)
    assert "greasy" in term_map_svg(found, text_as_paths=False)
    with pytest.raises(ModelError, match="no map of the terms"):
        term_map_figure(one)


def test_two_prototypes_give_a_map_on_one_line():
    rows = ticked(CONOVER[:, :2], "a") + ticked(CONOVER[:, 1:], "b")
    axes = term_map_figure(count_check_all(study_of(rows))).axes[0]
    assert axes.get_ylabel() == ""


def test_the_picture_of_liking_goes_from_welcome_to_unwelcome(found, one):
    axes = lift_figure(found).axes[0]
    words = [label.get_text() for label in axes.get_yticklabels()]
    assert words[0] == "soaks in fast"
    assert words[-1] == "greasy"
    assert "soaks in fast" in lift_svg(found, text_as_paths=False)
    with pytest.raises(ModelError, match="no liking beside the terms"):
        lift_figure(one)
