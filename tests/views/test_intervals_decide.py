"""Wherever a p-value stands beside an interval, the interval leaves out what is tested exactly where p tells."""

import re

import numpy as np
import pytest

from panel import answers as asked
from panel.study.shown import Table, shown
from panel.views.emollients.swaps import _INTERACTIONS, _SWAPS
from tests.views.every_picture import demo_answers, everything_told

ADJUSTED, TOLD = ("p_adjusted", "ci_low", "ci_high"), ("p_adjusted", "told_low", "told_high")
WITHIN = tuple(f"within_{each}" for each in TOLD)
# Table to its p-values with their intervals; that of likeness lies within the margin, all others leave out zero (of
# forced choices: nobody can tell; of preferences: half).
DECIDE = {
    **dict.fromkeys(("differences", "pairs", "liking_versus", "liking_pairs"), (ADJUSTED,)),
    **dict.fromkeys(("planned_differences", "screening", "mean_drops", "cases", "drops_within", "choices"), (TOLD,)),
    **dict.fromkeys(("swaps", "interactions"), (TOLD,)),
    "partners": (("p_value", "ci_low", "ci_high"),),
    "preferences": (("p_value", "told_low", "told_high"),),
    "terms_and_liking": (TOLD, WITHIN),
    "alike": (("p_adjusted", "deciding_low", "deciding_high"),),
}
ANOTHER_QUESTION = {"directions": "where the angle lies is no test of the map"}


def tables():
    for told in everything_told(demo_answers()).values():
        items = [told.table, *(item for each in told.every_drawer() for item in each.items)]
        own = {item.name: item for item in items if isinstance(item, Table)}
        yield from ((own[name], told.result, told.names) for name in own)
    traced = demo_answers().ask(asked.SWAPS)
    yield from ((table, traced, demo_answers().names) for table in (_SWAPS, _INTERACTIONS))


def with_both(table, result, names):
    headings = [heading.lower() for heading in shown(table, result, names).columns]
    return any(re.match(r"p\b", each) for each in headings) and any(re.search("interval|%", each) for each in headings)


@pytest.fixture(scope="module")
def found():
    return {table.name: (table, result) for table, result, names in tables() if with_both(table, result, names)}


def test_every_table_with_both_is_known_here(found):
    assert set(DECIDE) == set(found) - set(ANOTHER_QUESTION)


@pytest.mark.parametrize("name", sorted(DECIDE))
def test_the_interval_leaves_out_what_is_tested_where_p_tells(name, found):
    table, result = found[name]
    rows = table.of(result)
    for p, low, high in DECIDE[name]:
        asked = rows[p].notna() & rows[low].notna()
        outside = (rows[low] > 0) | (rows[high] < 0)
        if name == "alike":
            outside = (rows[low] > -rows["margin"]) & (rows[high] < rows["margin"])
        if name == "preferences":
            outside = rows[low] > 0.5
        assert asked.any()
        np.testing.assert_array_equal(outside[asked], rows.loc[asked, p] < 0.05)
