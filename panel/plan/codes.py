"""Which three-digit code hides which prototype in which session?"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError, StudyError
from panel.study.study import Study

_UNLUCKY = ("13", "666")
"""Digits that no code may contain; what is unlucky differs from place to place."""

_TRIES = 50  # draws before it is said that there are not enough codes
_RUNS = "0123456789"


def _usable_codes() -> list[str]:
    """Return the codes from 101 to 999 that tell nothing.

    Left out are 100, three equal digits, three digits in a row (123, 987), and whatever contains an unlucky number.
    """
    codes = (str(number) for number in range(101, 1000))
    return [code for code in codes if not _telling(code) and not any(number in code for number in _UNLUCKY)]


def _blind_codes(number: int, rng: np.random.Generator, used: Iterable[str] = ()) -> list[str]:
    """Return random codes for one session, any two of which differ in at least two digits.

    Parameters
    ----------
    number
        How many are needed.
    used
        Codes of other sessions, which are not used again: nobody can then recognise a replicate.

    Raises
    ------
    ModelError
        If there are not enough of them.
    """
    taken = set(used)
    pool = np.array([code for code in _usable_codes() if code not in taken], dtype=str)
    most = 0
    for _ in range(_TRIES):
        chosen: list[str] = []
        for code in rng.permutation(pool).tolist():
            if len(chosen) == number:
                return chosen
            if all(sum(one != another for one, another in zip(code, other, strict=True)) >= 2 for other in chosen):
                chosen.append(code)
        if len(chosen) >= number:
            return chosen[:number]
        most = max(most, len(chosen))
    raise ModelError(
        f"{number} codes are needed in one session, but only {most} were found that differ in at least two digits and "
        "were not used before. Serve fewer prototypes in a session, or plan fewer sessions."
    )


def session_codes(prototypes: Sequence[str], sessions: Sequence[str], rng: np.random.Generator) -> pd.DataFrame:
    """Return `session prototype code`: a code for each prototype, new in each session.

    Raises
    ------
    ModelError
        If there are not enough codes.
    """
    rows: list[tuple[str, str, str]] = []
    for session in sessions:
        codes = _blind_codes(len(prototypes), rng, [row[2] for row in rows])
        rows += [(session, prototype, code) for prototype, code in zip(prototypes, codes, strict=True)]
    return pd.DataFrame(rows, columns=["session", "prototype", "code"], dtype="str")


def _telling(code: str) -> bool:
    """Return True for codes that people read something into: 222, 123, 321."""
    return len(set(code)) == 1 or code in _RUNS or code[::-1] in _RUNS


# The key says which code is which prototype: sealed before the first sample, opened after the data are locked.
#
# What is published at the start is a SHA-256 over the key and a secret salt. Nobody can guess the key from it, and
# nobody can change the key afterwards without its showing. Every opening is written down, also one in an emergency
# before the lock, and what was written down cannot be changed unseen.


_KEY_FACT = "key"
_KEY_COLUMNS = ("session", "code", "prototype")
OPENING_COLUMNS = ("when", "who", "what", "why", "locked", "seal")
_SALT_BYTES = 32
_START = "afterfeel unblindings"


def _serving_key(servings: pd.DataFrame) -> pd.DataFrame:
    """Return the key, `session code prototype`, each code once.

    Raises
    ------
    StudyError
        If there are no codes, or one stands for two prototypes in a session.
    """
    key = servings.loc[servings["code"] != "", list(_KEY_COLUMNS)].drop_duplicates()
    if key.empty:
        raise StudyError("The servings have no codes, so there is no key. Plan the servings first.")
    twice = key.loc[key.duplicated(["session", "code"])]
    if len(twice):
        session, code = twice[["session", "code"]].iloc[0]
        raise StudyError(
            f"In session {session} the code {code} stands for two prototypes. Give each prototype its own code."
        )
    return key.sort_values(list(_KEY_COLUMNS), ignore_index=True)


def with_seal(facts: Mapping[str, Any], servings: pd.DataFrame, *, sealed_by: str, sealed_at: str) -> dict[str, Any]:
    """Return the facts of a study with the seal of the key of these servings, and the secret salt.

    Raises
    ------
    StudyError
        If the servings have no key, nobody seals it, or no moment is given.
    """
    key = _serving_key(servings)
    if not sealed_by.strip() or not sealed_at.strip():
        raise StudyError("A key is sealed by a named person at a stated time. Give both.")
    moment(sealed_at, "The time of sealing")
    salt = secrets.token_hex(_SALT_BYTES)  # drawn by the system and not from a seed: the seed of a plan may be known
    seal = {"sha256": _hash(key, salt), "codes": len(key), "sealed_by": sealed_by, "sealed_at": sealed_at}
    return {**facts, _KEY_FACT: {**seal, "salt": salt}}


def sealed_key(study: Study) -> dict[str, Any] | None:
    """Return the seal of the key that was written with the serving plan; None if there is none.

    What was published before the first sample: `sha256` of key and salt, how many `codes`, `sealed_by`, `sealed_at`.
    """
    kept = study.facts.get(_KEY_FACT)
    if not isinstance(kept, Mapping) or not kept.get("sha256"):
        return None
    codes = kept.get("codes")
    words = {name: str(kept.get(name) or "") for name in ("sha256", "sealed_by", "sealed_at")}
    return {**words, "codes": codes if isinstance(codes, int) else 0}


def plan_fits_seal(study: Study) -> bool | None:
    """Return True if the serving plan still has the key that was sealed; None without a seal, its salt or a plan."""
    seal, kept = sealed_key(study), study.facts.get(_KEY_FACT)
    salt = str(kept.get("salt") or "") if isinstance(kept, Mapping) else ""
    if seal is None or not salt:
        return None
    try:
        return _key_matches(_serving_key(study.table("servings")), salt, seal["sha256"])
    except StudyError:
        return None if study.table("servings").empty else False


def moments_opened(study: Study) -> list[str]:
    """Return when the key was opened: the recorded openings, then the day that people state."""
    stated = str(study.facts.get("unblinded_on") or "")
    return [*(str(when) for when in study.table("unblindings")["when"] if when), *([stated] if stated else [])]


def first_opening(study: Study) -> str:
    """Return the first moment at which the key was opened, as it is written; empty if the study does not say."""
    readable = [text for text in moments_opened(study) if _is_moment(text)]
    return min(readable, key=lambda text: moment(text, "The time of an unblinding"), default="")


def _is_moment(text: str) -> bool:
    try:
        moment(text, "The time of an unblinding")
    except StudyError:
        return False
    return True


def _key_matches(key: pd.DataFrame, salt: str, sha256: str) -> bool:
    """Return True if this is the key that was sealed, with this salt."""
    return secrets.compare_digest(_hash(key, salt), sha256)


def note_opening(
    openings: pd.DataFrame, *, when: str, who: str, why: str, what: str = "all codes", locked_at: str = ""
) -> pd.DataFrame:
    """Return the list with one more opening; the rows before stay as they are.

    Parameters
    ----------
    openings
        `when who what why locked seal`, as it stands in the study.
    what
        What was revealed, such as `session 2, code 417`.
    locked_at
        When the data were locked; empty before. An opening before the lock is noted as such, never refused: in an
        emergency a physician must be able to know what was applied.

    Raises
    ------
    StudyError
        If the moment, the person or the reason is missing, or the list so far was changed.
    """
    if not (when.strip() and who.strip() and why.strip()):
        raise StudyError("An unblinding is noted with the time, a named person and the reason. Give all three.")
    broken = first_changed_opening(openings)
    if broken is not None:
        raise StudyError(
            f"Row {broken + 1} of the list of unblindings was changed after it was written. Restore the list from a "
            "copy before anything is added."
        )
    opened = moment(when, "The time of the unblinding")
    # an opening is told to the second: one in the second of the lock comes after it
    closed = moment(locked_at, "The time of the lock").replace(microsecond=0) if locked_at.strip() else None
    locked = "yes" if closed is not None and closed <= opened else "no"
    row = {"when": when, "who": who, "what": what, "why": why, "locked": locked}
    return with_sealed_row(openings, row, OPENING_COLUMNS, _START)


def first_changed_opening(openings: pd.DataFrame) -> int | None:
    """Return the first row of the list of unblindings that no longer fits its seal; see `first_changed_row`."""
    return first_changed_row(openings, OPENING_COLUMNS, _START)


def first_changed_row(table: pd.DataFrame, columns: Sequence[str], start: str) -> int | None:
    """Return the first row that no longer fits its seal, counted from 0; None if nothing was changed or taken out.

    Each seal covers its row and the seal before, the first one `start`. Rows cut off at the end leave no trace here;
    the copy of the table in the evidence file shows them.
    """
    last = start
    for number, row in enumerate(table[list(columns)].to_dict("records")):
        if str(row["seal"]) != row_seal(last, {name: str(row[name]) for name in columns if name != "seal"}):
            return number
        last = str(row["seal"])
    return None


def _hash(key: pd.DataFrame, salt: str) -> str:
    rows = sorted([str(cell) for cell in row] for row in key[list(_KEY_COLUMNS)].to_numpy().tolist())
    return hashlib.sha256(json.dumps([salt, rows], ensure_ascii=True).encode()).hexdigest()


def with_sealed_row(table: pd.DataFrame, row: dict[str, str], columns: Sequence[str], start: str) -> pd.DataFrame:
    """Return a list that only grows with one more row, sealed after the last one, the first after `start`."""
    last = str(table["seal"].iloc[-1]) if len(table) else start
    added = pd.DataFrame([{**row, "seal": row_seal(last, row)}], columns=list(columns), dtype="str")
    return pd.concat([table[list(columns)], added], ignore_index=True)


def row_seal(last: str, row: dict[str, str]) -> str:
    """Return the seal of a row of a list that only grows, over the row and the seal before it."""
    return hashlib.sha256(json.dumps([last, row], ensure_ascii=True, sort_keys=True).encode()).hexdigest()


# Moments that people write down: ISO 8601 text, with or without a time of day.


def moment(text: str, what: str) -> datetime:
    """Return a moment that can be compared; a day counts from its midnight, a time with an offset is taken to UTC.

    Raises
    ------
    StudyError
        If the text is no date; `what` says in the message what it was meant for.
    """
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise StudyError(
            f"{what} is {text!r}, which is no date. Write it like 2025-03-14 or 2025-03-14T14:00."
        ) from error
    return found if found.tzinfo is None else found.astimezone(UTC).replace(tzinfo=None)
