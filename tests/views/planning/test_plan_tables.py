"""Plans as tables and sentences."""

import pytest

from panel.plan.mixture_plan import plan_mixture
from panel.plan.swap_plan import Swap, plan_swaps
from panel.study.formulas import formula
from panel.views.planning.plan import (
    cautions_sentences,
    mixture_models_table,
    mixture_table,
    plan_formulas_table,
    plan_sentences,
    plan_swaps_table,
    plan_table,
)
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
)

BASE = formula(study_of(hand_cream_formulas()), "P1")
SWAPS = [Swap(CARBONATE, ALKANE, 6.0), Swap(TRIGLYCERIDE, ISOSTEARATE, 5.0), Swap(ALMOND, SHEA, 4.0)]
FULL, HALF, ONE = (plan_swaps(BASE, SWAPS, kind) for kind in ("full", "half", "one at a time"))


def test_crosses_show_which_swaps_are_made():
    table = plan_table(FULL)
    assert table["Swaps"].tolist() == ["base", "A", "B", "AB", "C", "AC", "BC", "ABC"]
    column = table[f"A: {CARBONATE} → {ALKANE}"]
    assert column.tolist() == ["", "×"] * 4


def test_formulas_side_by_side_add_up():
    table = plan_formulas_table(FULL.formulas).set_index("Ingredient, %")
    assert table.loc["Sum"].tolist() == ["100.00"] * 8
    assert table.loc["Aqua"].tolist() == ["71.85"] * 8
    assert table.loc[ALKANE].tolist() == ["–", "6.00"] * 4


def test_swaps_with_pairs_and_inflation():
    table = plan_swaps_table(ONE)
    assert table["Matched pairs"].tolist() == ["1", "1", "1"]
    assert table["Variance inflation"].tolist() == ["1.50"] * 3


@pytest.mark.parametrize(
    ("plan", "sentences"),
    [
        (
            FULL,
            (
                "8 prototypes for 3 swaps; their blends differ in 3 independent ways.",
                "Every swap, and what every two do together, can be told apart.",
            ),
        ),
        (
            HALF,
            (
                "4 prototypes for 3 swaps; their blends differ in 3 independent ways.",
                "Cannot be told apart (3 letters for the swaps, two letters for what two do together): A = BC, B = AC "
                "and C = AB.",
                "One prototype more would tell most with the swaps A: it sets 1 more effect free and makes 3 matched "
                "pairs.",
            ),
        ),
        (
            ONE,
            (
                "4 prototypes for 3 swaps; their blends differ in 3 independent ways.",
                "One prototype more would tell most with the swaps AB: it sets 1 more effect free and makes 2 matched "
                "pairs.",
            ),
        ),
    ],
    ids=["full", "half", "one at a time"],
)
def test_what_a_plan_can_tell_in_sentences(plan, sentences):
    assert plan_sentences(plan) == sentences


def test_mixtures_and_the_models_they_carry():
    plan = plan_mixture(BASE, {CARBONATE: (0, 15), TRIGLYCERIDE: (0, 15), ALMOND: (0, 15)}, "lattice")
    assert mixture_table(plan)[CARBONATE].tolist()[:2] == ["15.00", "7.50"]
    assert mixture_models_table(plan)["Enough"].tolist() == ["yes", "no", "no"]
    assert mixture_models_table(plan)["Blends to spare"].tolist() == ["3", "0", "−1"]


def test_cautions_are_said_once_with_all_their_ingredients():
    sentences = cautions_sentences(FULL.cautions)
    nuts = [text for text in sentences if "nut allergy" in text]
    assert len(nuts) == 1
    assert nuts[0].startswith(f"{ALMOND} and {SHEA}: ")
