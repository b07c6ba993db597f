"""Leaving out single scores: against R's refits, against refitting the whole study, and a planted slip."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from panel.models.prototypes.assumptions import _influence_rows, _residual_checks, _scored_panels
from panel.models.prototypes.differences import find_differences
from panel.study.scores_used import scores_used
from panel.study.study import Study
from tests.models.prototypes.test_differences import fries
from tests.models.prototypes.test_residual_checks import normal, rows_of_data, simulated

REFERENCE = Path(__file__).parents[2] / "reference" / "mixed_residuals"
R_TOLERANCE = 1e-4  # relative, of F; lme4 keeps its variances to about six digits
SAME_FIT = 1e-5  # relative: one fit from another start


def influence(study, candidates):
    frame = scores_used(study).frame
    panels, _ = _scored_panels(study)
    rng = np.random.default_rng(1)
    parts = [
        _influence_rows(
            panel,
            [_residual_checks(panel, k, frame, 1, rng)[1:] for k in range(len(panel.design.attributes))],
            frame,
            candidates,
        )
        for panel in panels
    ]
    return pd.concat(parts, ignore_index=True)


@pytest.mark.parametrize("model", ["repeated", "session"])
def test_refits_equal_r(model):
    # R 4.2.2, lmerTest: the model fitted without one score at a time, tests/reference/mixed_residuals
    study = fries("thin_5_8", session=model == "session")
    study = Study({**study.tables, "scores": study.scores[study.scores["attribute"].isin(["potato", "rancid"])]})
    r = pd.read_csv(REFERENCE / "left_out.csv")
    r = r[(r["data"] == "thin") & (r["model"] == model)]
    ours = influence(study, candidates=10_000)
    numbers = pd.Series(np.arange(len(study.scores)), index=study.scores.index)
    assert len(ours) == numbers.size - study.scores["score"].isna().sum()
    rows = rows_of_data(study, "thin_5_8")
    for line in r.to_dict("records"):
        own = ours[(ours["attribute"] == line["attribute"]) & (ours["row"].map(rows) == line["row"])].iloc[0]
        assert own["statistic_without"] == pytest.approx(line["statistic"], rel=R_TOLERANCE, abs=1e-5)
        assert own["p_value_without"] == pytest.approx(line["p_value"], rel=2e-3)
        theirs = {"1": 0.0, "2": line["difference_2_1"], "3": line["difference_3_1"]}
        assert own["estimate_without"] == pytest.approx(theirs[own["highest"]] - theirs[own["lowest"]], abs=1e-4)


def test_it_is_what_the_whole_study_gives_without_that_score():
    study = simulated(2, normal, people=6, samples=4)
    ours = influence(study, candidates=2)
    full = find_differences(study)
    for own in ours.to_dict("records"):
        rest = find_differences(Study({"scores": study.scores.drop(index=own["row"] - 2)}))
        attribute = own["attribute"]
        before = full.attributes.set_index("attribute").loc[attribute]
        after = rest.attributes.set_index("attribute").loc[attribute]
        assert own["statistic"] == pytest.approx(before["statistic"], rel=SAME_FIT)
        assert own["statistic_without"] == pytest.approx(after["statistic"], rel=SAME_FIT)
        assert own["p_value_without"] == pytest.approx(after["p_value"], rel=1e-3)
        means = rest.means[rest.means["attribute"] == attribute].set_index("prototype")["estimate"]
        assert own["estimate_without"] == pytest.approx(means[own["highest"]] - means[own["lowest"]], abs=1e-4)


def test_the_candidates_hold_the_score_that_moves_the_largest_difference_most():
    # brute force: every score left out in turn
    study = simulated(8, normal, people=6, samples=4)
    every, few = influence(study, candidates=10_000), influence(study, candidates=3)
    for attribute, rows in every.groupby("attribute"):
        moved = (rows["estimate_without"] - rows["estimate"]).abs()
        own = few[few["attribute"] == attribute]
        assert (own["estimate_without"] - own["estimate"]).abs().max() == pytest.approx(moved.max(), rel=SAME_FIT)
        assert len(own) <= 6


def test_a_slip_is_among_the_candidates():
    study = simulated(6, normal)
    scores = study.scores.copy()
    rng = np.random.default_rng(2)
    slips = {name: int(rng.choice(rows.index)) for name, rows in scores.groupby("attribute")}
    scores.loc[list(slips.values()), "score"] += 90
    ours = influence(Study({"scores": scores}), candidates=3)
    for attribute, index in slips.items():
        assert index + 2 in ours.loc[ours["attribute"] == attribute, "row"].tolist()


def test_a_prototype_scored_once_is_not_lost():
    study = simulated(1, normal, people=5, samples=3)
    scores = study.scores
    once = scores[(scores["prototype"] != "P2") | ((scores["assessor"] == "A1") & (scores["replicate"] == "0"))]
    ours = influence(Study({"scores": once.reset_index(drop=True)}), candidates=10_000)
    assert "P2" not in set(ours["prototype"])
    assert ours["statistic_without"].notna().all()
