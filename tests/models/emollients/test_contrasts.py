"""Assessor contrasts by hand, against a second computation and general-purpose libraries, and in simulation."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import ttest_rel
from statsmodels.stats.anova import AnovaRM

from panel.errors import ModelError
from panel.models.emollients.swaps import (
    _contrast_frame,
    _mean_by,
    _pair_differences,
    _Sittings,
    _sittings,
    _with_batches,
    trace_swaps,
)
from panel.models.prototypes.verdict import BatchSpread
from panel.stats.comparing.multiplicity import benjamini_hochberg
from tests.formula_studies import scores_of, study_of
from tests.studies import small_study

EXACT = 1e-10
PROTOTYPES = tuple(f"P{number}" for number in range(1, 9))
# The pairs of a full plan of three swaps: P(run + 1) against P(run + 1 + 2^swap).
PAIRS = pd.DataFrame(
    [
        {"swap": f"S{swap}", "prototype": f"P{run + 1 + 2**swap}", "versus": f"P{run + 1}"}
        for swap in range(3)
        for run in range(8)
        if not run >> swap & 1
    ]
)
MEMBERS = [np.flatnonzero(PAIRS["swap"] == f"S{swap}") for swap in range(3)]
CHANGES = pd.DataFrame({"swap": ["S0", "S1", "S2"]})


def array_of(values):
    n_assessors, _, n_attributes, n_prototypes = values.shape
    return _Sittings(
        values,
        tuple(f"A{number}" for number in range(n_assessors)),
        tuple(f"T{number}" for number in range(n_attributes)),
        PROTOTYPES[:n_prototypes],
    )


def effects(values):
    array = array_of(values)
    return _contrast_frame(_mean_by(_pair_differences(array, PAIRS), MEMBERS), array.attributes, CHANGES)


def messy(seed, missing=0.15):
    rng = np.random.default_rng(seed)
    values = rng.normal(50, 10, (6, 3, 2, 8))
    values[rng.random(values.shape) < missing] = np.nan
    return values


def test_by_hand():
    # Two prototypes, two sittings. A0: differences 4 and 6, mean 5. A1: only the second sitting has both: 9.
    values = np.array([[[[10.0, 14]], [[20, 26]]], [[[30, np.nan]], [[40, 49]]]])
    pairs = pd.DataFrame({"prototype": ["P2"], "versus": ["P1"]})
    np.testing.assert_array_equal(_pair_differences(array_of(values), pairs)[:, 0, 0], [5, 9])


def test_the_mean_over_pairs_weighs_pairs_alike_whatever_the_number_of_sittings():
    differences = np.array([[[4.0, 10.0, np.nan]]])
    np.testing.assert_array_equal(_mean_by(differences, [np.array([0, 1, 2]), np.array([2])])[0, 0], [7.0, np.nan])


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 300))
def test_a_second_computation_with_loops_and_scipy(seed):
    values = messy(seed)
    found = effects(values).set_index(["attribute", "swap"])
    for attribute in range(values.shape[2]):
        for swap in range(3):
            contrasts = []
            for person in values[:, :, attribute, :]:
                by_pair = []
                for pair in PAIRS.loc[PAIRS["swap"] == f"S{swap}"].itertuples():
                    with_swap, without = int(pair.prototype[1:]) - 1, int(pair.versus[1:]) - 1
                    both = [s[with_swap] - s[without] for s in person if not np.isnan(s[with_swap] + s[without])]
                    if both:
                        by_pair.append(np.mean(both))
                if by_pair:
                    contrasts.append(np.mean(by_pair))
            row = found.loc[(f"T{attribute}", f"S{swap}")]
            outside = ttest_rel(contrasts, np.zeros(len(contrasts)))
            assert row["n_assessors"] == len(contrasts)
            assert row["estimate"] == pytest.approx(np.mean(contrasts), rel=EXACT)
            assert row["statistic"] == pytest.approx(outside.statistic, rel=1e-8)
            assert row["p_value"] == pytest.approx(outside.pvalue, rel=1e-8)
            interval = outside.confidence_interval(0.95)
            assert [row["ci_low"], row["ci_high"]] == pytest.approx([interval.low, interval.high], rel=1e-8)


def test_complete_data_give_the_repeated_measures_anova_of_the_swap():
    # statsmodels: one factor (swap or not) within assessors, everything else averaged away; F(1, 9) is t squared.
    values = np.random.default_rng(7).normal(50, 10, (10, 3, 1, 8))
    found = effects(values).set_index("swap")
    for swap in range(3):
        made = np.array([run >> swap & 1 for run in range(8)])
        frame = pd.DataFrame(
            [(person, side, values[person, :, 0, made == side].mean()) for person in range(10) for side in (0, 1)],
            columns=["person", "made", "score"],
        )
        table = AnovaRM(frame, "score", "person", within=["made"]).fit().anova_table
        assert found.loc[f"S{swap}", "statistic"] ** 2 == pytest.approx(table["F Value"].iloc[0], rel=1e-8)
        assert found.loc[f"S{swap}", "p_value"] == pytest.approx(table["Pr > F"].iloc[0], rel=1e-6)
        assert table["Den DF"].iloc[0] == 9 == found.loc[f"S{swap}", "df"]


@given(st.integers(0, 300))
def test_whatever_moves_a_whole_sitting_cancels(seed):
    values = messy(seed)
    rng = np.random.default_rng(seed + 1)
    moved = values + rng.normal(0, 30, (6, 3, 2, 1))
    pd.testing.assert_frame_equal(effects(values), effects(moved), rtol=1e-7, atol=1e-8)


@given(st.integers(0, 300))
def test_turning_a_swap_round_turns_its_effect_and_its_interval(seed):
    values = messy(seed)
    turned = values[..., [run ^ 1 for run in range(8)]]
    before, after = (effects(each).query("swap == 'S0'").reset_index(drop=True) for each in (values, turned))
    np.testing.assert_allclose(before["estimate"], -after["estimate"], rtol=EXACT)
    np.testing.assert_allclose(before["ci_low"], -after["ci_high"], rtol=1e-8, atol=1e-8)
    np.testing.assert_allclose(before["p_value"], after["p_value"], rtol=1e-8)


def test_scores_of_one_cell_are_averaged_and_replicates_are_sittings_of_their_own():
    rows = scores_of(np.array([[[[10.0, 20.0]]]]), ["P1", "P2"])
    again = [row | {"score": row["score"] + 4} for row in rows]
    later = [row | {"replicate": "2", "score": 2 * row["score"]} for row in rows]
    study = study_of({"P1": {"Aqua": 100.0}, "P2": {"Aqua": 100.0}}, scores=[*rows, *again, *later])
    array = _sittings(study, ("P1", "P2"))
    np.testing.assert_array_equal(array.values[0, :, 0, :], [[12, 22], [20, 40]])
    pairs = pd.DataFrame({"prototype": ["P2"], "versus": ["P1"]})
    assert _pair_differences(array, pairs).item() == (10 + 20) / 2


def test_only_trained_assessors_and_only_the_prototypes_asked_for():
    values = np.arange(12.0).reshape(2, 2, 1, 3)
    study = study_of(
        {"P1": {"Aqua": 100.0}},
        scores=scores_of(values, ["P1", "P2", "P9"]),
        assessors=[{"assessor": "A01", "kind": "trained"}, {"assessor": "A02", "kind": "consumer"}],
    )
    array = _sittings(study, ("P2", "P1"))
    assert array.assessors == ("A01",)
    np.testing.assert_array_equal(array.values[0, :, 0, :], [[1, 0], [4, 3]])


def test_without_a_trained_score_there_is_nothing_to_trace():
    study = study_of({"P1": {"Aqua": 100.0}}, scores=scores_of(np.ones((1, 1, 1, 1)), ["P9"]))
    with pytest.raises(ModelError, match="No trained assessor has scored a prototype that has a formula"):
        _sittings(study, ("P1",))


def test_without_any_score_no_names_are_blamed():
    study = study_of({"P1": {"Aqua": 100.0}})
    with pytest.raises(ModelError, match=r"^The study has no scores\."):
        _sittings(study, ("P1",))


def test_a_score_beside_a_blank_one_is_said_to_take_no_part():
    study = small_study()
    said = "A score whose other half is missing in the sitting"
    assert not any(note.startswith(said) for note in trace_swaps(study).notes)
    scores = study.scores.copy()
    scores.loc[scores.index[0], "score"] = np.nan
    assert sum(note.startswith(said) for note in trace_swaps(small_study(scores=scores)).notes) == 1


N_FAMILIES, N_ATTRIBUTES = 500, 14


@pytest.fixture(scope="module")
def simulated():
    """Panels like a real one: 10 assessors, 3 sessions, 8 prototypes; only swap S0 does something, 3 points.

    Level of the assessor, sitting, prototype x assessor (SD 4.5) and residual (SD 7.5) vary; every attribute of every
    family is drawn anew.
    """
    rng = np.random.default_rng(20250311)
    shape = (10, 3, N_FAMILIES * N_ATTRIBUTES, 8)
    values = rng.normal(0, 7.5, shape) + rng.normal(0, 4.5, (10, 1, shape[2], 8))
    values += rng.normal(0, 6, (10, 1, shape[2], 1)) + rng.normal(0, 2, (10, 3, shape[2], 1))
    values += 3.0 * np.array([run & 1 for run in range(8)])
    return effects(values)


def four_errors(share, trials):
    return 4 * np.sqrt(share * (1 - share) / trials)


def test_intervals_cover_the_truth_as_often_as_they_say(simulated):
    for swap, truth in (("S0", 3.0), ("S1", 0.0), ("S2", 0.0)):
        part = simulated.loc[simulated["swap"] == swap]
        covered = ((part["ci_low"] <= truth) & (truth <= part["ci_high"])).mean()
        assert covered == pytest.approx(0.95, abs=four_errors(0.95, len(part)))


def test_a_swap_without_effect_is_flagged_as_often_as_stated(simulated):
    part = simulated.loc[simulated["swap"] != "S0"]
    assert (part["p_value"] < 0.05).mean() == pytest.approx(0.05, abs=four_errors(0.05, len(part)))


def test_adjusting_keeps_the_share_of_false_alarms_in_a_family(simulated):
    # With every null true (S1 and S2 only), any flag is a false alarm: at most 5 % of the families hold one.
    nulls = simulated.loc[simulated["swap"] != "S0", "p_value"].to_numpy().reshape(N_FAMILIES, 2 * N_ATTRIBUTES)
    flagged = np.array([(benjamini_hochberg(family) < 0.05).any() for family in nulls])
    assert flagged.mean() <= 0.05 + four_errors(0.05, N_FAMILIES)
    assert flagged.any()
    # With the real effects in the family, false alarms are at most 5 % of the flags on average.
    families = simulated["p_value"].to_numpy().reshape(N_FAMILIES, 3 * N_ATTRIBUTES)
    real = (simulated["swap"] == "S0").to_numpy().reshape(N_FAMILIES, 3 * N_ATTRIBUTES)
    flags = np.array([benjamini_hochberg(family) < 0.05 for family in families])
    wrong = (flags & ~real).sum(axis=1) / np.maximum(flags.sum(axis=1), 1)
    assert wrong.mean() <= 0.05 * 2 / 3 + 4 * wrong.std() / np.sqrt(
        N_FAMILIES
    )  # two thirds of the questions are true nulls


def test_batches_add_the_variance_of_the_weighted_sum_of_their_prototypes():
    # by hand, SD 3 between batches: P1 stands against P2 and P3, so weights -1, 1/2, 1/2 and 9 x 1.5; of two pairs
    # that share nobody four halves, 9 x 1; two batches of P4 take half of its quarter off
    pairs = pd.DataFrame(
        [("fan", "P2", "P1"), ("fan", "P3", "P1"), ("apart", "P2", "P1"), ("apart", "P4", "P3")],
        columns=["swap", "prototype", "versus"],
    )
    frame = pd.DataFrame(
        {"attribute": "SOFT", "swap": ["fan", "apart"], "estimate": [10.0, -10.0], "std_error": [2.0, 4.0], "df": 9.0}
    )
    found = _with_batches(frame, pairs, BatchSpread({"": 3.0}, np.inf, {"P4": 2}))
    assert found["std_error"].to_numpy() == pytest.approx(np.sqrt([4 + 13.5, 16 + 9 * 0.875]))
    np.testing.assert_allclose(found["statistic"], frame["estimate"] / found["std_error"])
    assert found["df"].to_numpy() == pytest.approx(9 * np.array([17.5**2 / 16, 23.875**2 / 256]))
    assert (found["ci_low"] < found["estimate"]).all()
    np.testing.assert_allclose(found["ci_high"] - found["estimate"], found["estimate"] - found["ci_low"])
    pd.testing.assert_frame_equal(_with_batches(frame, pairs, BatchSpread({}, np.inf, {})), frame)
