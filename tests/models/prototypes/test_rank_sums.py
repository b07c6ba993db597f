"""Ranks within assessors: textbook data all the way, what each method loses, and the mixed model beside it."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import friedmanchisquare
from statsmodels.stats.multitest import multipletests

from panel.errors import ModelError
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.ranks import compare_ranks
from panel.study.study import Study
from tests.stats.answers.test_incomplete_ranks import ASSEMBLY, apples
from tests.stats.answers.test_ranks import GRASSES
from tests.studies import crossed_study, small_study

SAME = 1e-9


def study_of(**tables):
    """A study with one attribute for each table of scores (assessors by prototypes, NaN where there is no score)."""
    rows = []
    for attribute, table in tables.items():
        for (person, sample), score in np.ndenumerate(np.asarray(table, dtype=float)):
            if np.isfinite(score):
                rows.append((f"A{person + 1:02d}", f"P{sample + 1}", attribute, score))
    return Study({"scores": pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score"])})


def test_textbook_examples_through_the_whole_way():
    # Conover (1999) p. 372; Skillings & Mack (1981) table 1; appletaste of R's DAAG: sources in tests/stats
    found = compare_ranks(study_of(grass=GRASSES, assembly=ASSEMBLY, apple=apples()))
    attributes = found.attributes.set_index("attribute")
    assert list(attributes["method"]) == ["Friedman", "Skillings-Mack", "Skillings-Mack"]
    assert attributes["statistic"].tolist() == pytest.approx([8.097345, 15.493, 23.55], abs=5e-4)
    assert attributes["df"].tolist() == [3, 3, 3]
    assert attributes["exact"].tolist() == [True, False, False]
    assert attributes.loc["grass", "kendall_w"] == pytest.approx(0.2249263, abs=5e-8)
    ranks = found.mean_ranks[found.mean_ranks["attribute"] == "grass"]
    assert (ranks["mean_rank"] * 12).tolist() == pytest.approx([38, 23.5, 24.5, 34])


def test_repetitions_are_averaged_before_ranking_and_equal_scipy():
    study = small_study()
    found = compare_ranks(study)
    for attribute, rows in study.scores.groupby("attribute"):
        means = rows.pivot_table(index="assessor", columns="prototype", values="score", aggfunc="mean")
        theirs = friedmanchisquare(*means.to_numpy().round(9).T)
        own = found.attributes.set_index("attribute").loc[attribute]
        assert own["statistic"] == pytest.approx(theirs.statistic, abs=SAME)
        assert own["n_assessors"] == 4
    assert found.attributes["p_adjusted"].tolist() == pytest.approx(
        multipletests(found.attributes["p_value"], method="holm")[1].tolist()
    )
    assert found.gaps.empty
    assert "exact" in found.method


def test_means_that_are_equal_but_for_rounding_are_tied():
    # (0.1 + 0.2 + 0.3) / 3 and 0.2 differ in the last bit
    rows = [("A", "P1", s) for s in (0.1, 0.2, 0.3)] + [("A", "P2", 0.2)] * 3 + [("B", "P1", 1.0), ("B", "P2", 2.0)]
    scores = pd.DataFrame(rows, columns=["assessor", "prototype", "score"]).assign(attribute="x")
    scores["replicate"] = scores.groupby(["assessor", "prototype"]).cumcount().astype(str).astype("str")
    found = compare_ranks(Study({"scores": scores}))
    assert found.mean_ranks["mean_rank"].tolist() == [1.25, 1.75]
    assert any("more often than others" in note for note in found.notes)


def test_the_mixed_models_answer_stands_beside():
    study = crossed_study(np.random.default_rng(1), assessors=8, prototypes=4, attributes=3, sessions=2)
    differences = find_differences(study)
    found = compare_ranks(study, differences)
    np.testing.assert_array_equal(found.attributes["mixed_p_adjusted"], differences.attributes["p_adjusted"])
    pd.testing.assert_frame_equal(found.attributes, compare_ranks(study).attributes)


def test_who_is_lost_is_told():
    table = np.array([[1, 2, 3, 4], [2, 1, 4, 3], [1, 3, 2, np.nan], [5, np.nan, np.nan, np.nan]], dtype=float)
    found = compare_ranks(study_of(x=table))
    own = found.attributes.iloc[0]
    assert (own["method"], own["n_assessors"], own["n_lost"]) == ("Skillings-Mack", 3, 1)
    assert found.gaps.to_dict("records") == [
        {"attribute": "x", "assessor": "A03", "missing": "P4", "lost": False},
        {"attribute": "x", "assessor": "A04", "missing": "P2, P3, P4", "lost": True},
    ]
    notes = " ".join(found.notes)
    assert "nothing to do with the scores" in notes
    assert "single prototype" in notes


def test_an_attribute_that_cannot_be_ranked_is_named_and_the_others_stay():
    x, level = [[1, 2, 3], [2, 3, 1], [1, 3, 2]], [[1, 1, 1], [2, 2, 2], [3, 3, 3]]
    mixed = find_differences(study_of(x=x))
    found = compare_ranks(study_of(x=x, level=level), mixed)
    assert found.attributes["attribute"].tolist() == ["x"]
    assert any("level is not ranked" in note for note in found.notes)
    with pytest.raises(ModelError, match="No attribute can be ranked: level"):
        compare_ranks(study_of(level=level), mixed)


def test_under_no_difference_the_exact_test_keeps_its_level():
    # 200 attributes of 6 assessors and 4 prototypes without any difference; allowance of three standard errors
    study = crossed_study(
        np.random.default_rng(2), assessors=6, prototypes=4, attributes=200, sessions=1, difference_sd=0
    )
    found = compare_ranks(study, find_differences(small_study()))
    assert found.attributes["exact"].all()
    assert (found.attributes["p_value"] <= 0.05).mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)
