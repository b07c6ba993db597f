"""Other weights: who comes first is worked out by hand."""

import numpy as np
import pytest

from panel.models.decision.decide import _change_weights, _first_shares

NAMES = ("P1", "P2")


def changed(single, weights=(1.0, 1.0)):
    return _change_weights(np.array(single), np.array(weights), ("A", "B"), NAMES)


def test_the_one_ahead_on_everything_is_always_first():
    changes = changed([[0.9, 0.5], [0.8, 0.7]])
    assert set(changes["prototype"]) == {"P1"}


def test_halving_and_doubling_tip_a_close_ranking():
    # with equal weights P1 has sqrt(0.9 * 0.5) = 0.671 and P2 sqrt(0.6 * 0.7) = 0.648
    found = changed([[0.9, 0.6], [0.5, 0.7]]).set_index(["attribute", "change"])
    assert found["prototype"].to_dict() == {
        ("A", "halved"): "P2",
        ("A", "doubled"): "P1",
        ("B", "halved"): "P1",
        ("B", "doubled"): "P2",
    }
    assert found.loc[("A", "doubled"), "desirability"] == pytest.approx((0.9**2 * 0.5) ** (1 / 3))


def test_what_is_not_acceptable_is_never_first_and_equals_share():
    assert _first_shares(np.array([[0.0, 0.0], [0.5, 0.5], [np.nan, 0.2]])).tolist() == pytest.approx(
        [0.5 / 3, 1.5 / 3]
    )
    changes = changed([[0.0, 0.0], [0.5, 0.7]])
    assert set(changes["prototype"]) == {""}
    assert changes["desirability"].isna().all()
