"""Check-all terms against printed examples all the way, statsmodels on the demo, and what is lost or rare."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2_contingency
from statsmodels.stats.contingency_tables import cochrans_q, mcnemar
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from data_demo.make_demo import make_study
from panel.errors import ModelError
from panel.models.consumers.check_all import count_check_all
from tests.consumer_answers import study_of, ticked
from tests.consumer_studies import answers_study
from tests.stats.answers.test_cochran import CONOVER, STATSMODELS

CLOSED_FORM = 1e-9


@pytest.fixture(scope="module")
def demo():
    return make_study()[0]


@pytest.fixture(scope="module")
def found(demo):
    return count_check_all(demo)


def wide(demo, term):
    rows = demo.table("answers")
    rows = rows.loc[(rows["kind"] == "check_all") & (rows["question"] == term)]
    return rows.assign(answer=rows["answer"].astype(int)).pivot_table(
        index="assessor", columns="prototype", values="answer"
    )


def test_printed_examples_through_the_whole_way():
    # Conover (1999) p. 253 and the example in statsmodels' tests: sources in tests/stats
    result = count_check_all(study_of(ticked(CONOVER, "first") + ticked(STATSMODELS[:, :3], "second")))
    first = result.terms.set_index("term").loc["first"]
    assert first["statistic"] == pytest.approx(2.8)
    assert first["exact"]
    assert (first["n_consumers"], first["n_lost"], first["n_telling"]) == (12, 0, 5)
    assert result.shares.loc[result.shares["term"] == "first", "ticked"].tolist() == [8, 10, 7]
    one = count_check_all(study_of(ticked(STATSMODELS)))
    assert one.terms.loc[0, "statistic"] == pytest.approx(13.2857143, abs=5e-8)


def test_the_demo_equals_statsmodels(demo, found):
    for term in ("light", "white marks", "greasy"):
        table = wide(demo, term)
        complete = table.dropna()
        row = found.terms.set_index("term").loc[term]
        theirs = cochrans_q(complete.to_numpy())
        assert row["statistic"] == pytest.approx(theirs.statistic, rel=CLOSED_FORM)
        assert row["p_value"] == pytest.approx(theirs.pvalue, rel=CLOSED_FORM)
        assert (row["n_consumers"], row["n_lost"]) == (len(complete), len(table) - len(complete))
        pairs = found.pairs.loc[found.pairs["term"] == term]
        for pair in pairs.head(6).to_dict("records"):
            both = table[[pair["prototype"], pair["versus"]]].dropna().astype(int)
            b = int(((both.iloc[:, 0] == 1) & (both.iloc[:, 1] == 0)).sum())
            c = int(((both.iloc[:, 0] == 0) & (both.iloc[:, 1] == 1)).sum())
            assert (pair["only_prototype"], pair["only_versus"], pair["n"]) == (b, c, len(both))
            assert pair["p_value"] == pytest.approx(min(mcnemar([[0, b], [c, 0]], exact=True).pvalue, 1))
            assert pair["estimate"] == pytest.approx((b - c) / len(both))
    for frame in (found.pairs, found.terms):
        expected = multipletests(frame["p_value"], method="holm")[1]
        assert frame["p_adjusted"].tolist() == pytest.approx(expected.tolist())


def test_of_words_ticked_by_lot_hardly_any_study_tells_two_prototypes_apart():
    # known truth: no tick goes with a prototype; adjusted term by term some pair of six terms did in 11 of 40 studies
    rng, told = np.random.default_rng(31), 0
    for _ in range(40):
        ticks = [row for term in range(6) for row in ticked((rng.random((50, 3)) < 0.5).astype(float), f"term{term}")]
        told += count_check_all(study_of(ticks)).pairs["differs"].any()
    assert told <= 5  # 2 of 40 is nominal; binomial: 6 or more in 1.4 of 100 runs


def test_shares_have_wilson_intervals(found):
    row = found.shares.iloc[3]
    low, high = proportion_confint(row["ticked"], row["base"], method="wilson")
    assert (row["ci_low"], row["ci_high"]) == pytest.approx((low, high))


def test_the_map_holds_the_chi_square_of_the_counts(found):
    counts = found.shares.pivot_table(index="term", columns="prototype", values="ticked", aggfunc="sum")
    theirs = chi2_contingency(counts)
    assert found.map["components"]["inertia"].sum() == pytest.approx(theirs.statistic / counts.to_numpy().sum())
    assert found.map["components"]["share"].sum() == pytest.approx(1)
    assert list(found.map["prototypes"]["prototype"]) == [f"P{number}" for number in range(1, 9)]


def test_liking_where_a_term_is_ticked_equals_the_long_way(demo, found):
    rows = demo.table("answers")
    liking = rows.loc[rows["kind"] == "liking"].set_index(["assessor", "prototype"])["answer"].astype(float)
    term = rows.loc[(rows["kind"] == "check_all") & (rows["question"] == "greasy")]
    marks = term.set_index(["assessor", "prototype"])["answer"].astype(int)
    both = pd.concat([liking.rename("liking"), marks.rename("ticked")], axis=1).dropna()
    own = found.lift.set_index("term").loc["greasy"]
    means = both.groupby("ticked")["liking"].mean()
    assert own["estimate"] == pytest.approx(means[1] - means[0])
    assert (own["n_ticked"], own["n_not"]) == ((both["ticked"] == 1).sum(), (both["ticked"] == 0).sum())
    centred = both - both.groupby("assessor").transform("mean")
    slope = (centred["liking"] * centred["ticked"]).sum() / (centred["ticked"] ** 2).sum()
    assert own["within_estimate"] == pytest.approx(slope)
    assert own["n_consumers"] == both.index.get_level_values(0).nunique()


def test_what_the_scenario_makes_true_is_found(found):
    # greasy puts most people off, fast soaking-in pleases most (the demo's invented consumers)
    lift = found.lift.set_index("term")
    assert lift.loc["greasy", "within_ci_high"] < 0
    assert lift.loc["soaks in fast", "within_ci_low"] > 0
    assert found.terms.set_index("term").loc["greasy", "p_adjusted"] < 0.001


def test_rare_terms_and_small_groups_are_warned_of():
    rng = np.random.default_rng(1)
    often = (rng.random((20, 3)) < 0.5).astype(float)
    rare = np.zeros((20, 3))
    rare[0, 0] = 1
    result = count_check_all(study_of(ticked(often, "often") + ticked(rare, "rare")))
    assert result.terms["rare"].tolist() == [False, True]
    notes = " ".join(result.notes)
    assert "so they tell little: rare" in notes
    assert "20 consumers are fewer than the 60" in notes
    assert "would be below five" in notes


def test_people_with_gaps_are_lost_for_the_test_only():
    table = CONOVER.copy()
    table[0, 2] = np.nan
    result = count_check_all(study_of(ticked(table)))
    term = result.terms.iloc[0]
    assert (term["n_consumers"], term["n_lost"], term["base"]) == (11, 1, 35)
    assert any("1 of 12 consumers are lost for it" in note for note in result.notes)


def test_only_ticks_recorded_is_noticed():
    table = np.where(CONOVER == 1, 1.0, np.nan)
    result = count_check_all(study_of(ticked(table)))
    assert any("No term is recorded as not ticked" in note for note in result.notes)


def test_without_liking_there_is_no_lift(found):
    result = count_check_all(study_of(ticked(CONOVER, "a") + ticked(STATSMODELS[:, 1:], "b")))
    assert result.lift.empty
    assert list(result.lift.columns) == list(found.lift.columns)
    assert any("Without a liking question" in note for note in result.notes)


def test_what_cannot_be_done_is_said():
    with pytest.raises(ModelError, match="no check-all answers"):
        count_check_all(study_of([("C1", "P1", "overall liking", "liking", 5)]))
    with pytest.raises(ModelError, match="All check-all answers are about P1"):
        count_check_all(study_of(ticked(CONOVER[:, :1])))
    result = count_check_all(study_of(ticked(CONOVER)))  # one term is no map
    assert result.map == {}
    assert any("no map of the terms" in note for note in result.notes)


def test_a_term_nobody_ticked_stands_outside_the_map():
    rows = ticked(CONOVER, "a") + ticked(STATSMODELS[:, 1:], "b") + ticked(np.zeros((12, 3)), "never")
    result = count_check_all(study_of(rows))
    assert result.map["left_out"].to_dict("records") == [{"kind": "term", "name": "never"}]
    never = result.terms.set_index("term").loc["never"]
    assert never["p_value"] == 1
    assert np.isnan(never["statistic"])


def test_order_of_rows_does_not_matter(demo, found):
    shuffled = demo.table("answers").sample(frac=1, random_state=1).reset_index(drop=True)
    again = count_check_all(replace(demo, tables={**demo.tables, "answers": shuffled}))
    first, second = (result.terms.set_index("term")["p_value"] for result in (found, again))
    pd.testing.assert_series_equal(first, second.loc[first.index])
    inertias = [result.map["components"]["inertia"].to_numpy() for result in (found, again)]
    np.testing.assert_allclose(*inertias, rtol=1e-8)


@pytest.mark.parametrize(("along", "levels"), [("session", ["1", "1", "2"]), ("position", [1.0, 1.0, 2.0])])
def test_what_the_session_or_the_place_may_be_is_told_of_no_term(along, levels):
    rng = np.random.default_rng(2)
    table = (rng.random((40, 3)) < [0.2, 0.2, 0.8]).astype(int)
    plain = count_check_all(answers_study(table, kind="check_all", question="light"))
    tied = count_check_all(answers_study(table, kind="check_all", question="light", **{along: np.tile(levels, 40)}))
    assert plain.terms["differs"].all()
    assert not tied.terms["differs"].any()
    assert tied.terms["p_adjusted"].item() == tied.pairs.loc[~tied.pairs["lost"], "p_adjusted"].item()
    own = tied.pairs.set_index(["prototype", "versus"])
    assert not own["differs"].any()
    assert own.loc[[("P3", "P1"), ("P3", "P2")], "p_value"].isna().all()
    b, c = own.loc[("P2", "P1"), ["only_prototype", "only_versus"]]
    assert own.loc[("P2", "P1"), "p_adjusted"] == pytest.approx(mcnemar([[0, b], [c, 0]], exact=True).pvalue)
    assert f"2 of 3 pairs cannot be told from the {along}" in tied.untold[0]
