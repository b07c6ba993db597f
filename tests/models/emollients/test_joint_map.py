"""The joint map: what of both tables takes part, and that it is the analysis of those."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.prototypes.map import joint_map
from panel.stats.maps.components import multiple_factors

ROUNDING = 1e-12


def frames(seed=1, n=8, p=5, q=4):
    rng = np.random.default_rng(seed)
    index = pd.Index([f"P{number}" for number in range(1, n + 1)], dtype="str")
    common = rng.normal(size=(n, 2))
    panel, instruments = (common @ rng.normal(size=(2, k)) + 0.3 * rng.normal(size=(n, k)) for k in (p, q))
    return (
        pd.DataFrame(50 + 10 * panel, index, [f"T{k}" for k in range(p)]),
        pd.DataFrame(5 + instruments, index, [f"m{k}" for k in range(q)]),
    )


def test_it_is_the_analysis_of_both_blocks():
    panel, instruments = frames()
    found, judge = joint_map(panel, instruments.iloc[::-1]), multiple_factors([panel, instruments])
    np.testing.assert_allclose(found.components["eigenvalue"], judge.eigenvalues, rtol=1e-9)
    np.testing.assert_allclose(found.components[["panel", "instruments"]].sum(axis=1), 1, rtol=1e-9)
    places = found.prototypes.set_index(["block", "prototype"])[["component_1", "component_2"]]
    np.testing.assert_allclose(places.loc["both"], judge.scores[:, :2], atol=1e-9)
    np.testing.assert_allclose(places.loc["instruments"], judge.partial_scores[1][:, :2], atol=1e-9)
    np.testing.assert_allclose((places.loc["panel"] + places.loc["instruments"]) / 2, places.loc["both"], atol=1e-9)
    assert found.rv == pytest.approx(judge.rv[0, 1])
    assert found.rv > found.rv_by_chance
    assert found.left_out == ()
    assert found.columns["block"].tolist() == ["panel"] * 10 + ["instruments"] * 8
    loadings = found.columns.set_index(["name", "component"])["loading"]
    first = np.corrcoef(panel["T0"], places.loc["both", "component_1"])[0, 1]
    np.testing.assert_allclose(loadings["T0", 1], first, rtol=1e-9)


def test_unrelated_tables_agree_no_more_than_by_chance():
    # Simulation: mean of RV over 300 pairs of unrelated tables is what chance gives, +- 4 standard errors.
    rng = np.random.default_rng(4)
    index = [f"P{k}" for k in range(8)]
    off = []
    for _ in range(300):
        panel, instruments = (
            pd.DataFrame(rng.normal(size=(8, k)), index, [f"{k}{j}" for j in range(k)]) for k in (6, 4)
        )
        found = joint_map(panel, instruments)
        off.append(found.rv - found.rv_by_chance)
    assert abs(np.mean(off)) < 4 * np.std(off) / np.sqrt(len(off))


def test_what_is_not_known_throughout_or_does_not_vary_is_left_out():
    panel, instruments = frames()
    panel.loc["P2", "T1"] = np.nan
    instruments["m0"] = 3.0
    found = joint_map(panel, instruments.drop(index="P8"))
    assert found.left_out == ("P8", "T1", "m0")
    assert len(found.prototypes) == 3 * 7
    assert set(found.columns["name"]) == {"T0", "T2", "T3", "T4", "m1", "m2", "m3"}


@pytest.mark.parametrize(
    ("n", "p", "q", "told"), [(3, 5, 4, "there are 3, 5 and 4"), (8, 1, 4, "there are 8, 1 and 4")]
)
def test_too_little_is_refused(n, p, q, told):
    with pytest.raises(ModelError, match=f"at least 4 prototypes that were both scored and measured.*{told}"):
        joint_map(*frames(n=n, p=p, q=q))


def test_one_direction_is_no_map():
    x = np.arange(6.0)
    index = [f"P{k}" for k in range(6)]
    first, second = pd.DataFrame({"a": x, "b": 2 * x}, index), pd.DataFrame({"c": -x, "d": x + 4}, index)
    with pytest.raises(ModelError, match="differ in one direction only"):
        joint_map(first, second)
