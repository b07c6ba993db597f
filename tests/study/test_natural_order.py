"""Names in the order a person lists them."""

import random

import pytest

from panel.study.natural_order import natural_order


@pytest.mark.parametrize(
    "ordered",
    [
        ["P1", "P2", "P10"],
        ["L1", "L2", "L3", "L4", "L5"],
        ["017", "023", "104"],
        ["base", "P1"],
        ["2", "10", "100"],
        ["A 1", "A 2", "A 10"],
        ["cream 1 b", "cream 2 a", "cream 10 a"],
        ["v1.2", "v1.10", "v2.1"],
    ],
)
def test_numbers_in_names_go_by_size(ordered):
    shuffled = [*ordered, *ordered]
    random.Random(3).shuffle(shuffled)
    assert natural_order(shuffled) == ordered


def test_any_text_can_be_ordered_and_the_order_is_the_same_for_every_file():
    names = ["", "x", "10x", "9" * 6000, "é2", "É10", "P1", "P01", "p1", "²"]
    first = natural_order(names)
    assert sorted(first) == sorted(names)
    for seed in range(20):
        shuffled = list(names)
        random.Random(seed).shuffle(shuffled)
        assert natural_order(shuffled) == first
