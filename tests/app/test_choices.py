"""Which prototypes are shown at first."""

from __future__ import annotations

import numpy as np

from panel.app.widgets import outermost, telling_prototypes
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.map import find_map
from tests.studies import small_study


def test_the_benchmark_comes_first_then_what_lies_furthest_from_it():
    result = find_differences(small_study(), versus="P1")
    assert telling_prototypes(result, 2) == ["P1", "P4"]  # P4 has both swaps, whose effects add up
    assert len(telling_prototypes(result, 3)) == 3


def test_without_a_benchmark_the_widest_pair_comes_first():
    prototypes = small_study().table("prototypes").assign(role="prototype")
    result = find_differences(small_study({"benchmark": ""}, prototypes=prototypes))
    assert result.benchmark is None
    assert set(telling_prototypes(result, 2)) == {"P1", "P4"}


def test_the_ends_of_the_map_are_coloured():
    result = find_map(small_study(), rng=np.random.default_rng(1))
    chosen = outermost(result, "P1")
    first = result.prototypes.sort_values("component_1")["prototype"]
    assert chosen[0] == "P1"
    assert {first.iloc[0], first.iloc[-1]} <= set(chosen)
    assert len(chosen) == len(set(chosen))
    assert outermost(result, None)[0] in set(first)
