"""What do the data say about one claim, whatever its kind: the record that every kind of evidence fills."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import pandas as pd

NAN = float("nan")
NUMBER_COLUMNS = ("what", "estimate", "ci_low", "ci_high", "ci_level", "limit_low", "limit_high", "unit", "method")


@dataclass(frozen=True, slots=True)
class NumberShown:
    """One number behind a verdict, with its interval and the limits it is held against (NaN where there is none)."""

    what: str
    estimate: float
    ci_low: float
    ci_high: float
    ci_level: float
    limit_low: float = NAN
    limit_high: float = NAN
    unit: str = "scale"
    method: str = ""


@dataclass(frozen=True, slots=True)
class Weaker:
    """A sentence that says less, and the p-value against its being false.

    `rescues` is True where it is the same sentence with a qualifier, False where it is another sentence: then the
    claim stays unsupported, and this is what may be said instead.
    """

    p_value: float
    words: str
    reason: str
    rescues: bool = True


@dataclass(frozen=True, eq=False, slots=True)
class Evidence:
    """What the data say about one claim.

    Parameters
    ----------
    rests_on
        What it rests on, in words: trained panel, consumer answers ...
    shown
        The numbers, the deciding one first.
    p_value
        Of the test whose null says that the claim is false; NaN where it could not be made.
    statistic, df, std_error
        Of that test, NaN where it has none.
    n
        People behind it.
    against
        True where the estimate itself lies on the wrong side: more people would not help.
    qualifier
        Why the sentence needs a qualifier even where the test shows it; empty where it may stand as it is.
    replaced
        Of a credit to an ingredient: what was replaced by what, and per cent, all of which the sentence has to say.
    refused
        What keeps the claim from being supported whatever the numbers: bar, base or answers returned below the floors.
    weaker
        What may be said where the sentence itself is not shown.
    suggestion
        The wording that the numbers carry, where they show the claim.
    reasons
        What speaks for and against, one sentence each.
    needs
        Gives what it would take; asked only where the claim is not shown, because planning takes a while.
    missing
        What is not there; without it nothing can be said.
    in_these_batches
        True where it speaks for the batches that were scored and no others: the verdict says so.
    """

    rests_on: str
    shown: tuple[NumberShown, ...] = ()
    p_value: float = NAN
    statistic: float = NAN
    df: float = NAN
    std_error: float = NAN
    n: int = 0
    against: bool = False
    qualifier: str = ""
    weaker: Weaker | None = None
    suggestion: str = ""
    reasons: tuple[str, ...] = ()
    needs: Callable[[], tuple[str, ...]] = tuple
    missing: tuple[str, ...] = ()
    in_these_batches: bool = False
    replaced: tuple[str, str, float] | None = None
    refused: tuple[str, ...] = ()
    observed_share: float = field(default=NAN)
    method: str = ""


def beyond(limit: float, sign: float) -> tuple[float, float]:
    """Return the limits of a number that has to lie above (sign 1) or below (sign -1) a limit."""
    return (limit, NAN) if sign > 0 else (NAN, limit)


def nothing_yet(rests_on: str, *missing: str) -> Evidence:
    """Return the evidence of a claim for which something is not there."""
    return Evidence(rests_on, missing=missing)


def numbers_frame(evidence: Evidence) -> pd.DataFrame:
    """Return the numbers as a frame with the columns of `NUMBER_COLUMNS`."""
    rows = [[getattr(number, column) for column in NUMBER_COLUMNS] for number in evidence.shown]
    return pd.DataFrame(rows, columns=list(NUMBER_COLUMNS))
