import numpy as np
import pandas as pd
import pytest

from panel.checks.sound_study import _fact_number, _SoundStudy, scales, scales_stated, sound_study
from panel.study.study import Study
from panel.study.tables import TABLES
from tests.studies import small_study


def test_tables_in_order_are_passed_on_as_they_are():
    study = small_study()
    assert sound_study(study).tables["scores"] is study.tables["scores"]


def test_a_sound_study_is_passed_on():
    sound = sound_study(small_study())
    assert isinstance(sound, _SoundStudy)
    assert sound_study(sound) is sound


def test_absent_columns_and_odd_cells_take_the_promised_form():
    scores = pd.DataFrame(
        {"assessor": ["A01", None], "prototype": [1, 2], "score": ["12.5", "x"], "position": [np.inf, 2.0]},
        index=[7, 7],
        dtype="object",
    )
    sound = sound_study(Study({"scores": scores, "extra": scores})).tables
    assert list(sound) == ["scores"]
    frame = sound["scores"]
    assert frame.index.tolist() == [0, 1]
    for column in TABLES["scores"].columns:
        assert frame[column.name].dtype == ("float64" if column.kind in ("number", "integer") else "str"), column.name
    assert frame["assessor"].tolist() == ["A01", ""]
    assert frame["prototype"].tolist() == ["1", "2"]
    assert frame["score"].tolist()[0] == 12.5
    assert frame["score"].isna().tolist() == [False, True]
    assert frame["position"].isna().tolist() == [True, False]
    assert (frame["session"] == "").all()


def test_of_two_columns_with_one_name_the_first_counts():
    frame = pd.DataFrame([["A01", 1.0, 2.0]], columns=["assessor", "score", "score"])
    assert sound_study(Study({"scores": frame})).scores["score"].tolist() == [1.0]


@pytest.mark.parametrize(
    ("value", "number"), [(10, 10.0), (9.5, 9.5), ("100", 100.0), (np.float64(7), 7.0), (np.int64(7), 7.0)]
)
def test_a_fact_is_read_as_a_number(value, number):
    assert _fact_number({"scale_max": value}, "scale_max") == number


@pytest.mark.parametrize("value", [None, True, "wide", [1], {"a": 1}])
def test_a_fact_that_is_no_number_is_missing(value):
    assert np.isnan(_fact_number({"scale_max": value}, "scale_max"))
    assert "scale_max" not in sound_study(Study({}, {"scale_max": value, "title": "x"})).facts


def test_the_scale_of_an_attribute_comes_before_that_of_the_study():
    attributes = pd.DataFrame(
        {"attribute": ["T1", "T2", "T3"], "scale_min": [0.0, np.nan, 9], "scale_max": [9.0, 9, 1]}
    )
    study = sound_study(Study({"attributes": attributes}, {"scale_min": 0, "scale_max": 100}))
    lowest, highest = scales(study, pd.Index(["T1", "T2", "T3", "T4"]))
    assert scales_stated(study) == {"T1": (0.0, 9.0), "T3": (9.0, 1.0)}
    np.testing.assert_array_equal(lowest, [0, 0, np.nan, 0])
    np.testing.assert_array_equal(highest, [9, 100, np.nan, 100])


def test_without_any_scale_there_is_none():
    lowest, highest = scales(sound_study(Study({})), pd.Index(["T1"]))
    assert np.isnan(lowest[0])
    assert np.isnan(highest[0])
