"""What swaps did to readings: truth recovered, intervals that hold what they say, and none where pairs are too few."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from panel.models.emollients.readings import _reading_means, _reading_swaps
from panel.study.study import Study
from tests.formula_studies import ARROW, hand_cream_formulas, study_of
from tests.reading_studies import MEASURES, hand_cream_readings, measured, readings_table

EXACT = 1e-12
SWAPS = list(ARROW)


def effects(readings, formulas=None):
    study = hand_cream_readings(readings) if formulas is None else study_of(formulas, readings=readings)
    return _reading_swaps(study, _reading_means(study))


def test_without_scatter_the_true_factors_come_back():
    found = effects(measured(np.random.default_rng(1), spread=0, batch_spread=0))
    for row in found.to_dict("records"):
        factor = MEASURES[row["measure"]][2][SWAPS.index(row["swap"])]
        np.testing.assert_allclose([row["ratio"], row["ratio_lowest"], row["ratio_highest"]], factor, rtol=1e-9)
    assert (found["n_pairs"] == 4).all()
    assert len(found) == 3 * len(MEASURES)
    assert "p_value" not in found  # no people stand behind a reading


def test_one_effect_by_hand():
    readings = measured(np.random.default_rng(2), measures=["firmness"])
    row = effects(readings).iloc[0]
    means = readings.groupby("prototype")["value"].mean()
    after, before = (means.loc[[f"P{k}" for k in places]].to_numpy() for places in ((2, 4, 6, 8), (1, 3, 5, 7)))
    for values, names, turn in (
        (after - before, ("estimate", "ci_low", "ci_high"), np.array),
        (np.log(after / before), ("ratio", "ratio_ci_low", "ratio_ci_high"), np.exp),
    ):
        half = t.ppf(0.975, 3) * values.std(ddof=1) / 2
        expected = turn([values.mean(), values.mean() - half, values.mean() + half])
        np.testing.assert_allclose(row[list(names)].astype(float), expected, rtol=EXACT)
    assert row["df"] == 3
    np.testing.assert_allclose(
        [row["ratio_lowest"], row["ratio_highest"]], [(after / before).min(), (after / before).max()]
    )


def test_intervals_hold_the_true_factor_as_often_as_they_say():
    # Simulation with known truth: batches scatter 6 %, readings 5 %. 300 measures, all the true paper blot; 95 % +- 4
    # standard errors.
    rng = np.random.default_rng(8)
    drawn = [measured(rng, batch_spread=0.06, measures=["paper blot"]).assign(measure=f"m{k}") for k in range(300)]
    found = effects(pd.concat(drawn, ignore_index=True))
    truth = found["swap"].map(dict(zip(SWAPS, MEASURES["paper blot"][2], strict=True)))
    held = (found["ratio_ci_low"] <= truth) & (truth <= found["ratio_ci_high"])
    assert len(held) == 900
    assert held.mean() == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / len(held)))


def test_other_units_change_differences_but_not_ratios():
    readings = measured(np.random.default_rng(3), measures=["firmness"])
    newton = readings.assign(value=readings["value"] * 9.80665e-3, unit="N")
    one, other = effects(readings), effects(newton)
    np.testing.assert_allclose(other["ratio"], one["ratio"], rtol=1e-9)
    np.testing.assert_allclose(other["ratio_ci_low"], one["ratio_ci_low"], rtol=1e-9)
    np.testing.assert_allclose(other["estimate"], one["estimate"] * 9.80665e-3, rtol=1e-9)


def test_fewer_than_three_pairs_have_no_interval():
    formulas = {name: lines for name, lines in hand_cream_formulas().items() if name in ("P1", "P2", "P3", "P4")}
    found = effects(measured(np.random.default_rng(3), measures=["gloss"]), formulas)
    assert (found["n_pairs"] == 2).all()
    assert found[["std_error", "ci_low", "ratio_ci_low", "ratio_ci_high"]].isna().all(axis=None)
    assert found["ratio"].notna().all()


def test_pairs_that_share_a_prototype_have_no_interval():
    # The base compared with three copies of the same swap: the pairs are not independent.
    formulas = hand_cream_formulas()
    formulas = {"P1": formulas["P1"]} | {f"C{k}": formulas["P2"] for k in range(3)}
    rows = [
        {"prototype": name, "measure": "firmness", "unit": "g", "value": 60.0 + place}
        for place, name in enumerate(formulas)
    ]
    (row,) = effects(readings_table(rows), formulas).to_dict("records")
    assert row["n_pairs"] == 3
    assert np.isnan(row["std_error"])
    np.testing.assert_allclose(row["estimate"], 2)


def test_no_ratio_of_ph_or_of_values_below_zero():
    rows = [
        {"prototype": f"P{k + 1}", "measure": measure, "unit": unit, "value": value(k)}
        for measure, unit, value in (("pH", "1", lambda k: 5 + k**2 / 90), ("x", "g", lambda k: k**1.5 - 3))
        for k in range(8)
    ]
    found = effects(readings_table(rows))
    assert found[["ratio", "ratio_ci_low", "ratio_lowest"]].isna().all(axis=None)
    assert found["ci_low"].notna().any()


def test_a_measure_missing_for_some_prototypes_rests_on_the_pairs_it_has():
    readings = measured(np.random.default_rng(3), measures=["gloss", "firmness"])
    readings = readings.loc[~((readings["measure"] == "gloss") & (readings["prototype"] == "P8"))]
    found = effects(readings).set_index(["measure", "swap"])
    assert (found.loc["gloss", "n_pairs"] == 3).all()
    assert found.loc["gloss", "std_error"].notna().all()
    assert (found.loc["firmness", "n_pairs"] == 4).all()


def test_without_formulas_or_swaps_there_is_nothing():
    readings = measured(np.random.default_rng(3), measures=["gloss"])
    names = pd.DataFrame({"prototype": [f"P{k}" for k in range(1, 9)]}, dtype="str")
    study = Study(tables={"prototypes": names, "readings": readings})
    assert _reading_swaps(study, _reading_means(study)).empty
    lonely = study_of({"P1": hand_cream_formulas()["P1"]}, readings=readings)
    assert _reading_swaps(lonely, _reading_means(lonely)).empty
