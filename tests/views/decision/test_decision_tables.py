"""The tables of a decision: every cell follows from the numbers beside it."""

import pandas as pd
import pytest

from data_demo import make_demo
from panel.models.decision.decide import decisions_so_far, with_decision
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.views.decision.decide import (
    _GATES,
    _PAIRS,
    _RANKING,
    _VERSUS_WINDOWS,
    _WEIGHTS,
    _WINDOWS,
    DECISIONS,
)
from tests.drawn_studies import five_points
from tests.models.decision.known_studies import decided, target_study
from tests.studies import small_study

NAMES = Naming()


@pytest.fixture(scope="module")
def demo():
    study, _ = make_demo.make_study()
    return decided(study), naming(study)


@pytest.fixture(scope="module")
def plain():
    study = target_study({"P1": (60, 45), "P2": (25, 75), "P3": (52, 50)})
    tables = {**study.tables, "prototypes": pd.DataFrame({"prototype": ["P1", "P2", "P3"]})}
    return decided(type(study)(tables, study.facts))


def test_a_window_is_told_as_it_was_typed():
    study = five_points()
    result, names = decided(study), naming(study)
    for table in (_WINDOWS, _WEIGHTS):
        told = shown(table, result, names)
        assert set(told.loc[told["Attribute"] == names.attribute("T02"), "Window"]) == {"2.5 or less"}


def test_the_ranking_has_all_prototypes_best_first(demo):
    result, names = demo
    table = shown(_RANKING, result, names)
    assert table["Prototype"].iloc[0] == "P4 (swap AB)"
    assert table["Standing"].tolist() == ["in the running"] * 3 + ["out"] * 5
    assert len(table) == 8
    assert len(table.columns) <= 8
    row = result.ranking.iloc[0]
    versus = f"{100 * row['chance_all_versus']:.0f} %"
    assert table["From P1 (came true)"].iloc[0].startswith(versus)
    assert table["Desirability (0 to 1)"].iloc[0].startswith(f"{row['desirability']:.2f} ({row['ci_low']:.2f} to ")


def test_without_consumers_or_benchmark_their_columns_are_left_out(plain):
    assert not {"Liking", "From P1 (came true)"} & set(shown(_RANKING, plain, NAMES).columns)
    assert "Consumers" not in shown(_PAIRS, plain, NAMES).columns


def test_each_window_has_its_mean_and_its_chance(demo):
    result, names = demo
    table = shown(_WINDOWS, result, names)
    assert len(table.columns) <= 8
    row = table.loc[(table["Prototype"] == "P4") & (table["Attribute"] == "softness")].iloc[0]
    source = result.windows.loc[
        (result.windows["prototype"] == "P4") & (result.windows["attribute"] == "LA_SOFT")
    ].iloc[0]
    assert row["Window"] == "54 or more"
    mean = f"{source['estimate']:.1f} ({source['ci_low']:.1f} to {source['ci_high']:.1f})"
    assert row["Mean (0 to 100)"] == mean
    assert row["Shrunken"].startswith(f"{source['shrunken']:.1f} ({source['shrunken_low']:.1f} to ")
    assert row["Chance"] == f"{100 * source['chance']:.0f} % ({100 * source['chance_true']:.0f} %)"
    assert row["Met"] == "yes"


def test_differences_from_the_benchmark_come_with_shrunken_ones_and_their_sign(demo):
    result, names = demo
    table = shown(_VERSUS_WINDOWS, result, names)
    assert "P1" not in set(table["Prototype"])
    row = table.loc[(table["Prototype"] == "P4") & (table["Attribute"] == "greasy film")].iloc[0]
    source = result.windows.set_index(["attribute", "prototype"]).loc[("AF_GREASE", "P4")]
    assert row["Window of the difference"] == "−13 or less"
    assert row["Difference"].startswith(f"−{-source['difference']:.1f} (")
    assert row["Difference, shrunken"] == f"−{-source['difference_shrunken']:.1f}"
    assert abs(source["difference_shrunken"]) < abs(source["difference"])
    assert row["Sign wrong"] == "< 1 %"


def test_gates_are_told_with_their_values_and_what_is_missing(demo):
    table = shown(_GATES, *demo).set_index("Gate")
    assert table.loc["pH: 5 to 6", "P4"] == "passes (5.43)"
    assert table.loc["volatile share of the emollients: 45 % or less", "P4"] == "passes (40 %)"
    assert table.loc["stability", "P6"] == "cannot tell (still running)"
    assert table.loc["stability", "P4"] == "passes"


def test_a_value_known_only_as_a_range_is_shown_as_one():
    lines = pd.DataFrame(
        [("P1", "Oil of Nowhere", 4.0, "B", "emollient"), ("P1", "Dicaprylyl Carbonate", 6.0, "B", "emollient")],
        columns=["prototype", "ingredient", "percent", "phase", "kind"],
    )
    study = target_study(
        {"P1": (60, 45), "P2": (25, 75)}, facts={"gates": {"volatile_share": [None, 0.3]}}, formulas=lines
    )
    table = shown(_GATES, decided(study), NAMES).set_index("Gate")
    cell = table.loc["volatile share of the emollients: 30 % or less", "P1"]
    assert cell == "cannot tell (0 to 40 %; not known of 40 % of the emollients)"
    assert table.iloc[0]["P2"] == "cannot tell (no complete formula)"


def test_the_other_tables_have_a_row_for_each_thing_they_are_about(demo):
    result, names = demo
    assert len(shown(_PAIRS, result, names)) == 28
    weights = shown(_WEIGHTS, result, names).set_index("Attribute")
    assert weights.loc["greasy film", ["Weight", "Must have", "Window"]].tolist() == ["2", "yes", "38 or less"]


def test_recorded_decisions_come_last_first():
    words = {"reason": "a", "not_established": "b", "who": "c", "role": "formulator", "date": "2025-04-10"}
    study = with_decision(with_decision(small_study(), chosen="P4", **words), chosen="none", **words)
    table = shown(DECISIONS, decisions_so_far(study), NAMES)
    assert table["Chosen"].tolist() == ["none", "P4"]
    assert table["Who"].tolist() == ["c, formulator"] * 2
    assert table["Study since"].tolist() == ["unchanged"] * 2
