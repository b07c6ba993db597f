"""Tables of the panel check: every cell is text made from the result's own numbers."""

import numpy as np
import pandas as pd

from panel.models.assessors.performance import check_panel, leave_one_out
from panel.models.prototypes.scale_use import find_scale_use
from panel.study.naming import Naming
from panel.study.study import Study
from panel.views.assessors.assessor_words import (
    assessor_table,
    duplicates_table,
    panel_table,
    people_table,
    scale_factors_table,
    scale_use_table,
    without_differences_table,
    without_table,
)
from tests.simulated_panels import simulated_panel
from tests.studies import crossed_study
from tests.views.checked_panels import checked, with_patterns

NAMES = Naming(attributes={"T01": "glide"}, scale="0 to 100")


def test_people():
    result, _ = checked()
    table = people_table(with_patterns(result, [("A02", "reversed", "T09", "retrain"), ("A02", "drifts", "", "none")]))
    assert list(table["Assessor"]) == [f"A{number:02d}" for number in range(1, 7)]
    assert list(table.loc[:1, "What to do"]) == ["in line", "train first"]
    assert table.loc[1, "What stands out"] == "reversed, drifts"
    assert table.loc[0, "What stands out"] == "–"
    person = result.people.iloc[0]
    assert table.loc[0, "Tells apart alone"] == f"{person['n_separated']} of {person['n_judged']}"
    assert table.loc[0, "Use of the scale (1 = the others')"] == f"{person['scale']:.2f}"
    assert "95 % interval" in table


def test_one_person():
    result, names = checked()
    table = assessor_table(result, names, "A01")
    rows = result.assessors[result.assessors["assessor"] == "A01"]
    assert list(table["Attribute"]) == [names.attribute(name) for name in rows["attribute"]]
    judged = rows["judged"].to_numpy()
    assert (table.loc[~judged, "Slope on the others"] == "–").all()
    assert (table.loc[judged, "Slope on the others"] != "–").all()
    assert table.loc[list(rows["attribute"]).index("T09"), "What stands out"] == "reversed"
    assert (table["Change per session"] == "–").all()


def test_panel():
    result, names = checked()
    table = panel_table(result, names)
    row = result.panel.iloc[9]
    assert table.loc[9, "Reliability of the means"] == f"{row['reliability']:.2f}"
    assert table.loc[9, "Assessors who tell apart alone"] == f"{row['n_separating']} of 6"
    assert table.loc[9, "Repeatability, SD (0 to 100)"] == f"{row['repeatability']:.1f}"


def test_with_and_without():
    study = crossed_study(np.random.default_rng(1), assessors=4, prototypes=3, attributes=2, sessions=2)
    study = Study(study.tables, dict(study.facts) | {"benchmark": "P01"})
    found = leave_one_out(study)
    table = without_table(found.tests, NAMES)
    assert list(table.columns) == [
        "F (p unless below 0.001)",
        "Everybody",
        "Without A01",
        "Without A02",
        "Without A03",
        "Without A04",
    ]
    assert list(table.iloc[:, 0]) == ["glide", "T02"]
    first = found.tests[(found.tests["attribute"] == "T01") & (found.tests["assessor"] == "A02")].iloc[0]
    assert table.loc[0, "Without A02"].split(" (")[0] == f"{first['statistic']:.1f}"
    rows = without_differences_table(found.differences, NAMES)
    assert list(rows["Without"][:2]) == ["nobody", "nobody"]
    assert set(rows["Compared with"]) == {"P01"}
    assert len(rows) == 2 * 5 * 2


def test_what_could_not_be_fitted_is_a_dash():
    tests = pd.DataFrame(
        {
            "attribute": "T01",
            "assessor": ["", "A01", "A02"],
            "statistic": [3.0, np.nan, 20.0],
            "p_value": [0.04, np.nan, 1e-9],
        }
    )
    table = without_table(tests, NAMES)
    assert list(table.iloc[0]) == ["glide", "3.0 (0.040)", "–", "20.0"]


def test_duplicates():
    study = crossed_study(np.random.default_rng(2), assessors=3, prototypes=3, attributes=2, sessions=2)
    again = study.scores.assign(score=study.scores["score"] + 3)
    twice = Study(dict(study.tables) | {"scores": pd.concat([study.scores, again], ignore_index=True)}, study.facts)
    table = duplicates_table(check_panel(twice), NAMES)
    assert set(table["Apart (0 to 100)"]) == {"3.0"}
    assert set(table["Pairs"]) == {"6"}
    assert set(table["Against the others"]) == {"1.00"}


def test_scale_use():
    result = find_scale_use(simulated_panel(np.random.default_rng(3), assessors=6, prototypes=5))
    table, factors = scale_use_table(result, NAMES), scale_factors_table(result, NAMES)
    row = result.attributes.iloc[9]
    assert table.loc[9, "F, as compared"] == f"{row['additive_statistic']:.2f}"
    assert table.loc[9, "F, with use of the scale"] == f"{row['statistic']:.2f}"
    assert list(factors.columns) == ["Attribute", *[f"A{number:02d}" for number in range(1, 7)]]
    held_back = result.attributes["suppressed"].to_numpy()
    assert (factors.loc[held_back, "A01"] == "–").all()
    assert (factors.loc[~held_back, "A01"] != "–").all()
