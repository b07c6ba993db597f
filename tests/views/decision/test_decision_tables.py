"""The tables of a decision: every cell follows from the numbers beside it."""

import numpy as np
import pandas as pd
import pytest

from data_demo import make_demo
from panel.models.decision.decide import decide
from panel.models.decision.record import decisions_so_far, with_decision
from panel.study.naming import Naming, naming
from panel.views.decision.decide import (
    decisions_table,
    front_table,
    gates_table,
    pairs_decision_table,
    ranking_table,
    weight_shares_table,
    weights_table,
    window_text,
    windows_table,
)
from tests.models.decision.known_studies import target_study
from tests.studies import small_study

NAMES = Naming()


@pytest.fixture(scope="module")
def demo():
    study, _ = make_demo.make_study()
    return decide(study, np.random.default_rng(1)), naming(study)


@pytest.fixture(scope="module")
def plain():
    study = target_study({"P1": (60, 45), "P2": (25, 75), "P3": (52, 50)})
    tables = {**study.tables, "prototypes": pd.DataFrame({"prototype": ["P1", "P2", "P3"]})}
    return decide(type(study)(tables, study.facts), np.random.default_rng(1))


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (np.nan, 38, "up to 38"),
        (55, np.nan, "from 55 on"),
        (40, 50, "40 to 50"),
        (np.nan, np.nan, "–"),
        (0, 1, "0 to 1"),
    ],
)
def test_a_window_in_words(low, high, words):
    assert window_text(low, high) == words


def test_window_ends_keep_the_decimals_they_need():
    assert window_text(-12.345, np.nan, 1) == "from −12.3 on"
    assert window_text(np.nan, 14.0, 1) == "up to 14"


def test_the_ranking_has_all_prototypes_best_first(demo):
    result, names = demo
    shown = ranking_table(result, names)
    assert shown["Prototype"].iloc[0] == "P4 (swap AB)"
    assert shown["Standing"].tolist().count("open") == 1
    assert len(shown) == 8
    assert {"Liking", "Desirability above P1", "Chance of all, from the benchmark"} <= set(shown.columns)


def test_without_consumers_or_benchmark_their_columns_are_left_out(plain):
    shown = ranking_table(plain, NAMES)
    assert not {"Liking", "Chance to be best liked", "Chance of all, from the benchmark"} & set(shown.columns)
    assert "Consumers" not in pairs_decision_table(plain).columns
    assert "Chance as a difference" not in windows_table(plain.windows, NAMES, plain.level).columns


def test_each_window_has_its_mean_and_its_chance(demo):
    result, names = demo
    shown = windows_table(result.windows, names, result.level)
    row = shown.loc[(shown["Prototype"] == "P4") & (shown["Attribute"] == "softness")].iloc[0]
    source = result.windows.loc[
        (result.windows["prototype"] == "P4") & (result.windows["attribute"] == "LA_SOFT")
    ].iloc[0]
    assert row["Window"] == "from 54 on"
    assert row["Mean (0 to 100)"] == f"{source['estimate']:.1f}"
    assert row["Chance"] == f"{100 * source['chance']:.0f} %"
    assert row["Met"] == "yes"
    assert row["Window as a difference"] == "from 1 on"


def test_gates_are_told_with_their_values_and_what_is_missing(demo):
    shown = gates_table(demo[0]).set_index("Gate")
    assert shown.loc["pH: 5 to 6", "P4"] == "passes (5.43)"
    assert shown.loc["volatile share of the emollients: up to 45 %", "P4"] == "passes (40 %)"
    assert shown.loc["stability", "P6"] == "cannot tell (still running)"
    assert shown.loc["stability", "P4"] == "passes"


def test_a_value_known_only_as_a_range_is_shown_as_one():
    lines = pd.DataFrame(
        [("P1", "Oil of Nowhere", 4.0, "B", "emollient"), ("P1", "Dicaprylyl Carbonate", 6.0, "B", "emollient")],
        columns=["prototype", "ingredient", "percent", "phase", "kind"],
    )
    study = target_study(
        {"P1": (60, 45), "P2": (25, 75)}, facts={"gates": {"volatile_share": [None, 0.3]}}, formulas=lines
    )
    shown = gates_table(decide(study, np.random.default_rng(1))).set_index("Gate")
    cell = shown.loc["volatile share of the emollients: up to 30 %", "P1"]
    assert cell == "cannot tell (0 to 40 %; not known of 40 % of the emollients)"
    assert shown.iloc[0]["P2"] == "cannot tell (no complete formula)"


def test_the_other_tables_have_a_row_for_each_thing_they_are_about(demo):
    result, names = demo
    assert len(pairs_decision_table(result)) == 28
    assert front_table(result, names)["Beaten on everything"].isin(["yes", "no"]).all()
    weights = weights_table(result, names).set_index("Attribute")
    assert weights.loc["greasy film", ["Weight", "Must have", "Window"]].tolist() == ["2", "yes", "up to 38"]
    assert weight_shares_table(result, names)["Prototype"].iloc[0] == "P4 (swap AB)"


def test_recorded_decisions_come_last_first():
    words = {"reason": "a", "not_established": "b", "who": "c", "role": "formulator", "date": "2025-04-10"}
    study = with_decision(with_decision(small_study(), chosen="P4", **words), chosen="none", **words)
    shown = decisions_table(decisions_so_far(study))
    assert shown["Chosen"].tolist() == ["none", "P4"]
    assert shown["Who"].tolist() == ["c, formulator"] * 2
    assert shown["Study since"].tolist() == ["unchanged"] * 2
