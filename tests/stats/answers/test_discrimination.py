"""Ways of choosing: published formulas in tables, the choices drawn, a closed form, and what must hold of any."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, binomtest, multivariate_normal, ncf

from panel.errors import ModelError
from panel.stats.answers.binomial import power_above
from panel.stats.answers.discrimination import (
    _METHODS,
    _slope,
    apartness_of_share,
    chance_right,
    d_prime_of,
    guessing,
    share_who_tell,
)


def apartness(method, right, n, level=0.95):
    """What is said of a count, with the exact interval of scipy."""
    low, high = binomtest(right, n).proportion_ci(level, "exact")
    return apartness_of_share(method, right / n, np.sqrt(right * (n - right) / n**3), low, high)


PRINTED = 5.1e-7  # half a unit of the sixth decimal, and the rounding of the sum
PRINTED_INVERSE = 5.1e-5
PRINTED_ERROR = 5.1e-7
INTEGRAL = 1e-10

# Ura 1960, David and Trivedi 1962, Ennis 1993: formulas from memory, integrated with R, confirmed there by 2e6 draws.
ORDER = ("paired", "3-AFC", "triangle", "duo-trio", "tetrad")
TABLE = {
    0: (0.500000, 0.333333, 0.333333, 0.500000, 0.333333),
    0.5: (0.638163, 0.482593, 0.355835, 0.522347, 0.377719),
    1: (0.760250, 0.633702, 0.418047, 0.582475, 0.493808),
    1.5: (0.855578, 0.765812, 0.506456, 0.663462, 0.640937),
    2: (0.921350, 0.865767, 0.604807, 0.746820, 0.777667),
    2.5: (0.961450, 0.931365, 0.699339, 0.819585, 0.879661),
    3: (0.983053, 0.968795, 0.781428, 0.876457, 0.942972),
    4: (0.997661, 0.995497, 0.897660, 0.946666, 0.991342),
}
INVERSE = [
    ("triangle", 0.50, 1.4663),
    ("3-AFC", 0.50, 0.5565),
    ("triangle", 0.60, 1.9756),
    ("3-AFC", 0.60, 0.8852),
    ("duo-trio", 0.60, 1.1152),
    ("paired", 0.60, 0.3583),
    ("triangle", 0.75, 2.7974),
    ("3-AFC", 0.75, 1.4338),
    ("duo-trio", 0.75, 2.0200),
    ("paired", 0.75, 0.9539),
    ("triangle", 0.90, 4.0276),
    ("3-AFC", 0.90, 2.2302),
    ("duo-trio", 0.90, 3.2631),
    ("paired", 0.90, 1.8124),
]
ERRORS = [
    ("triangle", 30, 60, 1.466263, 0.338558),
    ("3-AFC", 30, 60, 0.556520, 0.209577),
    ("duo-trio", 40, 60, 1.518853, 0.357932),
    ("paired", 40, 60, 0.609140, 0.236706),
]


@pytest.mark.parametrize("d", TABLE)
def test_the_chances_are_those_of_the_table(d):
    assert [float(chance_right(method, d)) for method in ORDER] == pytest.approx(TABLE[d], abs=PRINTED)


@pytest.mark.parametrize(("method", "right", "d"), INVERSE)
def test_the_inverse_is_that_of_the_table(method, right, d):
    assert float(d_prime_of(method, right)) == pytest.approx(d, abs=PRINTED_INVERSE)


@pytest.mark.parametrize(("method", "right", "n", "d", "error"), ERRORS)
def test_standard_errors_are_those_of_the_table(method, right, n, d, error):
    found = apartness(method, right, n)
    assert found["d_prime"] == pytest.approx(d, abs=PRINTED_ERROR)
    assert found["d_std_error"] == pytest.approx(error, abs=PRINTED_ERROR)


def test_the_triangle_has_a_closed_form():
    # Bi and O'Mahony 2013 (from memory): noncentral F with 1 and 1 degrees of freedom
    d = np.array([0.1, 0.5, 1, 2, 3, 5])
    np.testing.assert_allclose(chance_right("triangle", d), ncf.sf(3, 1, 1, 2 * d**2 / 3), atol=1e-8)


def test_three_alternatives_are_a_corner_of_a_normal_distribution():
    # the odd sample exceeds two others: two differences with variance 2 and covariance 1
    for d in (0.0, 0.7, 2.1):
        corner = multivariate_normal([0, 0], [[2, 1], [1, 2]]).cdf([d, d])
        assert float(chance_right("3-AFC", d)) == pytest.approx(corner, abs=1e-7)


def drawn(method: str, d: float, rng: np.random.Generator, draws: int) -> np.ndarray:
    """Let people decide by the rule of the method on what they felt."""
    a = rng.normal(0.0, 1.0, (2, draws))
    b = rng.normal(d, 1.0, (2, draws))
    if method == "paired":
        return b[0] > a[0]
    if method == "3-AFC":
        return (b[0] > a[0]) & (b[0] > a[1])
    if method == "triangle":  # the two that feel most alike are taken for the same
        return np.abs(a[0] - a[1]) < np.minimum(np.abs(a[0] - b[0]), np.abs(a[1] - b[0]))
    if method == "duo-trio":  # a[0] is the reference
        return np.abs(a[0] - a[1]) < np.abs(a[0] - b[0])
    # tetrad: the split into two twos that stay closest together is the weaker two and the stronger two
    return (a.max(axis=0) < b.min(axis=0)) | (b.max(axis=0) < a.min(axis=0))


@pytest.mark.parametrize("method", _METHODS)
@pytest.mark.parametrize("d", [0.0, 1.0, 2.5])
def test_drawing_the_choices_gives_the_same_chance(method, d):
    draws = 200_000
    share = drawn(method, d, np.random.default_rng(round(10 * d) + 7), draws).mean()
    assert abs(share - float(chance_right(method, d))) < 4 * np.sqrt(0.25 / draws)


@pytest.mark.parametrize("method", _METHODS)
def test_the_slope_is_the_derivative(method):
    d = np.array([0.0, 0.3, 1.0, 2.0, 4.0])
    step = 1e-5
    by_steps = (chance_right(method, d + step) - chance_right(method, d - step)) / (2 * step)
    np.testing.assert_allclose(_slope(method, d), by_steps, atol=1e-9)


@given(method=st.sampled_from(sorted(_METHODS)), d=st.floats(0.05, 5))
def test_there_and_back(method, d):
    # the flatter the curve, the less its inverse knows: rounding of 1e-15 over the slope
    error = 1e-13 / float(_slope(method, d)) + 1e-9
    assert float(d_prime_of(method, chance_right(method, d))) == pytest.approx(d, abs=error)


@given(method=st.sampled_from(sorted(_METHODS)), n=st.integers(1, 200), data=st.data())
def test_what_must_hold_of_any_count(method, n, data):
    right = data.draw(st.integers(0, n))
    found = apartness(method, right, n)
    assert 0 <= found["d_low"] <= found["d_prime"] <= found["d_high"]
    assert 0 <= found["told_low"] <= found["told"] <= found["told_high"] <= 1
    if right / n <= guessing(method):
        assert found["d_prime"] == 0
        assert np.isnan(found["d_std_error"])


def test_everybody_right_and_nobody():
    all_right = apartness("triangle", 12, 12)
    assert all_right["d_prime"] == np.inf
    assert np.isnan(all_right["d_std_error"])
    assert 1 < all_right["d_low"] < all_right["d_high"] == np.inf
    none = apartness("triangle", 0, 12)
    assert (none["d_prime"], none["d_low"], none["d_high"], none["told"]) == (0, 0, 0, 0)


@pytest.mark.parametrize("method", _METHODS)
def test_the_interval_of_d_prime_covers(method):
    n, x = 36, np.arange(37)
    for d in (0.5, 1.5):
        pmf = binom.pmf(x, n, float(chance_right(method, d)))
        ends = [apartness(method, int(count), n) for count in x]
        covered = [found["d_low"] <= d <= found["d_high"] for found in ends]
        assert pmf[covered].sum() >= 0.95


@pytest.mark.parametrize(
    ("method", "d", "n"),
    [  # numbers for a chance of 0.8 at 5 %, computed with R from the formulas above
        ("paired", 1, 23), ("3-AFC", 1, 16), ("triangle", 1, 202), ("duo-trio", 1, 228),
        ("paired", 1.5, 13), ("3-AFC", 1.5, 9), ("triangle", 1.5, 53), ("duo-trio", 1.5, 60),
        ("paired", 0.5, 82), ("3-AFC", 0.5, 71), ("triangle", 0.5, 2756),
    ],
)  # fmt: skip
def test_numbers_needed(method, d, n):
    chance = power_above(np.arange(1, n + 1), guessing(method), float(chance_right(method, d)))
    assert chance[-1] >= 0.8
    assert (chance[:-1] < 0.8).all()


def test_guessing_is_right_as_often_as_by_construction():
    # triangle ISO 4120, duo-trio ISO 10399, paired ISO 5495; one of three samples, one of two, three ways to pair four
    known = {"triangle": 1 / 3, "duo-trio": 1 / 2, "paired": 1 / 2, "3-AFC": 1 / 3, "tetrad": 1 / 3}
    assert {method: guessing(method) for method in _METHODS} == pytest.approx(known)
    assert {method: float(chance_right(method, 0.0)) for method in _METHODS} == pytest.approx(known)


def test_the_share_who_tell_undoes_guessing():
    # Abbott's formula, from memory: 18 of 36 in a triangle test is a quarter who can tell
    assert float(share_who_tell("triangle", 0.5)) == pytest.approx(0.25)
    assert float(share_who_tell("duo-trio", 0.4)) == 0.0


def test_a_share_with_its_own_error_is_carried_over():
    found = apartness_of_share("triangle", 0.5, 0.1, 0.3, 0.7)
    assert found["d_std_error"] == pytest.approx(0.1 / float(_slope("triangle", found["d_prime"])))
    assert found["d_low"] == 0.0
    assert float(chance_right("triangle", found["d_high"])) == pytest.approx(0.7)


def test_messages():
    with pytest.raises(ModelError, match=r"'pentad' is not known\. Choose one of: paired, 3-AFC"):
        chance_right("pentad", 1.0)
