"""How many testers who must choose does it take to tell two samples apart, or to show that few people can?"""

from __future__ import annotations

from panel.plan.answers_needed import ALPHA, POWER, AnswerNumbers, answer_numbers, ask_between
from panel.stats.answers.answer_numbers import enough_answers
from panel.stats.answers.binomial_tests import chance_correct, maximum_count, minimum_count, power_above, power_below
from panel.stats.answers.discrimination import guessing


def told_apart(method: str, share: float, *, alpha: float = ALPHA, power: float = POWER) -> AnswerNumbers:
    """Return how many testers show that two samples can be told apart, if `share` of people can (others guess).

    Raises
    ------
    ModelError
        If the method is not known, or the share is not between 0 and 1.
    """
    guess = guessing(method)
    ask_between("The share of people who can tell", 0.0, share, 1.0)
    found = enough_answers(lambda n: power_above(n, guess, chance_correct(share, guess), alpha), power)
    return answer_numbers(
        f"that two samples can be told apart by a {method} test, if {100 * share:g} % of people can",
        found,
        power,
        f"Exact binomial test against {guess:.3f} correct by guessing, one-sided {100 * alpha:g} %.",
        minimum=minimum_count(found.numbers, guess, alpha),
    )


def similar(method: str, share: float, *, beta: float = ALPHA, power: float = POWER) -> AnswerNumbers:
    """Return how many testers show that fewer than `share` of people can tell two samples apart, if nobody can."""
    guess = guessing(method)
    ask_between("The share of people who may tell", 0.0, share, 1.0)
    limit = chance_correct(share, guess)
    found = enough_answers(lambda n: power_below(n, limit, guess, beta), power)
    return answer_numbers(
        f"that fewer than {100 * share:g} % of people can tell two samples apart by a {method} test, if nobody can",
        found,
        power,
        f"Exact binomial test against {float(limit):.3f} correct, one-sided {100 * beta:g} %.",
        maximum=maximum_count(found.numbers, limit, beta),
    )
