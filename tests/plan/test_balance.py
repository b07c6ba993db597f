"""How even a plan is: counts by hand, exact verdicts, precision against the efficiency of known designs."""

import numpy as np
import pandas as pd
import pytest

from panel.plan.orders import _EVEN, _NEAREST, _NEARLY, _UNEVEN, serving_balance
from tests.studies import small_study

CLOSED_FORM = 1e-9


def served(*orders, session="1", site=""):
    rows = [
        (session, f"A{person}", float(place), prototype, site)
        for person, order in enumerate(orders, 1)
        for place, prototype in enumerate(order, 1)
    ]
    return pd.DataFrame(rows, columns=["session", "assessor", "position", "prototype", "site"])


def line(balance, what, session=""):
    rows = balance.summary
    found = rows.loc[(rows["what"] == what) & (rows["session"] == session)]
    return tuple(found[["smallest", "largest", "verdict"]].iloc[0])


def test_counts_by_hand():
    balance = serving_balance(served(["P1", "P2", "P3"], ["P2", "P1", "P3"]))
    places = balance.positions.set_index(["prototype", "position"])["count"]
    assert places["P3", 3.0] == 2
    assert places["P3", 1.0] == 0
    after = balance.carry_over.set_index(["prototype", "after"])["count"]
    assert after["P2", "P1"] == 1
    assert after["P3", "P2"] == 1
    assert after["P2", "P3"] == 0
    assert len(after) == 6  # nothing follows itself
    assert line(balance, "place") == (0, 2, _NEARLY)


def test_a_williams_square_is_even():
    # the square of small_study, t = 4, two sessions
    balance = serving_balance(small_study().table("servings"))
    assert line(balance, "place") == (2, 2, _EVEN)
    assert line(balance, "place", "1") == (1, 1, _EVEN)
    assert line(balance, "carry-over") == (2, 2, _EVEN)
    assert (balance.together["share"] - 1).abs().max() < CLOSED_FORM


def test_verdicts_follow_the_counts():
    assert line(serving_balance(served("ab", "ab", "ba")), "place") == (1, 2, _NEAREST)
    assert line(serving_balance(served(*["ab"] * 9, "ba")), "place") == (1, 9, _UNEVEN)
    balance = serving_balance(served(*["ab"] * 11, *["ba"] * 9))
    assert line(balance, "place") == (9, 11, _NEARLY)


def test_what_follows_what_is_counted_within_a_session_and_person():
    frame = pd.concat([served("ab", session="1"), served("cd", session="2")])
    after = serving_balance(frame).carry_over
    assert after.loc[after["count"] > 0, ["prototype", "after"]].to_numpy().tolist() == [["b", "a"], ["d", "c"]]


def test_the_order_of_the_rows_does_not_matter():
    frame = small_study().table("servings")
    shuffled = frame.sample(frac=1, random_state=3)
    names = list(dict.fromkeys(frame["prototype"]))
    one, other = (serving_balance(rows, prototypes=names) for rows in (frame, shuffled))
    for name in ("positions", "carry_over", "together"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name))


def test_a_prototype_that_nobody_gets_makes_the_plan_uneven():
    balance = serving_balance(served("ab", "ba", "ab", "ba"), prototypes=["a", "b", "c"])
    assert line(balance, "place")[0] == 0
    lost = balance.together.loc[balance.together["versus"] == "c"]
    assert (lost["share"] == 0).all()
    assert (lost["assessors"] == 0).all()


def test_sites_are_counted_where_there_are_any():
    assert not len(serving_balance(served("ab", "ba")).sites)
    balance = serving_balance(served("ab", "ba", site="left"))
    assert balance.sites["count"].tolist() == [2, 2]
    assert line(balance, "site") == (2, 2, _EVEN)


@pytest.mark.parametrize("t", [4, 5, 6])
def test_precision_of_blocks_is_the_efficiency_of_the_design(t):
    # all blocks of two: E = t / (2 (t - 1)), Cochran and Cox (1957)
    names = [f"P{n}" for n in range(t)]
    pairs = [(names[one], names[other]) for one in range(t) for other in range(one + 1, t)]
    balance = serving_balance(served(*pairs))
    assert np.allclose(balance.together["share"], t / (2 * (t - 1)), atol=CLOSED_FORM)
    assert (balance.together["sessions"] == 1).all()


def test_precision_is_a_share_of_what_was_meant():
    complete = served("ab", "ba", "ab", "ba")
    balance = serving_balance(complete, planned=8)
    assert balance.together["share"].tolist() == pytest.approx([0.5])
