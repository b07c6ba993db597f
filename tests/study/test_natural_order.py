from hypothesis import given
from hypothesis import strategies as st

from panel.study.study import natural_order


def test_numbers_stand_by_size_and_letters_whatever_their_case():
    assert natural_order(["L10", "L2", "l1", "L2", "B", "a3"]) == ["a3", "B", "l1", "L2", "L10"]
    assert natural_order(["023", "017", "9"]) == ["9", "017", "023"]
    assert natural_order(["1a", "a1", "", "10"]) == ["", "1a", "10", "a1"]


@given(st.lists(st.text(alphabet="aB1209 ²-", max_size=6)), st.randoms(use_true_random=False))
def test_the_order_of_what_comes_in_decides_nothing(names, random):
    mixed = list(names)
    random.shuffle(mixed)
    assert natural_order(names) == natural_order(mixed)
