"""How many consumers does it take to show what is to be shown about agreement and preference?

Counts are exact, so the chance of success climbs in teeth: given is the number from which on it is never missed again.
Invite some more: not everybody comes back.
Tests are exact binomial ones, one-sided at 5 % unless another level is given.
"""

from __future__ import annotations

from panel.errors import ModelError
from panel.stats.answers.binomial import chance_correct, enough_answers, power_above, power_below, power_parity
from panel.stats.answers.discrimination import guessing
from panel.stats.comparing.multiplicity import ALPHA

_POWER = 0.8
_MAJORITY = 0.5


def _ask_between(what: str, low: float, value: float, high: float) -> None:
    """Raise ModelError if a share does not lie between two others."""
    if not low < value < high:
        raise ModelError(f"{what} must lie between {100 * low:g} and {100 * high:g} %, and it is {100 * value:g} %.")


def share_numbers(share: float, bar: float = _MAJORITY) -> int:
    """Return how many people show that more than a share `bar` agree, or prefer the sample, if `share` of all do.

    Of a preference, both samples tried by each: people without one are not among these; keep and report their answer.
    """
    _ask_between("The true share", bar, share, 1.0)
    return enough_answers(lambda n: power_above(n, bar, share, ALPHA), _POWER)


def parity_numbers(margin: float = 0.05, *, one_sided: bool = False) -> int:
    """Return how many people show that preference lies within 50 % plus or minus a margin, if it is 50 %.

    `one_sided`: that more than 50 % minus the margin prefer the sample, which is then unsurpassed.
    """
    _ask_between("The margin", 0.0, margin, 0.5)
    low, high = _MAJORITY - margin, _MAJORITY + margin
    if one_sided:
        return enough_answers(lambda n: power_above(n, low, _MAJORITY, ALPHA), _POWER)
    return enough_answers(lambda n: power_parity(n, low, high, _MAJORITY, ALPHA), _POWER)


# How many testers who must choose does it take to tell two samples apart, or to show that few people can?


def told_apart(method: str, share: float, *, alpha: float = ALPHA, power: float = _POWER) -> int:
    """Return how many testers show that two samples can be told apart, if `share` of people can (others guess).

    Raises
    ------
    ModelError
        If the method is not known, or the share is not between 0 and 1.
    """
    guess = guessing(method)
    _ask_between("The share of people who can tell", 0.0, share, 1.0)
    return enough_answers(lambda n: power_above(n, guess, chance_correct(share, guess), alpha), power)


def similar(method: str, share: float, *, beta: float = ALPHA, power: float = _POWER) -> int:
    """Return how many testers show that fewer than `share` of people can tell two samples apart, if nobody can."""
    guess = guessing(method)
    _ask_between("The share of people who may tell", 0.0, share, 1.0)
    limit = chance_correct(share, guess)
    return enough_answers(lambda n: power_below(n, limit, guess, beta), power)
