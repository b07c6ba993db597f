"""Letters: two means share one exactly when they are not told apart."""

import re

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from panel.stats.comparing.multiplicity import letters_for


def test_a_chain_gets_overlapping_letters():
    apart = np.zeros((3, 3), dtype=bool)
    apart[0, 2] = apart[2, 0] = True
    assert letters_for(np.array([9.0, 5.0, 1.0]), apart) == ["a", "ab", "b"]


def test_all_alike_and_all_apart():
    assert letters_for(np.array([1.0, 2.0]), np.zeros((2, 2), dtype=bool)) == ["a", "a"]
    assert letters_for(np.array([1.0, 2.0, 3.0]), ~np.eye(3, dtype=bool)) == ["c", "b", "a"]


def test_letters_are_the_largest_groups_of_means_that_are_not_apart():
    # second computation by exhaustion: every subset without a pair apart that no further mean can join
    apart = np.zeros((8, 8), dtype=bool)
    for i, j in [(0, 6), (0, 7), (1, 3), (1, 4), (2, 7)]:
        apart[i, j] = apart[j, i] = True
    letters = letters_for(np.arange(8.0, 0, -1), apart)
    together = {frozenset(i for i in range(8) if letter in letters[i]) for letter in set("".join(letters))}
    subsets = [frozenset(np.flatnonzero([n >> i & 1 for i in range(8)]).tolist()) for n in range(1, 256)]
    free = [group for group in subsets if not any(apart[i, j] for i in group for j in group)]
    assert together == {group for group in free if not any(group < other for other in free)}


def shares_exactly(letters, apart):
    k = len(letters)
    return all(bool(set(letters[i]) & set(letters[j])) != apart[i, j] for i in range(k) for j in range(k) if i != j)


@given(
    st.integers(2, 9).flatmap(
        lambda k: st.tuples(st.just(k), st.sets(st.tuples(st.integers(0, k - 1), st.integers(0, k - 1))))
    )
)
def test_defining_property(case):
    k, pairs = case
    apart = np.zeros((k, k), dtype=bool)
    for i, j in pairs:
        if i != j:
            apart[i, j] = apart[j, i] = True
    assert shares_exactly(letters_for(np.arange(float(k)), apart), apart)


def insert_and_absorb(apart):
    """Piepho's way: split every group that holds two means that are apart, then drop groups within others."""
    groups = {frozenset(range(len(apart)))}
    for i, j in np.argwhere(np.triu(apart)):
        groups = {part for group in groups for part in ([group - {i}, group - {j}] if {i, j} <= group else [group])}
        groups = {group for group in groups if not any(group < other for other in groups)}
    return groups


def test_equals_insert_and_absorb():
    rng = np.random.default_rng(5)
    for _ in range(50):
        k = int(rng.integers(2, 14))
        apart = np.triu(rng.random((k, k)) < rng.random(), 1)
        apart |= apart.T
        letters = letters_for(rng.normal(size=k), apart)
        names = set(re.findall(r"[a-z][0-9]*", "".join(letters)))
        ours = {frozenset(i for i in range(k) if name in re.findall(r"[a-z][0-9]*", letters[i])) for name in names}
        assert ours == insert_and_absorb(apart)


def test_more_groups_than_letters():
    apart = ~np.eye(30, dtype=bool)
    letters = letters_for(np.arange(30.0), apart)
    assert len(set(letters)) == 30
