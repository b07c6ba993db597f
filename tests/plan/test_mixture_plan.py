"""Plans of blends at a constant oil phase: textbook points, limits, totals, and which models they carry."""

import numpy as np
import pytest

from panel.errors import ModelError
from panel.plan.mixture_plan import plan_mixture
from panel.study.formulas import formula
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, ISOSTEARATE, TRIGLYCERIDE, hand_cream_formulas, study_of

BASE = formula(study_of(hand_cream_formulas()), "P1")  # 6 carbonate, 5 triglyceride, 4 almond oil
# Cornell (1990), p. 69, as per cent of a formula with 10 % to share
CORNELL = {CARBONATE: (4.09, 8.49), TRIGLYCERIDE: (0.0, 2.52), ISOSTEARATE: (1.51, 2.74)}
FREE = {CARBONATE: (0.0, 15.0), TRIGLYCERIDE: (0.0, 15.0), ALMOND: (0.0, 15.0)}


def blends(plan):
    return plan.blends.drop(columns="prototype").to_numpy()


def base_of(total):
    """The base with this much of the two emollients that vary, and almond oil for the rest of 15 %."""
    lines = BASE.set_index("ingredient")["percent"]
    lines[CARBONATE], lines[TRIGLYCERIDE], lines[ALMOND] = total - 4, 4, 15 - total
    return BASE.assign(percent=lines.to_numpy())


def test_corners_are_those_of_the_worked_example():
    plan = plan_mixture(base_of(10.0), CORNELL, "vertices")
    expected = {(8.49, 0.0, 1.51), (7.26, 0.0, 2.74), (5.97, 2.52, 1.51), (4.74, 2.52, 2.74)}
    assert {tuple(row) for row in blends(plan)[:4].tolist()} == expected
    assert blends(plan)[4] == pytest.approx(np.array(sorted(expected)).mean(axis=0), abs=0.01)


@pytest.mark.parametrize("kind", ["lattice", "centroid", "vertices"])
def test_every_formula_keeps_its_total_and_its_rest(kind):
    plan = plan_mixture(BASE, FREE, kind)
    sums = plan.formulas.groupby("prototype", sort=False)["percent"].sum()
    assert sums.tolist() == pytest.approx([100] * len(sums))
    assert blends(plan).sum(axis=1) == pytest.approx(np.full(len(sums), 15.0))
    assert plan.total == pytest.approx(15)
    water = plan.formulas.loc[plan.formulas["ingredient"] == "Aqua", "percent"]
    assert set(water) == {71.85}


def test_lattice_and_centroid_have_the_points_of_the_textbook():
    assert {tuple(row) for row in blends(plan_mixture(BASE, FREE, "lattice")).tolist()} == {
        (15.0, 0.0, 0.0),
        (0.0, 15.0, 0.0),
        (0.0, 0.0, 15.0),
        (7.5, 7.5, 0.0),
        (7.5, 0.0, 7.5),
        (0.0, 7.5, 7.5),
    }
    assert blends(plan_mixture(BASE, FREE, "centroid"))[-1].tolist() == [5.0, 5.0, 5.0]


def test_lowest_amounts_shrink_the_lattice_and_emollients_without_limits_stay():
    plan = plan_mixture(BASE, {CARBONATE: (2.0, 15.0), TRIGLYCERIDE: (1.0, 15.0), ISOSTEARATE: (0.0, 15.0)}, "lattice")
    # almond oil keeps its 4 %, 11 % is left to share, 8 % of it beyond the lowest amounts
    assert blends(plan)[0].tolist() == [10.0, 1.0, 0.0]
    almond = plan.formulas.loc[plan.formulas["ingredient"] == ALMOND, "percent"]
    assert set(almond) == {4.0}


def test_which_models_the_blends_can_carry():
    lattice = plan_mixture(BASE, FREE, "lattice").models.set_index("model")
    assert lattice["terms"].tolist() == [3, 6, 7]
    assert lattice["spare"].tolist() == [3, 0, -1]
    assert lattice["enough"].tolist() == [True, False, False]
    corners = plan_mixture(base_of(10.0), CORNELL, "vertices").models.set_index("model")
    assert corners.loc["linear", "spare"] == 2
    assert not corners["enough"].any()


def test_the_extra_blend_is_one_that_was_not_made():
    plan = plan_mixture(base_of(10.0), CORNELL, "vertices")
    new = plan.extra.drop(columns=["rank_gain", "gain"]).to_numpy()
    apart = np.abs(new[:, None] - blends(plan)[None]).max(axis=2).min(axis=1)
    assert (apart > 0.02).all()
    assert (plan.extra["rank_gain"].diff().dropna() <= 0).all()
    assert new.sum(axis=1) == pytest.approx(np.full(len(new), 10.0))
    assert plan.extra.iloc[0]["rank_gain"] == 1


def test_a_repeat_is_recommended_and_cautions_are_shown():
    plan = plan_mixture(BASE, FREE | {ALKANE: (0.0, 5.0)}, "vertices")
    assert "Make one of the blends twice" in plan.notes[1]
    assert "tree_nut" in set(plan.cautions["caution"])


@pytest.mark.parametrize(
    ("limits", "kind", "words"),
    [
        ({CARBONATE: (0.0, 15.0)}, "vertices", "at least two different emollients"),
        ({CARBONATE: (0.0, 15.0), "dicaprylyl carbonate": (0.0, 15.0)}, "vertices", "at least two different"),
        ({CARBONATE: (5.0, 5.0), TRIGLYCERIDE: (0.0, 15.0)}, "vertices", "leave nothing to vary"),
        ({CARBONATE: (-1.0, 5.0), TRIGLYCERIDE: (0.0, 15.0)}, "vertices", "leave nothing to vary"),
        ({CARBONATE: (0.0, 2.0), TRIGLYCERIDE: (0.0, 3.0)}, "vertices", "water never fills up"),
        ({CARBONATE: (8.0, 10.0), TRIGLYCERIDE: (4.0, 9.0)}, "vertices", "water never fills up"),
        ({CARBONATE: (0.0, 6.0), TRIGLYCERIDE: (0.0, 15.0)}, "lattice", "runs over a highest amount"),
    ],
)
def test_what_cannot_be_planned_is_refused(limits, kind, words):
    with pytest.raises(ModelError, match=words):
        plan_mixture(BASE, limits, kind)
