"""Each caution of a map appears when it should and only then."""

import numpy as np
import pandas as pd
import pytest

from panel.models.prototypes.map import _map_method, _map_notes


def notes(
    *,
    shape: tuple[int, int] = (8, 6),
    shares: tuple[float, ...] = (0.6, 0.3, 0.1),
    chance: float = 0.4,
    spans: dict[str, float] | None = None,
    matrix: str = "covariance",
    half_axes: float = 1.0,
    draws: tuple[int, int] = (1000, 1000),
    left_out: dict[str, list[str]] | None = None,
) -> tuple[str, ...]:
    table = pd.DataFrame(np.zeros(shape), columns=[f"T{k}" for k in range(shape[1])])
    components = pd.DataFrame({"share": shares, "chance_share": [chance] * len(shares)})
    regions = pd.DataFrame({"prototype": ["P1", "P2"], "half_axis_1": [1.0, half_axes]})
    return tuple(_map_notes(table, components, regions, left_out or {}, spans or {}, matrix, draws))


def test_a_good_map_has_no_caution():
    assert notes() == ()
    assert notes(shares=(0.4, 0.3, 0.3), chance=0.39) == ()


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"shares": (0.5, 0.199, 0.301)}, "carry only 69 %"),
        ({"chance": 0.62}, "would reach 62 % in one case of twenty"),
        ({"chance": 0.628}, "would reach 63 % in one case of twenty"),  # as in the table
        ({"shape": (4, 6)}, "With 4 prototypes"),
        ({"shape": (8, 2)}, "With 2 attributes"),
        ({"spans": {"T0": 100.0, "T1": 10.0}}, r"different length \(10, 100\).*correlation"),
        ({"matrix": "correlation"}, "counts the same"),
        ({"half_axes": float("nan")}, "No region for P2"),
        ({"draws": (1000, 990)}, "10 of 1000 draws"),
        ({"left_out": {"prototypes": ["P9"]}}, "no estimated mean: P9"),
        ({"left_out": {"not_estimated": ["T8", "T9"]}}, "every prototype: T8, T9"),
        ({"left_out": {"flat": ["T7"]}}, "same mean for all prototypes: T7"),
    ],
)
def test_each_caution(how, words):
    found = notes(**how)
    assert len(found) == 1
    assert pd.Series(found).str.contains(words).all()


def test_scales_of_attributes_that_are_not_mapped_do_not_matter():
    assert notes(spans={"T0": 100.0, "gone": 10.0, "T1": float("nan")}) == ()


def test_mixed_scales_are_no_trouble_for_correlations():
    assert len(notes(spans={"T0": 100.0, "T1": 10.0}, matrix="correlation")) == 1


def test_the_method_names_what_was_done():
    text = _map_method((8, 14), np.zeros((10, 8, 14)), "covariance", 998)
    for words in ("covariance matrix of 8 prototypes by 14", "998 panels", "10 assessors", "95 %", "not stretched"):
        assert words in text
    assert _map_method((8, 14), np.zeros((3, 8, 14)), "correlation", 0).endswith("positive side).")
