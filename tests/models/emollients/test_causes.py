"""The matrix of causes credits what the design earns and nothing else, and knows the wanted way from the other."""

from pathlib import Path

import numpy as np
import pytest

from panel.answers import Answers
from panel.models.emollients.causes import AWAY, GOES_ALONG, STANDS_OUT, TOWARDS, _wanted_way, find_causes
from panel.models.prototypes.verdict import CANNOT_TELL, DIFFERS
from panel.study.open_study import open_study
from tests.formula_studies import ALKANE, CARBONATE, hand_cream_formulas, scores_of, study_of

PROTOTYPES = [f"P{number}" for number in range(1, 9)]
DEMO = Path(__file__).parents[3] / "data_demo" / "reading_room"


@pytest.fixture(scope="module")
def demo():
    return Answers(open_study(DEMO))


@pytest.fixture(scope="module")
def causes(demo):
    return demo.causes


def test_the_numbers_are_those_of_the_swaps(demo, causes):
    both = causes.cells.merge(demo.swaps.swaps, on=["attribute", "swap"], suffixes=("", "_there"))
    assert len(both) == len(causes.cells) == len(demo.swaps.swaps)
    for name in ("estimate", "ci_low", "ci_high", "p_adjusted"):
        np.testing.assert_array_equal(both[name], both[f"{name}_there"])
    assert set(causes.margins.values()) == {8.0}


def test_what_is_tied_to_the_making_day_is_credited_with_nothing(causes):
    tied = causes.cells["goes_along"] != ""
    assert set(causes.cells.loc[tied, "letter"]) == {"C"}
    assert set(causes.cells.loc[tied, "mark"]) == {GOES_ALONG}
    assert causes.cells.loc[tied, "seen"].sum() > 5  # it would stand out, were it not tied
    free = causes.cells.loc[~tied]
    np.testing.assert_array_equal(free["mark"] == STANDS_OUT, free["p_adjusted"] < 0.05)
    np.testing.assert_array_equal(free["mark"] == CANNOT_TELL, free["p_adjusted"] >= 0.05)
    assert causes.swaps["one_batch"].all()


def test_no_swap_stands_out_where_the_prototypes_are_not_told_apart():
    """The mark follows the verdict on the attribute: a swap is clear by itself in some of these draws, and F is not."""
    effect = 2.5 * (np.arange(8) & 1)
    contradicted = 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        values = 50 + rng.normal(0, 5, (10, 2, 3, 8)) + effect
        answers = Answers(study_of(hand_cream_formulas(), scores=scores_of(values, PROTOTYPES)))
        apart = answers.differences.attributes.set_index("attribute")["verdict"] == DIFFERS
        cells = answers.causes.cells
        there = cells["attribute"].map(apart)
        clear = (cells["told_low"] > 0) | (cells["told_high"] < 0)  # what its own interval says
        np.testing.assert_array_equal(cells["mark"] == STANDS_OUT, clear & there)
        np.testing.assert_array_equal(cells["not_apart"] != "", clear & ~there)
        contradicted += int((clear & ~there).sum())
        assert set(answers.swaps.swaps.loc[~there, "verdict"]) <= {CANNOT_TELL}
    assert contradicted > 0


def test_the_wanted_way_is_told_by_the_target(causes):
    cell = causes.cells.set_index(["attribute", "letter"])
    assert cell.loc[("AF_GREASE", "A"), "towards"] == TOWARDS  # wanted is 38 or less, and it fell
    assert cell.loc[("LA_SOFT", "A"), "towards"] == AWAY  # wanted is 54 or more, and it fell
    assert cell.loc[("LA_SOFT", "B"), "mark"] == STANDS_OUT
    assert cell.loc[("LA_SOFT", "B"), "towards"] == 0  # the wanted way, but by 5.9, and less than 8 does not matter
    assert cell.loc["APP_GLOSS"]["towards"].isna().all()  # nothing is wanted of it


@pytest.mark.parametrize(
    ("start", "change", "low", "high", "way"),
    [
        (50, 5, 60, np.nan, 1),
        (50, -5, 60, np.nan, -1),
        (70, 5, 60, np.nan, 1),  # an open target tells the way wherever the mean is
        (50, 5, np.nan, 38, -1),
        (20, 5, 30, 40, 1),
        (20, -5, 30, 40, -1),
        (45, -5, 30, 40, 1),
        (45, 3, 30, 40, -1),
        (33, 3, 30, 40, 0),  # inside before and after
        (38, 5, 30, 40, -1),  # out of it
        (28, 14, 30, 40, 0),  # as far above it now as below before
        (50, 5, np.nan, np.nan, np.nan),
        (np.nan, 5, 30, 40, np.nan),
    ],
)
def test_ways(start, change, low, high, way):
    found = _wanted_way(*(np.array([float(value)]) for value in (start, change, low, high)))
    np.testing.assert_array_equal(found, [way])


def test_without_targets_no_way_is_wanted():
    values = 50 + np.random.default_rng(3).normal(0, 4, (10, 3, 2, 8)) - 12.0 * (np.arange(8) & 1)
    study = study_of(hand_cream_formulas(), scores=scores_of(values, PROTOTYPES, ["AF_GREASE", "GLOSS"]))
    found = find_causes(Answers(study).swaps)
    assert found.cells["towards"].isna().all()
    assert not found.margins
    first = found.swaps.iloc[0]
    assert (first["letter"], first["removed"], first["added"]) == ("A", CARBONATE, ALKANE)


def moved(change: float, **attribute: object):
    """Return what the first swap, which moves every score by `change`, is said to do to one attribute."""
    values = 50 + np.random.default_rng(3).normal(0, 1, (10, 3, 1, 8)) + change * (np.arange(8) & 1)
    listed = [{"attribute": "T1", **attribute}]
    study = study_of(hand_cream_formulas(), scores=scores_of(values, PROTOTYPES), attributes=listed)
    cell = Answers(study).causes.cells.iloc[0]
    assert (cell["letter"], cell["mark"]) == ("A", STANDS_OUT)
    return cell["towards"]


@pytest.mark.parametrize("unit", ["", "s"])
def test_an_attribute_with_a_direction_alone_says_which_way_is_wanted(unit):
    assert moved(-6.0, direction="less", unit=unit) == TOWARDS
    assert moved(6.0, direction="less", unit=unit) == AWAY
    assert moved(6.0, direction="more", unit=unit) == TOWARDS
    assert np.isnan(moved(6.0, direction="describe", unit=unit))
    assert moved(6.0, direction="less", target_low=52.0, unit=unit) == TOWARDS  # the window says it more closely


@pytest.mark.parametrize("wanted", [{"direction": "less"}, {"direction": "less", "target_high": 40.0}])
def test_what_is_too_small_to_matter_is_not_called_wanted(wanted):
    assert moved(-6.0, margin=8.0, **wanted) == 0
    assert moved(-6.0, margin=4.0, **wanted) == TOWARDS
    assert moved(6.0, margin=6.2, **wanted) == AWAY  # its interval reaches beyond the margin: a warning stays
    assert moved(6.0, margin=9.0, **wanted) == 0
