"""Batch within prototype as a random term, against the nested analysis of variance and statsmodels; sessions apart."""

import numpy as np
import pytest
import statsmodels.formula.api as smf
from scipy.stats import t

from benchmarks.confounds import one_swap, simulated
from panel.models.emollients.causes import find_causes
from panel.models.emollients.swaps import _learned_batch_sd, _own_batch_spread, trace_swaps
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.verdict import batch_spread
from panel.stats.mixed.inference import FTest, with_few_groups
from panel.study.study import Study

A, P, B, R = 10, 4, 3, 2


def scored(seed):
    """Return the scores (assessor, prototype, batch, replicate) of one study, and the study."""
    study = simulated(np.random.default_rng(seed), 1, assessors=A, prototypes=P, batches=B, replicates=R, batch_sd=6.0)
    return study.scores["score"].to_numpy(float).reshape(A, P, B, R), study


def mean_squares(y):
    """Return MS of batch within prototype, assessor x prototype and the rest (Montgomery, ch. 14), and their df."""
    grand, p, a = y.mean(), y.mean(axis=(0, 2, 3)), y.mean(axis=(1, 2, 3))
    pa, pb = y.mean(axis=(2, 3)), y.mean(axis=(0, 3))
    ss_ap = B * R * ((pa - p[None, :] - a[:, None] + grand) ** 2).sum()
    ss_b = A * R * ((pb - p[:, None]) ** 2).sum()
    ss_p, ss_a = A * B * R * ((p - grand) ** 2).sum(), P * B * R * ((a - grand) ** 2).sum()
    df = np.array([P * (B - 1), (A - 1) * (P - 1), 0.0])
    df[2] = y.size - 1 - (P - 1) - (A - 1) - df[0] - df[1]
    rest = ((y - grand) ** 2).sum() - ss_p - ss_a - ss_ap - ss_b
    return np.array([ss_b, ss_ap, rest]) / df, df


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_balanced_study_is_the_nested_analysis_of_variance(seed):
    y, study = scored(seed)
    (ms_b, ms_ap, ms_e), df = mean_squares(y)
    assert min(ms_b, ms_ap) > ms_e  # all components above zero: REML is the analysis of variance
    found = find_differences(study)
    variances = found.variances.iloc[0]
    assert variances["batch"] == pytest.approx((ms_b - ms_e) / (A * R), rel=1e-5)
    assert variances["assessor_prototype"] == pytest.approx((ms_ap - ms_e) / (B * R), rel=1e-5)
    assert variances["residual"] == pytest.approx(ms_e, rel=1e-5)
    row = found.pairs.iloc[0]
    weighed = ms_ap + ms_b - ms_e
    assert row["std_error"] == pytest.approx(np.sqrt(2 * weighed / (A * B * R)), rel=1e-5)
    satterthwaite = weighed**2 / (ms_b**2 / df[0] + ms_ap**2 / df[1] + ms_e**2 / df[2])
    assert row["df"] == pytest.approx(satterthwaite, rel=1e-3)
    assert row["p_value"] == pytest.approx(2 * t.sf(abs(row["estimate"]) / row["std_error"], row["df"]), rel=1e-6)
    ms_p = A * B * R * y.mean(axis=(0, 2, 3)).var(ddof=1)
    assert found.attributes["statistic"].iloc[0] == pytest.approx(ms_p / weighed, rel=1e-5)
    assert "batch within prototype (random)" in found.method


def test_an_unbalanced_study_has_the_variances_of_statsmodels():
    _, study = scored(5)
    frame = study.scores.sample(frac=0.85, random_state=1).reset_index(drop=True)
    found = find_differences(Study(dict(study.tables) | {"scores": frame}, study.facts)).variances.iloc[0]
    data = frame.assign(one=1, pa=frame["assessor"] + frame["prototype"])
    parts = {"a": "0 + C(assessor)", "pa": "0 + C(pa)", "b": "0 + C(batch)"}
    fit = smf.mixedlm("score ~ C(prototype)", data, groups="one", re_formula="0", vc_formula=parts).fit(reml=True)
    other = dict(zip(fit.model.exog_vc.names, fit.vcomp, strict=True)) | {"rest": fit.scale}
    for name, ours in (("a", "assessor"), ("pa", "assessor_prototype"), ("b", "batch"), ("rest", "residual")):
        assert found[ours] == pytest.approx(other[name], rel=2e-3)  # its optimiser stops at about three digits


def test_words_of_verdicts_name_the_batches_only_where_there_is_one():
    clear = simulated(np.random.default_rng(3), 1, prototypes=3, shift=40.0)
    assert "differs, in these batches" in set(find_differences(clear).versus["said"])
    more = simulated(np.random.default_rng(3), 1, prototypes=3, batches=3, shift=40.0)
    found = find_differences(more)
    assert "differs" in set(found.versus["said"])
    assert "for batches like these" in found.method


def test_batches_are_in_the_error_only_where_each_prototype_has_two():
    # A second batch of the base alone has one degree of freedom: with it in the error nothing could be told apart,
    # while every difference from another prototype still speaks of that one's one batch.
    whole = simulated(
        np.random.default_rng(3), 8, assessors=10, prototypes=2, batches=2, shift=16.0, formulas=one_swap()
    )
    scores = whole.scores
    of_base = Study(dict(whole.tables) | {"scores": scores.loc[scores["batch"] != "P2-2"]}, whole.facts)
    for study, batches_too in ((whole, True), (of_base, False)):
        found, swaps = find_differences(study), trace_swaps(study)
        assert found.confounds.one_batch != batches_too
        assert found.variances["batch"].notna().all() == batches_too
        assert ("between batches, learned" in swaps.method) == batches_too
        assert any("one batch only" in note for note in swaps.notes) != batches_too
        said = found.versus["said"]
        assert said.str.contains("in these batches").any() != batches_too
        assert set(find_causes(swaps).swaps["one_batch"]) == {not batches_too}
    assert (found.attributes["verdict"] == "differs").sum() >= 6  # of 8 true differences of two residual SDs
    assert (swaps.swaps["verdict"] == "differs").sum() >= 6


