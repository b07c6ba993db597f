"""Words, pictures and tables of liking: no winner where there is none, best first, what each method loses."""

from dataclasses import replace

import numpy as np
import pytest

from panel.models.consumers.liking import weigh_liking
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.consumers.liking import (
    _LIKING_MEANS,
    _LIKING_PAIRS,
    _LIKING_TESTS,
    _LIKING_TOP,
    _VERSUS,
    _against_benchmark,
    _distribution,
    _distribution_figure,
    _headline,
    _means_figure,
    _tests,
    tell_liking,
)
from tests.consumer_studies import answers_study, one_group_panel
from tests.views.consumer_results import demo, demo_liking

NAMES = Naming(prototypes={"P1": "previous formula"})


def drawn(means, seed=1, scatter=1.0, **more):
    rng = np.random.default_rng(seed)
    value = np.array(means) + rng.normal(0, 1, (50, 1)) + rng.normal(0, scatter, (50, len(means)))
    return weigh_liking(answers_study(np.clip(np.rint(value), 1, 9), **more))


def lines_of(result, title=""):
    """Return the sentences of a drawer; those to mind without a title."""
    told = tell_liking(result, NAMES)
    if not title:
        return list(told.mind)
    return [item for each in told.drawers if each.title == title for item in each.items if isinstance(item, str)]


def test_the_demo_has_no_single_winner():
    said = _headline(demo_liking(), demo()[1])
    assert said.startswith("There is no single winner: P4, P8, P2")
    assert "P1 and P5 are liked less than P4" in said


def test_a_clear_winner_is_named():
    assert _headline(drawn([4, 4, 7]), NAMES).startswith("P3 is liked best, ")
    assert _headline(drawn([4, 4, 7]), NAMES).endswith(" and better than each of the other 2 tried.")
    assert _headline(drawn([4, 7]), NAMES).endswith(" and better than P1.")


def test_where_nothing_differs_there_is_no_winner():
    result = drawn([6, 6, 6], seed=4)
    assert result.p_value > 0.05
    assert not result.differs
    said = _headline(result, NAMES)
    assert said.startswith("The prototypes cannot be separated by liking: no winner.")
    assert "liked best" not in said
    assert _tests(result).startswith(f"No difference in liking is shown (p = {result.p_value:.3f} by the mixed model)")


def test_against_the_benchmark():
    result = drawn([5, 7, 3, 5.1], benchmark="P1")
    (said,) = _against_benchmark(result, NAMES)
    assert said.startswith("Against P1 (previous formula), liked better: P2 by ")
    assert "liked less: P3 by " in said
    assert "−" not in said  # "less by 2.0 (1.6 to 2.4)": sizes, in the order small to large
    assert "P4" not in said
    low, high = sorted(abs(result.versus.set_index("prototype").loc["P3", ["ci_low", "ci_high"]]))
    assert f"({low:.1f} to {high:.1f})" in said
    none = drawn([6, 6, 6], seed=4, benchmark="P1")
    assert _against_benchmark(none, NAMES) == [
        "Against P1 (previous formula), no other prototype can be separated from it."
    ]
    assert "No benchmark was tried" in lines_of(drawn([5, 7]), "Differences, pair by pair")[0]


def test_the_demos_sentences_hold_its_numbers():
    uses = lines_of(demo_liking(), "Tests, and what each of them uses")
    assert uses[0].startswith("The prototypes are not all liked the same (p < 0.001 by the mixed model); Friedman's")
    assert uses[0].endswith(" agrees.")
    assert "can use 57 consumers only; the mixed model also uses the 12 answers of the other 3." in uses[1]
    assert (
        "most often P2 from 30 of 58 consumers (52 %, 39 to 65 %)"
        in lines_of(demo_liking(), "Means and the top of the scale")[0]
    )
    session, before = lines_of(demo_liking(), "Place in the serving")
    assert session == "No difference by session shows (p = 0.269)."
    assert before.startswith("Liking differs by the sample before (p = 0.048).")
    assert lines_of(demo_liking())[1].startswith("Liking differs by position (p = 0.025): position 1 gets +0.5 over")


def test_straight_liners_are_named_and_stay():
    table = one_group_panel(np.random.default_rng(2), "even", 20, 4)
    table[[2, 5]] = 6
    (line,) = lines_of(weigh_liking(answers_study(table)), "Consumers with one answer for everything")
    assert line.startswith("2 consumers gave every prototype the same answer (C0003 and C0006). They stay in")


def test_a_position_effect_is_said_with_its_size():
    orders = np.array([[1, 2, 3], [2, 3, 1], [3, 1, 2]])[np.arange(30) % 3]
    rng = np.random.default_rng(3)
    table = np.clip(np.rint(5 + rng.normal(0, 1, (30, 1)) + rng.normal(0, 0.8, (30, 3)) + 2 * (orders == 1)), 1, 9)
    result = weigh_liking(answers_study(table, position=orders.astype(float).ravel()))
    line = next(line for line in lines_of(result) if line.startswith("Liking differs by position"))
    assert "position 1 gets +" in line
    assert "the answer about the prototypes stays the same" in line


