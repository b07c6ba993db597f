"""Paired preference: counts that make a claim, votes for no preference, the order, and the paradox of large studies."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, binomtest, fisher_exact

from panel.errors import ModelError
from panel.models.consumers.choices import _NOT_PREFERRING, _SPLIT, LEFT_OUT, WAYS, count_preferences
from panel.models.consumers.forced_choice import judge_forced_choices
from panel.stats.answers.discrimination import fit_beta_binomial
from tests.choice_studies import choice_study, named_rows, votes

CLOSED_FORM = 1e-10


def counted(mine, other, undecided=0, questions=None, **columns):
    rows = named_rows("preference", votes(mine, other, undecided), **columns)
    return count_preferences(choice_study(rows, questions=questions))


def way(result, prototype="P4", name=LEFT_OUT):
    rows = result.ways
    return rows.loc[(rows["prototype"] == prototype) & (rows["way"] == name)].iloc[0]


# Ennis 2017 (abstract): superior above 50 %, unsurpassed above 45 %, parity inside 45 to 55 %, each at 5 %.
# Exact binomial counts, computed with R: n, unsurpassed, superior one-sided, two-sided, parity region.
CLAIMS = [
    (100, 54, 59, 61, None),
    (200, 103, 113, 115, None),
    (300, 150, 165, 168, (150, 150)),
    (400, 197, 217, 221, (197, 203)),
    (500, 244, 269, 273, (244, 256)),
    (800, 384, 424, 429, (384, 416)),
    (1000, 477, 527, 532, (477, 523)),
]


@pytest.mark.parametrize(("n", "unsurpassed", "superior", "two_sided", "region"), CLAIMS)
def test_counts_of_the_claims(n, unsurpassed, superior, two_sided, region):
    just, short = counted(superior, n - superior), counted(superior - 1, n - superior + 1)
    assert just.counts["needed"].item() == superior
    assert just.counts["needed_two_sided"].item() == two_sided
    assert way(just)["superior"]
    assert not way(short)["superior"]
    least, less = counted(unsurpassed, n - unsurpassed), counted(unsurpassed - 1, n - unsurpassed + 1)
    assert way(least)["unsurpassed"]
    assert not way(less)["unsurpassed"]
    row = way(least)
    if region is None:
        assert row["parity_low"] > row["parity_high"]
        assert not row["parity"]
        return
    assert (row["parity_low"], row["parity_high"]) == region
    for count in region:
        assert way(counted(count, n - count))["parity"]
    assert not way(counted(region[1] + 1, n - region[1] - 1))["parity"]


@pytest.mark.parametrize(
    ("n", "one_sided", "two_sided"),
    [
        (20, 15, 15),
        (30, 20, 21),
        (40, 26, 27),
        (50, 32, 33),
        (60, 37, 39),
        (80, 48, 50),
        (100, 59, 61),
        (300, 165, 168),
    ],
)
def test_small_counts(n, one_sided, two_sided):
    # exact binomial, computed with R
    row = counted(n - 10, 10).counts.iloc[0]
    assert (row["needed"], row["needed_two_sided"]) == (one_sided, two_sided)


def test_the_paradox_begins_at_1118():
    """From 1118 answers on a count can be superior and at parity at once: both are told."""

    def both(n):
        superior = counted(1, n - 1).counts["needed"].item()
        row = way(counted(superior, n - superior))
        return bool(row["superior"] and row["parity"])

    assert not both(1117)
    assert both(1118)


def test_p_values_are_those_of_scipy():
    result = counted(32, 20, 8)
    row = way(result)
    assert row["p_value"] == pytest.approx(binomtest(32, 52, alternative="greater").pvalue, abs=CLOSED_FORM)
    theirs = binomtest(32, 52).proportion_ci(0.9, "exact")
    assert (row["told_low"], row["told_high"]) == pytest.approx((theirs.low, theirs.high), abs=1e-7)
    assert row["told_level"] == pytest.approx(0.9)


@settings(max_examples=60)
@given(st.integers(0, 400), st.integers(0, 400), st.integers(0, 20), st.sampled_from([0.05, 0.2]))
def test_the_interval_shown_decides_all_three(one, other, neither, margin):
    if not one + other:
        return
    asked = [{"question": "preference", "margin": margin}]
    for row in counted(one, other, neither, asked).ways.to_dict("records"):
        low, high = row["told_low"], row["told_high"]
        assert row["superior"] == (low > 0.5)
        assert row["unsurpassed"] == (low > 0.5 - margin)
        assert row["parity"] == (low > 0.5 - margin and high < 0.5 + margin)
        assert (row["p_value"] < 0.05) == (low > 0.5)


def test_votes_for_no_preference_are_counted_in_three_ways():
    result = counted(30, 17, 5)
    assert list(result.ways["way"]) == [*WAYS, *WAYS]
    assert [(row["count"], row["base"]) for _, row in result.ways.iterrows()] == [
        (30, 47), (32.5, 52), (30, 52), (17, 47), (19.5, 52), (17, 52),
    ]  # fmt: skip
    split = way(result, name=_SPLIT)
    # the odd half vote helps neither side
    assert split["p_value"] == pytest.approx(binomtest(32, 52, alternative="greater").pvalue, abs=CLOSED_FORM)
    assert split["told_low"] == pytest.approx(binomtest(32, 52).proportion_ci(0.9, "exact").low, abs=1e-7)
    assert split["told_high"] == pytest.approx(binomtest(33, 52).proportion_ci(0.9, "exact").high, abs=1e-7)


@settings(max_examples=30)
@given(st.integers(0, 40), st.integers(0, 40), st.integers(0, 20))
def test_the_whole_base_never_makes_a_claim_easier(mine, other, undecided):
    if mine + other == 0:
        return
    result = counted(mine, other, undecided)
    assert way(result, name=_NOT_PREFERRING)["p_value"] >= way(result)["p_value"] - CLOSED_FORM
    shares = [way(result, name, LEFT_OUT)["share"] for name in ("P4", "P1")]
    assert sum(shares) == pytest.approx(1)


def test_a_margin_set_beforehand_takes_the_place_of_the_usual_one():
    result = counted(120, 120, questions=[{"question": "preference", "margin": 0.1}])
    row = way(result)
    assert (row["parity_low"], row["parity_high"]) == (
        next(x for x in range(241) if binomtest(x, 240, 0.4, alternative="greater").pvalue <= 0.05),
        next(x for x in range(240, -1, -1) if binomtest(x, 240, 0.6, alternative="less").pvalue <= 0.05),
    )
    assert row["parity"]
    assert not any("No margin was set" in note for note in result.notes)
    assert any("No margin was set beforehand for preference" in note for note in counted(5, 4).notes)


def test_the_order_is_checked_by_fishers_test():
    position = [1.0] * 12 + [2.0] * 8 + [1.0] * 4 + [2.0] * 16
    row = counted(20, 20, position=position).counts.iloc[0]
    # P4 first: 12 of 16 chose it; P1 first: 16 of 24 chose P1
    assert (row["order_first"], row["order_n"]) == (28, 40)
    assert row["p_order"] == pytest.approx(fisher_exact([[12, 8], [4, 16]]).pvalue, abs=CLOSED_FORM)
    assert np.isnan(counted(20, 20, position=1.0).counts["p_order"].item())
    assert np.isnan(counted(20, 20).counts["p_order"].item())


def test_repeated_preferences_allow_for_leaning_and_give_no_verdict():
    first = named_rows("preference", votes(14, 6), replicate="1")
    second = named_rows("preference", votes(13, 7), replicate="2")
    result = count_preferences(choice_study(first, second))
    row = result.counts.iloc[0]
    fit = fit_beta_binomial([2.0] * 13 + [1.0] + [0.0] * 6, [2.0] * 20)
    assert row["p_above"] == fit.p_above(0.5)
    assert row["p_two_sided"] == 2 * fit.p_above(0.5)
    assert row["rho"] == fit.rho
    assert not result.ways[["superior", "unsurpassed", "parity"]].to_numpy().any()
    assert any("more than once" in note for note in result.notes)
    alike = count_preferences(choice_study(*[named_rows("preference", votes(9, 0), replicate=turn) for turn in "12"]))
    assert np.isnan(alike.counts["p_above"].item())


def test_nobody_chose():
    result = counted(0, 0, 6)
    assert np.isnan(result.counts["needed"].item())
    assert set(result.ways["way"]) == {_SPLIT, _NOT_PREFERRING}


def test_messages():
    with pytest.raises(ModelError, match="The study has no preferences that can be read"):
        count_preferences(choice_study(named_rows("paired", ["P4"])))
    read = count_preferences(choice_study(named_rows("preference", ["P4", "P1", "P9"])))
    assert any("names neither of the two prototypes" in note for note in read.notes)
    assert isinstance(read.unread, pd.DataFrame)


# --- all in one order


STUDIES, PEOPLE = 100, 80
CHOOSE_FIRST = 0.62  # of alike samples, the one tried first; without an order effect it is 0.5


@pytest.mark.parametrize("kind", ["preference", "paired"])
def test_of_alike_samples_tried_in_one_order_none_is_told(kind):
    rng = np.random.default_rng(19)
    told = {"one order": 0, "either order": 0}
    for _ in range(STUDIES):
        for order, first in (("one order", np.ones(PEOPLE)), ("either order", np.arange(PEOPLE) % 2)):
            chosen = np.where((rng.random(PEOPLE) < CHOOSE_FIRST) == (first == 1), "P4", "P1")
            study = choice_study(named_rows(kind, chosen, position=2 - first))
            if kind == "paired":
                told[order] += judge_forced_choices(study).tests["verdict"].item() != "cannot tell"
            else:
                told[order] += count_preferences(study).ways[["preferred", "unsurpassed", "parity"]].any(axis=None)
    assert told["one order"] == 0
    if kind == "paired":
        assert told["either order"] <= binom.isf(0.001, STUDIES, 0.05)


def test_it_is_said_what_everybody_tried_first():
    counts = counted(45, 25, position=1.0).counts
    assert counts["always_first"].item() == "P4"
    turned = choice_study(named_rows("paired", ["P4"] * 20 + ["P1"] * 40, position=2.0))
    test = judge_forced_choices(turned, similar_below=0.9).tests.iloc[0]
    assert (test["prototype"], test["always_first"], bool(test["few_shown"])) == ("P1", "P1", False)
    assert counted(45, 25).counts["always_first"].item() == ""
