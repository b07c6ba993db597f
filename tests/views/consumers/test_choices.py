"""Words, picture and tables of forced choices and preferences: each says what the numbers say."""

import pytest
from scipy.stats import binom, fisher_exact

from panel.models.consumers.choices import count_preferences
from panel.models.consumers.forced_choice import judge_count, judge_forced_choices
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.views.consumers.choices import (
    _SESSIONS,
    _SIMILARITY,
    CHOICES,
    PREFERENCES,
    _figure,
    _headline,
    _how_much_it_could_see,
    _repeated,
    count_in_words,
    tell_forced_choices,
)
from tests.choice_studies import choice_study, named_rows, right_rows, votes
from tests.views.examples import words_covering_words, words_outside

NAMES = Naming()


def test_the_p_values_quoted_below_are_those_of_scipy():
    assert round(binom.cdf(14, 36, 1 / 3 + 2 / 3 * 0.3), 3) == 0.058
    assert round(binom.cdf(13, 36, 1 / 3 + 2 / 3 * 0.3), 3) == 0.028
    assert round(binom.sf(18, 36, 1 / 3), 3) == 0.012
    assert round(fisher_exact([[10, 4], [8, 14]]).pvalue, 3) == 0.086


def lines_of(result, names=NAMES):
    """Return what is to be minded, then the lines of the tests."""
    told = tell_forced_choices(result, names)
    (tests,) = [each for each in told.drawers if each.title == "Test by test"]
    return [*told.mind, *(item for item in tests.items if isinstance(item, str))]


def line(*count, **how):
    return " ".join(lines_of(judge_count(*count, **how)))


def test_a_difference():
    told = line("triangle", 19, 36)
    assert told.startswith(
        "count: triangle test of one sample and the other, 19 of 36 right (p after Holm = 0.012, at least 18 needed"
    )
    assert "people can tell them apart." in told
    assert "d-prime is 1.61 (90 % interval 0.72 to 2.35); 29 % of people can tell (6 to 51 %)." in told
    assert _headline(judge_count("triangle", 19, 36)) == "one sample and the other: people can tell them apart."


def test_neither_shown():
    told = line("triangle", 14, 36, similar_below=0.3)
    assert "no answer: neither a difference nor similarity is shown" in told
    assert (
        "It is not shown that fewer than 30 % can tell them apart (p = 0.058; at most 13 right answers would show it)."
        in told
    )


def test_similarity_shown():
    told = line("triangle", 13, 36, similar_below=0.3)
    assert "similar: fewer people than the share that matters can tell them apart" in told
    assert "Fewer than 30 % can tell them apart (p = 0.028; at most 13 right answers would show it)." in told


def test_too_few_answers_whatever_they_are():
    assert "so few answers could not show a difference whatever they are" in line("triangle", 2, 2)
    assert _how_much_it_could_see(judge_count("triangle", 2, 2)) == ["count: 2 answers cannot show any difference."]


def test_what_so_many_answers_could_see_and_how_many_are_needed():
    (told,) = _how_much_it_could_see(judge_count("triangle", 14, 36, similar_below=0.3))
    assert "36 answers show a difference with a chance of 80 % if 34 % of people can tell" in told
    assert (
        "If 30 % can tell, the chance to show it is 72 %; if nobody can, the chance to show similarity is 71 %." in told
    )
    # from the exact binomial: never below 0.8 from 42 answers on
    assert "ask 42 people to show the difference" in told
    small = judge_count("triangle", 14, 36, similar_below=0.001)
    assert "For a chance" not in _how_much_it_could_see(small)[0]


def test_a_paired_comparison_names_what_was_chosen():
    result = judge_forced_choices(choice_study(named_rows("paired", ["P4"] * 20 + ["P1"] * 4)))
    (told,) = lines_of(result)
    assert "paired comparison of P4 and P1, 20 of 24 chose P4" in told
    assert any("one quality only" in text for text in tell_forced_choices(result, NAMES).cannot)
    assert not any(
        "one quality only" in text for text in tell_forced_choices(judge_count("tetrad", 5, 9), NAMES).cannot
    )


def test_a_paired_comparison_in_one_order_says_nothing():
    rows = named_rows("paired", ["P4"] * 20 + ["P1"] * 4, position=1.0)
    told = tell_forced_choices(judge_forced_choices(choice_study(rows), similar_below=0.3), NAMES)
    said = "P4 and P1: no answer: everybody tried P4 first, so a choice cannot be told from the order."
    assert told.headline == said
    assert told.mind == ("Nor can it be told from the order whether fewer than 30 % can tell them apart.",)
    assert any("try the other one first" in note for note in told.result.notes)


def test_several_tests_and_sessions():
    study = choice_study(
        right_rows("triangle", 10, 18),
        right_rows("triangle", 4, 18, session="2", start=18),
        right_rows("tetrad", 30, 36),
    )
    result = judge_forced_choices(study)
    assert _headline(result) == "Of 2 tests, 1 shows a difference and none similarity."
    first, _ = lines_of(result, naming(study))
    assert "The 2 sessions show no different shares (p = 0.086)." in first
    assert tell_forced_choices(result, NAMES).picture.alt.count("needed") == 3
    apart = choice_study(right_rows("triangle", 16, 18), right_rows("triangle", 2, 18, session="2", start=18))
    (told,) = lines_of(judge_forced_choices(apart))
    assert "show different shares; look at each" in told


