"""Sentences about forced choices: each says what the numbers say, also where nothing is shown."""

import pytest
from scipy.stats import binom, fisher_exact

from panel.models.consumers.forced_choice import judge_count, judge_forced_choices
from panel.study.naming import Naming, naming
from panel.views.consumers.choices import (
    choice_alt_text,
    choice_headline,
    choice_heads,
    how_much_it_could_see,
    repeated_words,
    what_choices_cannot_show,
    what_the_choices_show,
)
from tests.choice_studies import choice_study, named_rows, right_rows

NAMES = Naming()


def test_the_p_values_quoted_below_are_those_of_scipy():
    assert round(binom.cdf(14, 36, 1 / 3 + 2 / 3 * 0.3), 3) == 0.058
    assert round(binom.cdf(13, 36, 1 / 3 + 2 / 3 * 0.3), 3) == 0.028
    assert round(binom.sf(18, 36, 1 / 3), 3) == 0.012
    assert round(fisher_exact([[10, 4], [8, 14]]).pvalue, 3) == 0.086


def line(*count, **how):
    (told,) = what_the_choices_show(judge_count(*count, **how), NAMES)
    return told


def test_a_difference():
    told = line("triangle", 19, 36)
    assert told.startswith(
        "count: triangle test of one sample and the other, 19 of 36 right (p = 0.012, at least 18 needed"
    )
    assert "people can tell them apart." in told
    assert "d-prime is 1.61 (95 % interval 0.49 to 2.48); 29 % of people can tell (3 to 55 %)." in told
    assert choice_headline(judge_count("triangle", 19, 36)) == "one sample and the other: people can tell them apart."


def test_neither_shown():
    told = line("triangle", 14, 36, similar_below=0.3)
    assert "no answer: neither a difference nor similarity is shown" in told
    assert "That fewer than 30 % can tell is not shown (p = 0.058, at most 13 right would show it)." in told


def test_similarity_shown():
    told = line("triangle", 13, 36, similar_below=0.3)
    assert "similar: fewer people than the share that matters can tell them apart" in told
    assert "That fewer than 30 % can tell is shown (p = 0.028, at most 13 right would show it)." in told


def test_too_few_answers_whatever_they_are():
    assert "so few answers could not show a difference whatever they are" in line("triangle", 2, 2)
    assert how_much_it_could_see(judge_count("triangle", 2, 2)) == [
        "count: 2 answers are too few to show any difference."
    ]


def test_what_so_many_answers_could_see_and_how_many_are_needed():
    (told,) = how_much_it_could_see(judge_count("triangle", 14, 36, similar_below=0.3))
    assert "36 answers show a difference with a chance of 80 % if 34 % of people can tell" in told
    assert (
        "If 30 % can tell, the chance to show it is 71 %; if nobody can, the chance to show similarity is 70 %." in told
    )
    # from the exact binomial: never below 0.8 from 42 answers on
    assert "ask 42 people to show the difference" in told
    small = judge_count("triangle", 14, 36, similar_below=0.001)
    assert "For a chance" not in how_much_it_could_see(small)[0]


def test_a_paired_comparison_names_what_was_chosen():
    result = judge_forced_choices(choice_study(named_rows("paired", ["P4"] * 20 + ["P1"] * 4)))
    (told,) = what_the_choices_show(result, NAMES)
    assert "paired comparison of P4 and P1, 20 of 24 chose P4" in told
    assert any("one quality only" in text for text in what_choices_cannot_show(result))
    assert not any("one quality only" in text for text in what_choices_cannot_show(judge_count("tetrad", 5, 9)))


def test_several_tests_and_sessions():
    study = choice_study(
        right_rows("triangle", 10, 18),
        right_rows("triangle", 4, 18, session="2", start=18),
        right_rows("tetrad", 30, 36),
    )
    result = judge_forced_choices(study)
    assert choice_headline(result) == "Of 2 tests, 1 shows a difference and 0 similarity."
    assert choice_heads(result) == ["triangle", "tetrad"]
    first, _ = what_the_choices_show(result, naming(study))
    assert "The 2 sessions show no different shares (p = 0.086)." in first
    assert choice_alt_text(result).count("needed") == 3
    apart = choice_study(right_rows("triangle", 16, 18), right_rows("triangle", 2, 18, session="2", start=18))
    (told,) = what_the_choices_show(judge_forced_choices(apart), NAMES)
    assert "show different shares; look at each" in told


def test_a_limit_set_afterwards_is_said_to_decide_nothing():
    result = judge_forced_choices(choice_study(right_rows("triangle", 8, 36)), similar_below=0.3)
    (told,) = what_the_choices_show(result, NAMES)
    assert "that share was not set beforehand, so this decides nothing" in told


def test_looks_are_named():
    plan = [{"answers": 18, "right": 12}, {"answers": 36, "right": 20}]
    study = choice_study(
        right_rows("triangle", 9, 18),
        right_rows("triangle", 11, 18, session="2", start=18),
        questions=[{"question": "triangle", "looks": plan}],
    )
    (told,) = what_the_choices_show(judge_forced_choices(study), NAMES)
    assert "at look 2 of those planned" in told


@pytest.mark.parametrize(
    ("counts", "words"), [([2, 2, 0, 0, 1, 2], "correlate by"), ([2] * 6, "each person counts once")]
)
def test_repeated_answers(counts, words):
    parts = [
        right_rows("triangle", 1, 1, start=person, answer="1" if turn < count else "0", replicate=str(turn))
        for person, count in enumerate(counts)
        for turn in range(2)
    ]
    result = judge_forced_choices(choice_study(*parts))
    (told,) = repeated_words(result)
    assert words in told
    assert "by 6 people" in what_the_choices_show(result, NAMES)[0]
    assert "plan with people" in how_much_it_could_see(result)[0]
    assert repeated_words(judge_count("triangle", 1, 3)) == []
