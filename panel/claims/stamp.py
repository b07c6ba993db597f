"""Were sentence, margin and bar fixed before the first score or answer that the claim rests on?

A claim is stamped with a time, a name and a SHA-256 over everything that decides it, so that a later change shows; a
second one over this stamp and the one before chains the claims, so that one exchanged or taken out shows as well. A
stamp is a self-declaration: who holds the study can write another. Outside anchors are a printed page that somebody
signs, and the reply of a time-stamping authority (RFC 3161). The limit is the first score or answer of that evidence
where the study says when it came in, else the first unblinding. A claim stamped later, changed since, or not at all is
exploratory: at best 'cannot tell yet'.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import pandas as pd

from panel.checks.moments_recorded import days_stated, first_moments
from panel.claims.claim import Claim, split_names
from panel.errors import StudyError
from panel.plan.codes import first_changed_opening, moment, moments_opened
from panel.study.study import Study
from panel.study.tables import TABLES

_SEALED = (
    *("claim", "kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "sides"),
    *("ingredient", "session_before", "session_after", "family", "minutes", "margin", "bar", "bar_panel"),
    *("stamped_at", "stamped_by"),
)


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether a claim is exploratory, and why or why not, in one sentence."""

    exploratory: bool
    words: str


SELF_DECLARED = "A stamp is a self-declaration: it shows later changes, it does not prove the time."


def claim_seal(row: Mapping[str, Any]) -> str:
    """Return the SHA-256 over what decides a claim, from its row in the table of claims; absent columns are empty."""
    facts = {name: _canonical(row.get(name, "")) for name in _SEALED}
    return hashlib.sha256(json.dumps(facts, ensure_ascii=True, sort_keys=True).encode()).hexdigest()


def _canonical(value: object) -> str:
    """Return a cell as text: numbers in their shortest form, what is missing empty, names one way."""
    if isinstance(value, int | float):
        return "" if math.isnan(value) else repr(float(value))
    return "; ".join(split_names(str(value or "")))


def with_claim(study: Study, row: Mapping[str, Any], *, who: str, when: str) -> Study:
    """Return the study with one more claim, stamped.

    Parameters
    ----------
    row
        Columns of the table of claims, without those of the stamp.
    who, when
        Who fixes it, and when (ISO 8601).

    Raises
    ------
    StudyError
        If the sentence, the kind or the name is missing, or the moment is none.
    """
    if not who.strip():
        raise StudyError("A claim is fixed by a named person. Write who fixes it.")
    if not str(row.get("claim", "")).strip() or not str(row.get("kind", "")).strip():
        raise StudyError("A claim needs its sentence, exactly as it is to be said, and its kind.")
    moment(when, "The time of the stamp")
    stamped = {**row, "stamped_at": when, "stamped_by": who.strip()}
    stamped["stamp"] = claim_seal(stamped)
    stamped["chain"] = _link(_last_link(study.table("claims")), stamped["stamp"])
    new = {}
    for column in TABLES["claims"].columns:
        empty: Any = float("nan") if column.kind == "number" else ""
        value = stamped.get(column.name, empty)
        new[column.name] = empty if value is None else value
    longer = pd.concat([study.table("claims"), pd.DataFrame([new])], ignore_index=True)
    return replace(study, tables={**study.tables, "claims": longer})


def with_withdrawn(study: Study, number: int, *, who: str, when: str, why: str) -> Study:
    """Return the study with claim `number` (counted from 1) withdrawn; it stays in the table, and in its family.

    Raises
    ------
    StudyError
        If there is no such claim, it is withdrawn already, or a name or the reason is missing.
    """
    claims = study.table("claims").copy()
    if not 1 <= number <= len(claims):
        raise StudyError(f"There is no claim {number}. Choose one of the {len(claims)} in the table claims.")
    if not (who.strip() and why.strip()):
        raise StudyError("A claim is withdrawn by a named person, with a reason. Give both.")
    moment(when, "The time of the withdrawal")
    if str(claims["withdrawn_at"].iloc[number - 1]):
        raise StudyError(f"Claim {number} is withdrawn already.")
    for name, text in {"withdrawn_at": when, "withdrawn_by": who, "withdrawn_because": why}.items():
        column = claims[name].astype("object")
        column.iloc[number - 1] = text.strip()
        claims[name] = column.astype("str")
    return replace(study, tables={**study.tables, "claims": claims})


def first_broken_link(claims: pd.DataFrame) -> int | None:
    """Return the first row whose link no longer fits its stamp and the one before, counted from 0; None without one."""
    for number, row in enumerate(claims.to_dict("records")):
        before = _last_link(claims.iloc[:number])
        if str(row["chain"]) and str(row["chain"]) != _link(before, str(row["stamp"])):
            return number
    return None


def _last_link(claims: pd.DataFrame) -> str:
    """Return the last link, or stamp where a claim was written without one."""
    if claims.empty:
        return _START
    row = claims.iloc[-1]
    return str(row["chain"]) or str(row["stamp"])


def _link(before: str, stamp: str) -> str:
    return hashlib.sha256(json.dumps([before, stamp]).encode()).hexdigest()


def anchor_hash(study: Study) -> str:
    """Return the SHA-256 that stands for all claims fixed so far, to be signed on paper or sent to be time-stamped."""
    stamps = [[str(row["stamp"]), str(row["chain"])] for row in study.table("claims").to_dict("records")]
    return hashlib.sha256(json.dumps(stamps).encode()).hexdigest()


