"""Tables of the ladder: one row per thing, numbers as in the result, empty where a rung was not climbed."""

import numpy as np

from panel.models.emollients.ladder import find_ladder
from panel.study.naming import Naming, naming
from panel.views.emollients.ladder import (
    ladder_table,
    links_table,
    mixture_table,
    prediction_table,
    prototype_effects_table,
)
from panel.words import format_number
from tests.blend_studies import DEMO, SHARES, hand_cream, mixture_formulas, scored

LADDER = find_ladder(DEMO, rng=np.random.default_rng(1), draws=200)
NAMES = naming(DEMO)
FEW = find_ladder(hand_cream([[-15.0, -8.0, 7.0]], kept=[0, 1, 2, 4]), rng=np.random.default_rng(1), draws=50)


def test_one_row_per_rung():
    table = ladder_table(LADDER, NAMES)
    assert len(table) == 8
    assert table["Rung"].iloc[0] == "1. How many ways the blends differ"
    assert (table != "").all(axis=None)


def test_links_come_the_closest_first():
    table = links_table(LADDER, NAMES)
    assert len(table) == len(LADDER.links.links)
    r = LADDER.links.links["r"]
    assert table["r (8 blends)"].iloc[0] == format_number(r.iloc[r.abs().argmax()], 2)
    said = table.loc[(table["Attribute"] == "greasy film") & (table["Property of the blend"] == "volatile share")]
    assert said[["Said beforehand", "As said", "Moves with others"]].to_numpy().tolist() == [["falls", "yes", "yes"]]


def test_slopes_show_two_digits_that_count():
    slopes = links_table(LADDER, NAMES)["Slope"]
    assert all(len(text.replace("−", "").replace(".", "").lstrip("0")) >= 2 for text in slopes)


def test_predictions_stand_beside_chance_and_the_swaps():
    table = prediction_table(LADDER, NAMES)
    row = table.loc[table["Attribute"] == "firmness"].iloc[0]
    numbers = LADDER.prediction.set_index("attribute").loc["PU_FIRM"]
    assert row["Q2, all properties"] == format_number(numbers["q2"], 2)
    assert row["Q2, the swaps alone"] == format_number(numbers["q2_swaps"], 2)
    assert row["Most that can be explained"] == f"{100 * numbers['ceiling']:.0f} %"


def test_effects_with_prototypes_as_the_units():
    table = prototype_effects_table(LADDER, NAMES)
    assert len(table) == 42
    assert "→" in table["Swap"].iloc[0]


def test_the_mixture_models():
    ladder = find_ladder(scored(mixture_formulas(), [30 + 40 * SHARES[:, 0]]), rng=np.random.default_rng(1), draws=50)
    table = mixture_table(ladder, Naming())
    assert table["Model"].tolist() == ["linear", "quadratic"]


def test_rungs_that_were_not_climbed_give_empty_tables():
    assert links_table(FEW, Naming()).empty
    assert prediction_table(FEW, Naming()).empty
    assert prototype_effects_table(FEW, Naming()).empty
    assert mixture_table(LADDER, NAMES).empty
