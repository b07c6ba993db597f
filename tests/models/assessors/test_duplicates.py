"""Blind duplicates: which samples are the same, and how far apart a person puts them."""

import numpy as np
import pandas as pd
import pytest

from panel.models.assessors.performance import _duplicate_distances, _same_formulas
from panel.study.study import Study
from tests.studies import small_study


def scores(rows):
    return pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "session", "score"])


def distances(study):
    return _duplicate_distances(study, study.scores).set_index(["assessor", "attribute"])


def test_one_prototype_twice_in_a_session():
    study = Study(
        {
            "scores": scores(
                [
                    ("A", "P1", "x", "1", 40.0), ("A", "P1", "x", "1", 46.0), ("A", "P2", "x", "1", 10.0),
                    ("A", "P1", "x", "2", 80.0), ("B", "P1", "x", "1", 50.0), ("B", "P1", "x", "1", 53.0),
                    ("B", "P2", "x", "1", 20.0), ("B", "P2", "x", "1", 16.0),
                ]
            )
        }
    )  # fmt: skip
    found = distances(study)
    assert found.loc[("A", "x"), "distance"] == pytest.approx(6)
    assert found.loc[("A", "x"), "n_pairs"] == 1
    assert found.loc[("B", "x"), "distance"] == pytest.approx(np.sqrt((9 + 16) / 2))
    assert found.loc[("A", "x"), "others_distance"] == found.loc[("B", "x"), "distance"]
    assert found.loc[("A", "x"), "ratio"] == pytest.approx(6 / np.sqrt(12.5))


def test_two_prototypes_with_one_formula():
    plain = small_study()
    formulas = plain.table("formulas")
    twin = formulas[formulas["prototype"] == "P1"].assign(prototype="P9")
    twin.loc[twin.index[0], "percent"] += 0.004  # formulas are written to 0.01 per cent
    same = small_study(formulas=pd.concat([formulas, twin], ignore_index=True))
    assert _same_formulas(same) == [("P1", "P9")]
    assert _same_formulas(plain) == []
    base = plain.scores[plain.scores["prototype"] == "P1"]
    both = small_study(
        formulas=same.table("formulas"),
        scores=pd.concat([plain.scores, base.assign(prototype="P9", score=base["score"] + 2.5)], ignore_index=True),
    )
    found = _duplicate_distances(both, both.scores)
    np.testing.assert_allclose(found["distance"], 2.5)
    assert (found["n_pairs"] == 2).all()  # one in each of two sessions
    assert list(dict.fromkeys(found["assessor"])) == list(both.assessors)
    assert list(found["attribute"][:3]) == list(both.attributes)


def test_repetitions_in_other_sessions_or_without_one_are_no_duplicates():
    study = Study({"scores": scores([("A", "P1", "x", "", 1.0), ("A", "P1", "x", "", 9.0)])})
    found = _duplicate_distances(study, study.scores)
    assert found.empty
    assert "distance" in found
    assert _duplicate_distances(small_study(), small_study().scores).empty


def test_a_person_alone_has_nobody_to_be_compared_with():
    study = Study({"scores": scores([("A", "P1", "x", "1", 1.0), ("A", "P1", "x", "1", 9.0)])})
    found = distances(study)
    assert found.loc[("A", "x"), "distance"] == 8
    assert np.isnan(found.loc[("A", "x"), "others_distance"])
