"""Which three-digit code hides which prototype in which session?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from panel.errors import ModelError

UNLUCKY = ("13", "666")
"""Digits that no code may contain; what is unlucky differs from place to place, so the list can be changed."""

TRIES = 50  # draws before it is said that there are not enough codes
_RUNS = "0123456789"


def usable_codes(unlucky: Iterable[str] = UNLUCKY) -> list[str]:
    """Return the codes from 101 to 999 that tell nothing.

    Left out are 100, three equal digits, three digits in a row (123, 987), and whatever contains a number of the list.

    Raises
    ------
    ModelError
        If an entry of the list is no number of up to three digits.
    """
    unwanted = tuple(str(number).strip() for number in unlucky)
    for number in unwanted:
        if not (number.isascii() and number.isdigit() and len(number) <= 3):
            raise ModelError(f"The unlucky number {number!r} is no number of up to three digits. Correct the list.")
    codes = (str(number) for number in range(101, 1000))
    return [code for code in codes if not _telling(code) and not any(number in code for number in unwanted)]


def blind_codes(
    number: int, rng: np.random.Generator, *, unlucky: Iterable[str] = UNLUCKY, used: Iterable[str] = ()
) -> list[str]:
    """Return random codes for one session, any two of which differ in at least two digits.

    Parameters
    ----------
    number
        How many are needed.
    unlucky
        Digits that no code may contain, such as `13`.
    used
        Codes of other sessions, which are not used again: nobody can then recognise a replicate.

    Raises
    ------
    ModelError
        If there are not enough of them.
    """
    taken = set(used)
    pool = np.array([code for code in usable_codes(unlucky) if code not in taken], dtype=str)
    most = 0
    for _ in range(TRIES):
        chosen: list[str] = []
        for code in rng.permutation(pool).tolist():
            if len(chosen) == number:
                return chosen
            if all(differing_digits(code, other) >= 2 for other in chosen):
                chosen.append(code)
        if len(chosen) >= number:
            return chosen[:number]
        most = max(most, len(chosen))
    raise ModelError(
        f"{number} codes are needed in one session, but only {most} were found that differ in at least two digits and "
        "were not used before. Serve fewer prototypes in a session, plan fewer sessions, or shorten the list of "
        "unlucky numbers."
    )


def session_codes(
    prototypes: Sequence[str], sessions: Sequence[str], rng: np.random.Generator, *, unlucky: Iterable[str] = UNLUCKY
) -> pd.DataFrame:
    """Return `session prototype code`: a code for each prototype, new in each session.

    Raises
    ------
    ModelError
        If there are not enough codes.
    """
    unwanted = tuple(unlucky)
    rows: list[tuple[str, str, str]] = []
    for session in sessions:
        codes = blind_codes(len(prototypes), rng, unlucky=unwanted, used=[row[2] for row in rows])
        rows += [(session, prototype, code) for prototype, code in zip(prototypes, codes, strict=True)]
    return pd.DataFrame(rows, columns=["session", "prototype", "code"], dtype="str")


def differing_digits(code: str, other: str) -> int:
    """Return in how many places two codes differ."""
    return sum(one != another for one, another in zip(code, other, strict=True))


def _telling(code: str) -> bool:
    """Return True for codes that people read something into: 222, 123, 321."""
    return len(set(code)) == 1 or code in _RUNS or code[::-1] in _RUNS
