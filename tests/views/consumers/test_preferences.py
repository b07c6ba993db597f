"""Sentences about preferences: counts, ways of counting, order, and the paradox."""

from scipy.stats import binom, binomtest

from panel.models.consumers.choices import count_preferences
from panel.study.naming import Naming
from panel.views.consumers.choices import _preference_headline, tell_preferences
from tests.choice_studies import choice_study, named_rows, votes


def counted(mine, other, undecided=0, **columns):
    return count_preferences(choice_study(named_rows("preference", votes(mine, other, undecided), **columns)))


def told_of(result):
    """Return what is to be minded, then every other line."""
    told = tell_preferences(result, Naming())
    return [*told.mind, *told.drawers[0].items]


def lines(*count, **columns):
    return told_of(counted(*count, **columns))


def test_the_counts_come_first_with_their_base():
    told = lines(32, 20, 8)
    assert told[0] == (
        "preference: of 60 answers by 60 people 32 preferred P4, 20 preferred P1, 8 had no preference. Of the 52 who "
        "chose, 33 are needed for a preference named beforehand, 34 for one either way."
    )
    assert "Neither a preference, nor unsurpassed, nor parity is shown in any way of counting." not in told
    assert any(
        "P4 is preferred by more than 45 %, so not surpassed by the other by more than the margin" in line
        for line in told
    )


def test_a_preference_in_every_way_of_counting():
    result = counted(70, 20, 10)
    assert _preference_headline(result) == "P4 is preferred to P1, however votes for no preference are counted."
    assert any(
        line.startswith("P4 is preferred by more than half, however votes for no preference are counted")
        for line in lines(70, 20, 10)
    )
    turned = counted(20, 70, 10)
    assert _preference_headline(turned).startswith("P1 is preferred to P4")


def test_a_preference_that_depends_on_the_way_of_counting():
    result = counted(60, 38, 22)
    assert _preference_headline(result) == (
        "P4 and P1: a preference is shown in some ways of counting votes for no preference, not in all."
    )
    told = [line for line in lines(60, 38, 22) if "more than half" in line]
    assert told == [
        "P4 is preferred by more than half, only with votes for no preference left out (p = 0.033 at the most)."
    ]


def test_whichever_comes_out_ahead_is_named_in_no_more_than_5_per_cent_of_coin_tosses():
    for n in (20, 47, 100):
        named = [mine for mine in range(n + 1) if "is preferred to" in _preference_headline(counted(mine, n - mine))]
        assert binom.pmf(named, n, 0.5).sum() <= 0.05
        assert binomtest(max(set(range(n + 1)) - set(named)), n).pvalue > 0.05  # and in no fewer than there may be


def test_a_preference_that_counts_only_for_one_named_beforehand_says_so():
    result = counted(33, 19)  # one-sided p = 0.035, two-sided 0.070 (scipy's binomtest)
    assert _preference_headline(result) == "P4 would be preferred to P1 had it been named beforehand, not else."
    assert any("more than half, had it been named beforehand" in line for line in told_of(result))


def test_nothing_shown():
    assert _preference_headline(counted(10, 11)) == (
        "No preference between P4 and P1 is shown, however the undecided are counted."
    )
    assert "Neither a preference, nor unsurpassed, nor parity is shown in any way of counting." in lines(10, 11)
    assert any("not parity" in line for line in tell_preferences(counted(10, 11), Naming()).cannot)
    assert any("name the base" in line for line in tell_preferences(counted(10, 11, 1), Naming()).cannot)


def test_parity_and_the_paradox():
    alike = counted(500, 500)
    assert _preference_headline(alike) == "P4 and P1 are preferred alike, however votes for no preference are counted."
    told = lines(587, 531)
    assert any("Report both; neither may be picked alone." in line for line in told)
    assert not any("Report both" in line for line in lines(500, 500))


def test_where_everybody_is_undecided_no_number_is_needed():
    told = lines(0, 0, 5)
    assert told[0].endswith("0 preferred P4, 0 preferred P1, 5 had no preference.")


def test_the_order():
    assert any("is not known for both orders" in line for line in lines(10, 9))
    assert any("No effect of the order is seen: 20 of 40" in line for line in lines(20, 20, position=[1.0, 2.0] * 20))
    first = [1.0] * 18 + [2.0] * 2 + [2.0] * 17 + [1.0] * 3
    told = [line for line in lines(20, 20, position=first) if "order" in line]
    assert told[0].startswith("The order matters: 35 of 40 chose what they tried first (88 %), p < 0.001.")


def test_repeated_answers():
    parts = [named_rows("preference", votes(mine, 20 - mine), replicate=str(mine)) for mine in (13, 15)]
    result = count_preferences(choice_study(*parts))
    assert "people answered more than once" in _preference_headline(result)
    told = told_of(result)
    assert any("Allowing for each person's leaning, p = " in line for line in told)
    alike = count_preferences(choice_study(*[named_rows("preference", votes(9, 0), replicate=turn) for turn in "12"]))
    assert any("nothing can be tested beside their leanings" in s for s in told_of(alike))


def test_the_picture_shows_those_who_chose_beside_half_and_what_is_needed():
    axes = tell_preferences(counted(32, 20, 8), Naming()).picture.figure().axes[0]
    strokes = [
        float(line.get_xdata()[0]) for line in axes.lines if len(set(line.get_xdata())) == 1 < len(line.get_xdata())
    ]
    assert {0.5, 33 / 52} <= set(strokes)
    dots = [float(line.get_xdata()[0]) for line in axes.lines if line.get_marker() == "o"]
    assert dots == [32 / 52]
    assert [label.get_text() for label in axes.get_yticklabels()] == ["P4 rather than P1"]


def test_nobody_who_chose_leaves_no_picture_but_words():
    told = tell_preferences(counted(0, 0, 8), Naming())
    assert told.picture is None
    assert told.headline


def test_a_preference_in_one_order_says_nothing():
    result = counted(45, 25, position=1.0)
    said = "verybody tried P4 first, so a preference cannot be told from the order."
    assert _preference_headline(result) == f"P4 and P1: e{said}"
    told = tell_preferences(result, Naming())
    assert told.mind[1:] == (f"E{said} Let one half of the people try the other one first.",)
    assert any("no verdict is given" in note for note in result.notes)
