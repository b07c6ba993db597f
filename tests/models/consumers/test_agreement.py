"""Agreement with statements: exact counts and intervals from printed tables, bars, don't-knows, and the demo."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom, binomtest
from statsmodels.stats.multitest import multipletests

from data_demo.make_demo import make_study
from panel.checks.moments_recorded import STAMPED
from panel.errors import ModelError
from panel.models.consumers.agreement import count_agreement
from tests.consumer_answers import agreed, study_of

PRINTED = 5e-5  # half a unit of the last printed digit
# Newcombe (1998), Stat. Med. 17:857, table I: count, base, exact and Wilson 95 % interval; from memory
NEWCOMBE = [
    (81, 263, (0.2527, 0.3676), (0.2553, 0.3662)),
    (15, 148, (0.0578, 0.1617), (0.0624, 0.1605)),
    (0, 20, (0.0, 0.1684), (0.0, 0.1611)),
    (1, 29, (0.0009, 0.1776), (0.0061, 0.1718)),
    (20, 25, (0.5930, 0.9317), (0.6087, 0.9114)),
    (29, 29, (0.8806, 1.0), (0.8830, 1.0)),
]
# fewest of n that show a majority, one-sided 5 %: exact binomial, computed with R
MAJORITY = {20: 15, 30: 20, 40: 26, 50: 32, 60: 37, 80: 48, 100: 59}


@pytest.fixture(scope="module")
def demo():
    return make_study()[0]


@pytest.fixture(scope="module")
def found(demo):
    return count_agreement(demo)


def claims(*rows):
    frame = pd.DataFrame(list(rows), columns=["claim", "kind", "prototype", "question", "bar"])
    return frame.astype(dict.fromkeys(["claim", "kind", "prototype", "question"], "str"))


@pytest.mark.parametrize(("count", "base", "exact", "wilson"), NEWCOMBE)
def test_published_intervals(count, base, exact, wilson):
    row = count_agreement(study_of(agreed({5: count, 2: base - count}))).statements.iloc[0]
    assert (row["exact_low"], row["exact_high"]) == pytest.approx(exact, abs=PRINTED)
    assert (row["ci_low"], row["ci_high"]) == pytest.approx(wilson, abs=PRINTED)


@pytest.mark.parametrize(("base", "needed"), MAJORITY.items())
def test_the_fewest_that_show_a_majority(base, needed):
    for count, passed in ((needed, True), (needed - 1, False)):
        bar = count_agreement(study_of(agreed({4: count, 1: base - count}))).bars.iloc[0]
        assert (bar["needed"], bar["passed"]) == (needed, passed)
        theirs = binomtest(count, base, 0.5, alternative="greater")
        assert bar["p_value"] == pytest.approx(theirs.pvalue)


@pytest.mark.parametrize("bar", [0.5, 0.6, 0.8])
def test_the_test_never_passes_more_often_than_its_level_says(bar):
    # exact: the chance of every count when the true share is the bar, for each number of people to 120
    sizes = range(1, 121)
    rows = [row for base in sizes for row in agreed({5: base}, f"of {base}")]
    about = [{"question": f"of {base}", "kind": "agreement", "bar": 100 * bar} for base in sizes]
    bars = count_agreement(study_of(rows, {"questions": about})).bars
    assert bars["base"].tolist() == list(sizes)
    assert (binom.sf(bars["needed"] - 1, bars["base"], bar) <= 0.05 + 1e-12).all()
    # and no smaller count would do: one fewer would pass too often
    assert (binom.sf(bars["needed"] - 2, bars["base"], bar) > 0.05).all()


def test_four_and_five_are_agreed_and_three_is_not():
    row = count_agreement(study_of(agreed({1: 1, 2: 2, 3: 4, 4: 8, 5: 16, "don't know": 5}))).statements.iloc[0]
    assert (row["agreed"], row["neutral"], row["disagreed"], row["dont_know"], row["base"]) == (24, 4, 3, 5, 36)
    assert row["share"] == pytest.approx(24 / 36)
    assert (row["opinion_base"], row["opinion_share"]) == (31, pytest.approx(24 / 31))


@pytest.mark.parametrize("words", ["don't know", "Don\u2019t know", "DON'T KNOW ", "do not know"])
def test_dont_know_is_read_as_people_write_it(words):
    row = count_agreement(study_of(agreed({5: 3, words: 2}))).statements.iloc[0]
    assert (row["dont_know"], row["base"]) == (2, 5)


def test_nobody_with_an_opinion():
    row = count_agreement(study_of(agreed({"don't know": 3}))).statements.iloc[0]
    assert (row["agreed"], row["base"], row["opinion_base"]) == (0, 3, 0)
    assert np.isnan(row["opinion_share"])


def test_unreadable_answers_are_told_and_blanks_are_none():
    result = count_agreement(study_of([*agreed({5: 3, 2: 1}), ("C9", "P1", "soft", "agreement", "maybe"),
                                       ("C8", "P1", "soft", "agreement", "")]))  # fmt: skip
    row = result.statements.loc[0]
    assert row[["agreed", "strange", "base", "opinion_base"]].tolist() == [3, 1, 5, 5]  # who asked for it did not agree
    assert any(
        "1 answer could not be read and is counted as not agreeing" in note and "'maybe' of C9" in note
        for note in result.notes
    )


def test_the_bar_comes_from_the_claim_then_the_question_then_is_a_majority():
    rows = agreed({5: 40, 2: 20})
    facts = {"questions": [{"question": "soft", "kind": "agreement", "bar": 60}]}
    first = count_agreement(study_of(rows)).bars.iloc[0]
    assert (first["bar"], first["source"]) == (0.5, "default")
    second = count_agreement(study_of(rows, facts)).bars.iloc[0]
    assert (second["bar"], second["source"]) == (0.6, "question")
    table = claims(("soft hands", "agreement", "P1", "soft", 55.0), ("softer", "agreement", "", "soft", 70.0))
    both = count_agreement(study_of(rows, facts, claims=table)).bars
    assert both["bar"].tolist() == [0.55, 0.7]
    assert both["source"].tolist() == ["claim", "claim"]
    assert both["p_adjusted"].tolist() == pytest.approx(multipletests(both["p_value"], method="holm")[1].tolist())


def test_the_bar_of_every_kind_of_claim_that_rests_on_agreement_counts():
    """Which kinds need a question: the table of kinds says so, a preference needs two prototypes instead."""
    kinds = {"agreement": True, "absolute_negative": True, "preference": False, "superiority": False, "time": False}
    for kind, counts in kinds.items():
        bars = count_agreement(study_of(agreed({5: 40, 2: 20}), claims=claims(("no", kind, "P1", "soft", 65.0)))).bars
        assert bars["bar"].tolist() == [0.65 if counts else 0.5], kind
        assert bars["claim"].tolist() == ["no" if counts else ""], kind
    same = claims(("a", "agreement", "P1", "soft", 65.0), ("b", "absolute_negative", "P1", "soft", 65.0))
    assert count_agreement(study_of(agreed({5: 40, 2: 20}), claims=same)).bars["claim"].tolist() == ["a"]


def test_bars_and_claims_that_do_not_fit_are_told():
    table = claims(
        ("too much", "agreement", "P1", "soft", 120.0),
        ("of something else", "agreement", "P1", "glide", 50.0),
        ("of another", "agreement", "P2", "soft", 90.0),
    )
    result = count_agreement(study_of(agreed({5: 9, 2: 1}), claims=table))
    assert result.bars["source"].tolist() == ["default"]
    notes = " ".join(result.notes)
    assert "bar 120 of the claim 'too much' is no share" in notes
    assert "'of something else' names no statement" in notes


def test_a_statement_that_is_untrue_measures_yes_saying():
    rows = agreed({5: 6, 1: 14}, "soft") + agreed({4: 2, 1: 18}, "purple")
    facts = {"questions": [{"question": "purple", "kind": "agreement", "foil": True}]}
    result = count_agreement(study_of(rows, facts))
    assert result.foils[["question", "agreed", "base"]].to_numpy().tolist() == [["purple", 2, 20]]
    assert result.bars["question"].tolist() == ["soft"]  # nobody tests an untrue sentence
    without = result.without_foil.iloc[0]
    assert (without["agreed"], without["base"], without["lost"]) == (4, 18, 2)
    assert not any("yes" in note for note in result.notes)


def test_without_an_untrue_statement_that_is_said():
    result = count_agreement(study_of(agreed({5: 6})))
    assert result.foils.empty
    assert result.without_foil.empty
    assert any("how readily these people say yes" in note for note in result.notes)


def test_who_started_comes_from_the_servings():
    rows = pd.DataFrame(agreed({5: 6, 2: 2}), columns=["assessor", "prototype", "question", "kind", "answer"])
    servings = pd.DataFrame({"session": "home", "assessor": [f"C{n:03d}" for n in range(10)], "prototype": "P1"})
    study = replace(
        study_of([]), tables={"answers": rows.astype("str").assign(session="home"), "servings": servings.astype("str")}
    )
    row = count_agreement(study).statements.iloc[0]
    assert (row["started"], row["dropped"]) == (10, 2)
    others = servings.assign(assessor=[f"C{n:03d}" for n in range(4, 14)])  # four who answered were not served
    study = replace(study, tables={**study.tables, "servings": others.astype("str")})
    row = count_agreement(study).statements.iloc[0]
    assert (row["started"], row["dropped"]) == (10, 6)
    unknown = count_agreement(study_of(agreed({5: 6})))
    assert np.isnan(unknown.statements.loc[0, "started"])
    assert any("do not say how many people started" in note for note in unknown.notes)


def test_no_agreement_is_said():
    with pytest.raises(ModelError, match="no agreement answers"):
        count_agreement(study_of([("C1", "P1", "overall liking", "liking", 5)]))


def test_the_demo(found):
    # truth of the scenario: 82 % of those with an opinion agree with no mark on paper, 50 % with comforting
    rows = found.statements.set_index("question")
    assert len(rows) == 8
    assert (rows["base"] == 58).all()
    assert (rows["started"] == 60).all()
    assert (rows["dropped"] == 2).all()
    assert rows.loc["no mark on paper", "agreed"] in (44, 45)
    assert rows.loc["no mark on paper", "share"] < 0.8
    assert rows.loc["comforting", "agreed"] == 27
    assert rows.index[rows["foil"]].tolist() == ["scented"]
    bars = found.bars
    eight = bars.loc[(bars["question"] == "no mark on paper") & (bars["bar"] == 0.8)].iloc[0]
    half = bars.loc[(bars["question"] == "no mark on paper") & (bars["bar"] == 0.5)].iloc[0]
    assert half["passed"]
    assert not eight["passed"]
    assert not bars.loc[bars["question"] == "comforting", "passed"].any()
    assert "scented" not in set(bars["question"])


def test_a_bar_counts_as_set_beforehand_where_its_stamp_shows_it(demo, found):
    own = found.bars.loc[found.bars["source"] == "claim"]
    assert (own["stamped"] == STAMPED).all()
    assert not found.bars.loc[found.bars["source"] != "claim", "stamped"].any()
    claims = demo.table("claims")
    for change in (
        {"bar": claims["bar"] + 5},
        {"stamp": ""},
        {"stamped_by": ""},
        {"stamped_at": "2030-01-01T00:00:00"},
    ):
        changed = replace(demo, tables={**demo.tables, "claims": claims.assign(**change)})
        bars = count_agreement(changed).bars
        assert STAMPED not in set(bars["stamped"]), change
        assert len(bars) == len(found.bars)