def test_a_spread_is_stated_learned_or_not_known():
    _, study = scored(1)
    found = find_differences(study)
    learned = _learned_batch_sd(found.variances, found.confounds)
    assert learned["batch_sd_df"] == P * (B - 1)
    assert learned["batch_sd"]["T0000"] == pytest.approx(np.sqrt(found.variances["batch"].iloc[0]))
    assert _own_batch_spread(study, found.confounds).of("T0000") == pytest.approx(learned["batch_sd"]["T0000"])
    stated = batch_spread(Study(study.tables, learned), found.confounds)
    assert stated.variance("T0000", {"P1": 1.0, "P2": -1.0}) == pytest.approx(2 * stated.of("T0000") ** 2 / B)
    assert "learned with 8 degrees of freedom" in stated.sentence
    one = batch_spread(Study({}, {"batch_sd": 3}), found.confounds)
    assert one.of("anything") == 3
    assert "a standard deviation of 3 between batches, as stated for the study" in one.words("anything")
    for wrong in (None, "3", True, -1, float("nan")):
        assert np.isnan(batch_spread(Study({}, {"batch_sd": wrong}), found.confounds).of("x"))


def test_pairs_between_sessions_have_no_numbers_and_no_false_claims():
    # session SD 4: tests within the sessions keep their size, between them nothing is told
    studies = 200
    study = simulated(np.random.default_rng(11), studies, split=True, session_sd=4.0)
    found = find_differences(study)
    across = found.versus["prototype"].isin(["P4", "P5", "P6"])
    assert found.versus.loc[across, ["estimate", "std_error", "p_adjusted", "ci_low"]].isna().all(axis=None)
    assert set(found.versus.loc[across, "verdict"]) == {"cannot tell"}
    assert found.versus.loc[across, "because"].str.contains("never served in one session").all()
    assert found.versus.loc[~across, "estimate"].notna().all()
    assert "session (fixed)" not in found.method
    assert "prototypes compared only within P1, P2, P3 | P4, P5, P6" in found.method
    assert (found.attributes["df"] == 4).all()
    share = (found.attributes["p_value"] < 0.05).mean()
    assert abs(share - 0.05) < 3 * np.sqrt(0.05 * 0.95 / studies)
    assert any("never served in one session" in note for note in found.notes)


def test_a_whole_split_leaves_nothing_to_compare_and_says_why():
    study = simulated(np.random.default_rng(11), 1, prototypes=2, split=True)
    with pytest.raises(Exception, match="no two prototypes were scored in one session"):
        find_differences(study)


def test_a_null_study_never_says_differs_under_a_headline_that_says_none():
    study = simulated(np.random.default_rng(8), 120, prototypes=6)
    found = find_differences(study)
    open_ones = set(found.attributes.loc[found.attributes["verdict"] == "cannot tell", "attribute"])
    for frame in (found.pairs, found.versus):
        assert set(frame.loc[frame["attribute"].isin(open_ones), "verdict"]) <= {"alike", "cannot tell"}


def test_true_differences_are_still_found_at_ten_by_eight_by_three():
    study = simulated(np.random.default_rng(9), 60, assessors=10, prototypes=8, shift=16.0)
    rows = find_differences(study).versus
    found = rows.loc[rows["prototype"] == "P2"]
    assert (found["verdict"] == "differs").mean() >= 0.9


def test_the_f_test_keeps_its_level_with_few_batches():
    # mean squares with known expectations (Montgomery, ch. 14): 10 assessors x 6 prototypes x 2 batches x 2,
    # batch SD 5, no prototype differs. Satterthwaite's own degrees of freedom err in 6.1 of 100: too many of them where
    # batches came out alike
    rng, n = np.random.default_rng(3), 20_000
    prototypes, df = 6, np.array([6, 45, 177])
    expected = np.array([64 + 20 * 25.0, 64 + 4 * 25.0, 64.0])
    of_batch, of_view, rest = (expected * rng.chisquare(df, (n, 3)) / df).T
    error = np.maximum(of_batch + of_view - rest, of_view)
    between = (expected[0] + expected[1] - expected[2]) * rng.chisquare(prototypes - 1, n) / (prototypes - 1)
    squares = np.column_stack([np.maximum(of_batch, rest), of_view, rest])
    plain = FTest(between / error, prototypes - 1, error**2 / (squares**2 / df).sum(axis=1))
    told = plain.p_value < 0.05
    assert told.mean() > 0.058
    # fewer degrees of freedom make a p-value larger: only those below 5 % need them; some others beside
    some = told | (np.arange(n) < 500)
    own = FTest(plain.statistic[some], prototypes - 1, plain.df_error[some])
    lowered = with_few_groups(own, df[0])
    assert (lowered.df_error <= own.df_error).all()
    assert (lowered.df_error >= 0.999 * np.minimum(df[0], own.df_error)).all()  # a mean over 200 points of the tail
    assert (lowered.p_value >= own.p_value)[told[some]].all()
    assert 0.03 < (lowered.p_value < 0.05).sum() / n < 0.05
    _, study = scored(1)
    row = find_differences(study).attributes.iloc[0]
    assert row["df_error"] < find_differences(study).pairs["df"].iloc[0]