def time_stamp_request(digest: str) -> bytes:
    """Return a request for a time stamp over a SHA-256 (hexadecimal), to be sent to any authority.

    Source: RFC 3161, 2.4.1: TimeStampReq of version 1 with a message imprint, and the certificate asked for, in DER.
    """
    algorithm = _der(0x30, _der(0x06, _SHA256) + _der(0x05, b""))
    imprint = _der(0x30, algorithm + _der(0x04, bytes.fromhex(digest)))
    return _der(0x30, _der(0x02, b"\x01") + imprint + _der(0x01, b"\xff"))


def _der(tag: int, content: bytes) -> bytes:
    if len(content) > _SHORT:
        raise ValueError("longer than a short length of DER")
    return bytes([tag, len(content)]) + content


_SHA256 = bytes.fromhex("608648016503040201")  # 2.16.840.1.101.3.4.2.1
_SHORT = 127
_START = "afterfeel claims"


def page_to_sign(study: Study) -> str:
    """Return a page with every claim fixed so far and the hash over them, to be printed, dated and signed."""
    title = str(study.facts.get("title", "")) or "without a title"
    lines = [
        f"{place}. “{row['claim']}”, fixed at {_shown(str(row['stamped_at']))} by {row['stamped_by']}"
        for place, row in enumerate(study.table("claims").to_dict("records"), start=1)
    ]
    foot = (
        "Read and dated on paper by somebody who gains nothing from the claims:",
        "",
        "Date:",
        "Name:",
        "Signature:",
    )
    whole = f"SHA-256 over all stamps: {anchor_hash(study)}"
    return "\n".join([f"Claims of the study {title}", "", *lines, "", whole, SELF_DECLARED, "", *foot, ""])


def standing(study: Study, claim: Claim) -> Standing:
    """Return whether a claim was fixed in time."""
    broken = first_broken_link(study.table("claims"))
    if broken is not None and claim.number - 1 in (broken - 1, broken):
        return Standing(
            True, f"The chain of stamps is broken before claim {broken + 1}: one was changed, exchanged or taken out."
        )
    if not (claim.stamped_at and claim.stamped_by and claim.stamp):
        return Standing(True, "Nothing shows that sentence, margin and bar were fixed before the data were seen.")
    row = {name: getattr(claim, name) for name in _SEALED} | _as_stated(study, claim)
    if claim_seal(row) != claim.stamp:
        return Standing(True, "The claim was changed after it was stamped: it no longer fits its seal.")
    if first_changed_opening(study.table("unblindings")) is not None:
        return Standing(
            True, "The list of unblindings was changed after it was written, so the order of events is open."
        )
    try:
        stamped, (limit, words) = moment(claim.stamped_at, "The time of the stamp"), _limit(study, claim)
    except StudyError as error:
        return Standing(True, str(error))
    if limit is None:
        return Standing(True, words)
    if stamped < limit:
        return Standing(False, f"Fixed on {_shown(claim.stamped_at)} by {claim.stamped_by}, before {words}.")
    return Standing(True, f"Fixed on {_shown(claim.stamped_at)}, not before {words}.")


def _shown(when: str) -> str:
    """Return a moment as people write it."""
    return when.replace("T", " ")


def _as_stated(study: Study, claim: Claim) -> dict[str, Any]:
    """Return the cells of the claim as they stand in the table: what was read may have been filled in."""
    row = study.table("claims").iloc[claim.number - 1]
    return {name: row[name] for name in ("kind", "competitors", "direction", "sides")}


def _limit(study: Study, claim: Claim) -> tuple[datetime | None, str]:
    """Return the first moment from which the data of a claim could have been seen, and what it was."""
    found: list[tuple[datetime, str]] = []
    openings, entered, words = moments_opened(study), _entered(study, claim), "behind it ({})"
    if not entered and not openings:
        entered = [*first_moments(study), *(day for days in days_stated(study).values() for day in days)]
        words = "({}; no unblinding is recorded)"
    if entered:
        first = min(entered, key=lambda when: moment(when, "The time of a score"))
        found.append((moment(first, "The time of a score"), f"the first score or answer {words.format(_shown(first))}"))
    if openings:
        first = min(openings, key=lambda when: moment(when, "The time of an unblinding"))
        only_stated = study.table("unblindings").empty
        so = "; the study states this day, no record says who opened the key" if only_stated else ""
        found.append((moment(first, "The time of an unblinding"), f"the first unblinding ({_shown(first)}{so})"))
    if not found:
        return None, "The study records neither an unblinding nor when its scores and answers came in."
    return min(found, key=lambda each: each[0])


def _entered(study: Study, claim: Claim) -> list[str]:
    """Return when scores or answers of the kind a claim rests on came in, as far as the study says."""
    days = days_stated(study)
    answers = study.table("answers")
    asked = answers.loc[answers["question"] == claim.question] if claim.question else answers
    of_people = {str(name) for name in asked["session"]} if claim.question or not claim.attribute else set()
    of_panel = {str(name) for name in study.scores["session"]} if claim.attribute else set()
    moments = first_moments(study) if claim.attribute else []
    meant = of_people | of_panel
    named = [day for label, own in days.items() for day in own if _of_sessions(label, meant)]
    return [*moments, *named]


def _of_sessions(label: str, sessions: set[str]) -> bool:
    """Return whether a label of the fact dates, such as hall for hall 1 and hall 2, stands for one of the sessions."""
    names, own = [name.casefold() for name in sessions if name], label.casefold()
    return not label or any(name.startswith(own) or own.startswith(re.sub(r"[\d\s]+$", "", name)) for name in names)