def test_a_limit_set_afterwards_is_said_to_decide_nothing():
    result = judge_forced_choices(choice_study(right_rows("triangle", 8, 36)), similar_below=0.3)
    told = " ".join(lines_of(result))
    assert "that share was not set beforehand, so this decides nothing" in told


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
    (told,) = _repeated(result)
    assert words in told
    assert "by 6 people" in lines_of(result)[0]
    assert "plan with people" in _how_much_it_could_see(result)[0]
    assert _repeated(judge_count("triangle", 1, 3)) == []


SEVERAL = judge_forced_choices(
    choice_study(right_rows("triangle", 25, 36), right_rows("duo_trio", 14, 30), right_rows("tetrad", 2, 2))
)


@pytest.mark.parametrize("result", [SEVERAL, judge_count("triangle", 19, 36)], ids=["several", "one"])
def test_no_word_leaves_the_picture_or_covers_another(result):
    figure = _figure(result)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_marks_stand_at_guessing_and_at_what_is_needed():
    lines = [tuple(line.get_xdata()) for line in _figure(SEVERAL).axes[0].lines]
    assert (1 / 3, 1 / 3) in lines
    assert (18 / 36, 18 / 36) in lines
    assert (0.5, 0.5) in lines
    assert not any(end > 1.02 for ends in lines for end in ends)  # two answers could never be enough
    dots = [line for line in _figure(SEVERAL).axes[0].lines if line.get_marker() == "o"]
    assert [dot.get_markerfacecolor() == "white" for dot in dots] == [False, True, True]


def test_each_mark_crosses_the_row_it_belongs_to():
    lines = _figure(SEVERAL).axes[0].lines
    dots = [line.get_ydata()[0] for line in lines if line.get_marker() == "o"]
    upright = [line for line in lines if len(line.get_xdata()) == 2 and len(set(line.get_xdata())) == 1]
    crossing = [
        {line.get_xdata()[0] for line in upright if min(line.get_ydata()) < y < max(line.get_ydata())} for y in dots
    ]
    # 18 of 36 in a triangle test (ISO 4120), 20 of 30 in a duo-trio test (ISO 10399): their tables at 5 %
    assert crossing == [{1 / 3, 18 / 36}, {0.5, 20 / 30}, {1 / 3}]


def test_the_counts_stand_beside():
    words = {text.get_text() for text in _figure(SEVERAL).axes[0].texts}
    assert "25 of 36, 18 needed" in words
    names = {label.get_text() for label in _figure(SEVERAL).axes[0].get_yticklabels()}
    assert "triangle (triangle test)" in names


def test_one_row_per_test():
    (row,) = shown(CHOICES, judge_count("triangle", 19, 36), NAMES).to_dict("records")
    assert row["Right"] == "19 of 36"
    assert row["Needed"] == "18"
    assert row["P"] == "0.012"
    assert row["Size, interval that decides, 90 %"] == "0.72 to 2.35"
    assert row["People who can tell, interval that decides, 90 %"] == "6.9 to 50.9 %"
    assert shown(CHOICES, judge_count("triangle", 12, 12), NAMES)["Size (d-prime)"].item() == "∞"
    assert shown(CHOICES, judge_count("triangle", 2, 2), NAMES)["Needed"].item() == "–"


def test_similarity_only_where_a_share_was_set():
    assert shown(_SIMILARITY, judge_count("triangle", 13, 36), NAMES).empty
    (row,) = shown(_SIMILARITY, judge_count("triangle", 13, 36, similar_below=0.3), NAMES).to_dict("records")
    assert (row["Most that show similarity"], row["Share who may tell"], row["Set beforehand"]) == ("13", "30 %", "yes")
    assert (
        shown(_SIMILARITY, judge_count("triangle", 0, 3, similar_below=0.1), NAMES)["Most that show similarity"].item()
        == "–"
    )


def test_sessions():
    study = choice_study(right_rows("triangle", 10, 18), right_rows("triangle", 4, 18, session="", start=18))
    table = shown(_SESSIONS, judge_forced_choices(study), NAMES)
    assert table["Session"].tolist() == ["1"]  # where others name their session, an answer without one is nobody's
    assert table["Right"].tolist() == ["10 of 18"]


def test_preferences_in_three_ways_and_both_directions():
    table = shown(PREFERENCES, count_preferences(choice_study(named_rows("preference", votes(30, 17, 5)))), NAMES)
    assert table["Count"].tolist() == ["30 of 47", "32.5 of 52", "30 of 52", "17 of 47", "19.5 of 52", "17 of 52"]
    assert table["Parity"].tolist() == ["no count"] * 6
    assert table["Shown"].tolist() == ["superior, unsurpassed", "unsurpassed", "unsurpassed", "–", "–", "–"]
    large = shown(PREFERENCES, count_preferences(choice_study(named_rows("preference", votes(200, 200)))), NAMES)
    assert set(large["Parity"]) == {"197 to 203"}


def test_a_typed_count_is_told_without_a_name():
    told = count_in_words(judge_count("triangle", 18, 36, similar_below=0.125), NAMES)
    assert told[0].startswith("Triangle test of one sample and the other, 18 of 36 right")
    assert told[1].startswith("It is not shown that fewer than 12.5 % can tell them apart (p = ")
    assert told[2].startswith("36 answers show a difference with a chance of 80 %")


def test_decisions_stand_in_the_numbers():
    tests = judge_count("triangle", 13, 36, similar_below=0.3).tests.iloc[0]
    assert tests["few_shown"]
    assert not judge_count("triangle", 14, 36, similar_below=0.3).tests.iloc[0]["few_shown"]
    assert not judge_count("triangle", 14, 36).tests.iloc[0]["few_shown"]  # no limit: no number, nothing shown
    assert tests["ask_apart"] == 42  # exact binomial: never below a chance of 0.8 from 42 answers on