@pytest.mark.parametrize("words", ["'Cannot be separated' is not 'liked equally'", "A mean can hide opposite tastes"])
def test_what_it_cannot_show(words):
    assert any(words in line for line in tell_liking(demo_liking(), NAMES).cannot)


def test_methods_that_disagree_are_said_to_and_come_first():
    result = demo_liking()
    friedman = result.tests["test"] == "Friedman"
    changed = replace(
        result,
        tests=result.tests.assign(
            p_value=np.where(friedman, 0.4, result.tests["p_value"]), differs=result.tests["differs"] & ~friedman
        ),
    )
    line = lines_of(changed)[-1]
    assert line.endswith("but Friedman's test of the ranks (p = 0.400) does not agree.")
    assert line not in lines_of(changed, "Tests, and what each of them uses")


# Pictures: every part carries its number, the letters stand beside the means.


def written(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def test_each_part_carries_its_point_so_that_colour_is_not_the_only_sign():
    result = demo_liking()
    figure = _distribution_figure(result, demo()[1])
    bars = figure.axes[0].patches
    assert len(bars) == 8 * 9
    for place in range(8):
        assert sum(bar.get_width() for bar in bars[place::8]) == pytest.approx(1)
    inches = figure.get_figwidth() * figure.axes[0].get_position().width
    assert len(written(figure)) == (72 * inches * result.distribution["share"] >= 10).sum()  # ten points for a digit
    assert set(written(figure)) <= set("123456789")
    for text in figure.axes[0].texts:  # the number of a part stands within that part
        (own,) = [bar for bar in bars if bar.contains_point(figure.axes[0].transData.transform(text.get_position()))]
        assert bars[8 * (int(text.get_text()) - 1) : 8 * int(text.get_text())].count(own) == 1


def test_means_with_letters():
    figure = _means_figure(demo_liking(), demo()[1])
    assert [text for text in written(figure) if set(text) <= set("abc")] == ["a", "a", "a", "a", "ab", "ab", "bc", "c"]


def test_words_for_those_who_do_not_see_the_pictures():
    picture = _distribution(demo_liking(), demo()[1])
    assert "Share of 7, 8 and 9: P2 52 %" in picture.svg
    assert picture.svg == _distribution(demo_liking(), demo()[1]).svg
    assert "P4 6.3 (5.9 to 6.8)" in tell_liking(demo_liking(), demo()[1]).picture.svg


# Tables: best first, every share with its count and base.


def test_means_best_first_with_counts_and_bases():
    table = shown(_LIKING_MEANS, demo_liking(), demo()[1])
    assert table["Prototype"].iloc[0] == "P4 (swap AB)"
    assert table["Prototype"].iloc[-1] == "P5 (swap C)"
    assert table["8 or 9 (95 % interval)"].iloc[0] == "14 of 59: 24 % (14 to 36 %)"  # Wilson: 14.7 to 36.0
    assert table["Mean liking (1 to 9)"].iloc[0] == "6.32"
    top = shown(_LIKING_TOP, demo_liking(), demo()[1])
    assert set(top["Answers"]) == {"8 or 9", "7, 8 or 9"}


def test_pairs_say_cannot_be_separated():
    result = demo_liking()
    table = shown(_VERSUS, result, demo()[1])
    told = dict(zip(table["Prototype"], table["In words, Dunnett"], strict=True))
    assert told["P5"] == "cannot be separated"
    assert told["P4"] == "differs"
    held = result.versus.assign(verdict="cannot tell", because="over all prototypes together nothing is told apart")
    rest = shown(_VERSUS, replace(result, versus=held), demo()[1]).set_index("Prototype")["In words, Dunnett"]
    assert rest["P4"] == "cannot be separated: over all prototypes together nothing is told apart"
    assert rest["P5"] == "cannot be separated"
    pairs = shown(_LIKING_PAIRS, result, demo()[1])["In words, Tukey"]
    assert (pairs == "see the differences from P1").tolist() == result.pairs["with_benchmark"].tolist()
    assert (pairs == "differs").sum() == (
        ~result.pairs["with_benchmark"] & (result.pairs["verdict"] == "differs")
    ).sum()
    assert set(table["Difference (points)"].str[0]) == {"+", "−"}
    assert len(shown(_LIKING_PAIRS, result, demo()[1])) == 28


def test_tests_with_what_each_loses():
    table = shown(_LIKING_TESTS, demo_liking(), demo()[1]).set_index("Test")
    assert table.loc["Friedman", "Lost"] == "3 (12 answers)"
    assert table.loc["Friedman", "Because they"] == "did not try every prototype"
    assert table.loc["mixed model", "Lost"] == "–"
    assert table.loc["mixed model, corrected", "Degrees of freedom"].startswith("4.")
