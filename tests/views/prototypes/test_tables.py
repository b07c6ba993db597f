"""Tables in words: every cell is text, no NaN, right digits, right names."""

import numpy as np
import pandas as pd
import pytest

from panel.checks.finding import Finding
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.verdict import attribute_verdicts
from panel.study.naming import naming
from panel.views.planning.study import finding_table
from panel.views.prototypes import differences as tables
from tests.views.examples import NAMES, panel_map, panel_study

STUDY = panel_study(prototypes=4, assessors=6)
RESULT = find_differences(STUDY, versus="P1")
NAMED = naming(STUDY)
MAP = panel_map()
FINDINGS = (
    Finding("note", "a", "scores, row 2", "small", "nothing"),
    Finding("stop", "b", "scores, row 3: A02", "score 330", "ask A02"),
)
ALL = {
    "means": tables.means_table(RESULT.means, NAMED),
    "intervals": tables.mean_intervals_table(RESULT.means, NAMED, 0.9),
    "pairs": tables.pairs_table(RESULT.pairs, NAMED),
    "versus": tables.pairs_table(RESULT.versus, NAMED),
    "attributes": tables.attributes_table(RESULT.attributes, NAMED),
    "variances": tables.variances_table(RESULT.variances, NAMED),
    "components": tables.components_table(MAP),
    "map attributes": tables.map_attributes_table(MAP, NAMES),
    "map places": tables.map_places_table(MAP, NAMES),
    "findings": finding_table(FINDINGS),
}


@pytest.mark.parametrize("name", list(ALL))
def test_every_cell_is_text_for_people(name):
    table = ALL[name]
    assert len(table) > 0
    for column in table.columns:
        assert table[column].dtype == "str"
        assert not table[column].str.contains("nan", case=False).any()
        assert not table[column].str.match(r"-\d").any()
        assert "_" not in column


def test_means_stand_with_their_letters():
    table = ALL["means"]
    assert list(table.columns) == ["Attribute (means, 0 to 100)", "P1", "P2", "P3", "P4"]
    row = RESULT.means[(RESULT.means["attribute"] == "AF_STICK") & (RESULT.means["prototype"] == "P2")].iloc[0]
    cell = table.set_index(table.columns[0]).loc["stickiness", "P2"]
    assert cell == f"{row['estimate']:.1f} {row['letters']}"


def test_a_mean_that_is_not_there_is_a_dash():
    means = RESULT.means.drop(columns="letters")
    table = tables.means_table(means[~((means["attribute"] == "AF_STICK") & (means["prototype"] == "P2"))], NAMED)
    assert table.set_index(table.columns[0]).loc["stickiness", "P2"] == "–"
    assert "letter" not in " ".join(tables.mean_intervals_table(means, NAMED).columns)


def test_intervals_name_their_level():
    assert "90 % interval" in ALL["intervals"].columns
    assert ALL["intervals"]["90 % interval"].str.contains(" to ").all()


def test_differences_carry_sign_and_verdict():
    table = ALL["pairs"]
    signs = np.sign(RESULT.pairs["estimate"]).map({1.0: "+", -1.0: "−", 0.0: "0"})
    shown = table["Difference (scale units)"]
    assert [text[0] for text in shown if text != "0.0"] == [
        sign for sign, text in zip(signs, shown, strict=True) if text != "0.0"
    ]
    assert list(table["In words"]) == list(RESULT.pairs["said"])
    assert set(ALL["versus"]["Compared with"]) == {"P1"}


def test_tests_say_yes_only_below_the_level():
    frame = RESULT.attributes.assign(p_adjusted=[0.049, 0.051, np.nan, 0.2, 0.0001, 0.05])
    frame = attribute_verdicts(frame, RESULT.pairs, RESULT.confounds, 0.95)
    answers = tables.attributes_table(frame, NAMED)["Do prototypes differ?"]
    assert list(answers) == ["yes", "cannot tell", "–", "cannot tell", "yes", "cannot tell"]


def test_variances_are_shown_as_standard_deviations():
    frame = pd.DataFrame(
        {"attribute": ["AF_STICK"], "assessor": [16.0], "assessor_prototype": [0.0], "session": [np.nan],
         "residual": [2.25]}
    )  # fmt: skip
    assert list(tables.variances_table(frame, NAMED).iloc[0]) == ["stickiness", "4.0", "0.0", "–", "1.5"]


def test_components_add_up_without_rounding_up():
    table = ALL["components"]
    assert table["Together with those before"].iloc[-1] == "100 %"
    shares = MAP.components["share"]
    assert table["Share of the differences"].iloc[0] == f"{int(100 * shares.iloc[0] + 1e-9)} %"


def test_places_of_a_map_without_rings():
    table = tables.map_places_table(panel_map(assessors=3), NAMES)
    assert set(table["Ring, longer half"]) == {"–"}


def test_findings_come_gravest_first_in_words():
    table = ALL["findings"]
    assert list(table["How grave"]) == ["Stop: settle this first", "Good to know"]
    assert list(table["What to do"]) == ["ask A02", "nothing"]


def test_no_finding_is_an_empty_table():
    assert finding_table(()).empty
