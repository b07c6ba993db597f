"""Which numbers does the sentence quote, and do the data hold them? Shares are never rounded up."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from panel.claims.claim import Claim
from panel.claims.evidence import Evidence
from panel.claims.said import number, percent
from panel.claims.wording_rules import CHANGE, NOTE, WordingFinding

_WORDS = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
}  # fmt: skip
_NUMBER = rf"(\d+|{'|'.join(_WORDS)})"
_OUT_OF = re.compile(rf"\b{_NUMBER}\s*(?:in|out of|of(?: the| every)?|/)\s*(?:every\s+)?{_NUMBER}\b", re.IGNORECASE)
_PERCENT = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:%|per ?cent\b)", re.IGNORECASE)
_FRACTIONS = (
    (re.compile(r"\bthree quarters\b", re.IGNORECASE), 0.75),
    (re.compile(r"\btwo thirds\b", re.IGNORECASE), 2 / 3),
    (re.compile(r"\b(a|the) (vast )?majority\b|\bmost (users|people|women|men)\b", re.IGNORECASE), 0.5),
)
_TIME = re.compile(
    r"\b(\d+(?:[.,]\d+)?)[\s-]*(seconds?|secs?|s|minutes?|mins?|hours?|hrs?|h|days?|weeks?)\b", re.IGNORECASE
)
_IN_MINUTES = {"s": 1 / 60, "m": 1.0, "h": 60.0, "d": 1440.0, "w": 10080.0}
_FUZZ = 1e-9
TIMED_KINDS = ("time", "duration", "change_over_time")


def quoted_shares(sentence: str) -> list[tuple[str, float]]:
    """Return the shares a sentence quotes, as written and as a number; `200 %` is 2."""
    out_of = [(hit[0], _value(hit[1]) / _value(hit[2])) for hit in _OUT_OF.finditer(sentence) if _value(hit[2])]
    found = [(words, share) for words, share in out_of if share <= 1]
    found += [(hit[0], float(hit[1].replace(",", ".")) / 100) for hit in _PERCENT.finditer(sentence)]
    return [*found, *((hit[0], share) for pattern, share in _FRACTIONS if (hit := pattern.search(sentence)))]


def quoted_minutes(sentence: str) -> list[tuple[str, float]]:
    """Return the times a sentence quotes, as written and in minutes."""
    return [
        (hit[0], float(hit[1].replace(",", ".")) * _IN_MINUTES[hit[2][0].casefold()])
        for hit in _TIME.finditer(sentence)
    ]


def share_findings(claim: Claim, evidence: Evidence) -> Iterator[WordingFinding]:
    """Say where a quoted share is above the counted one, or stands without its base."""
    counted_share = evidence.observed_share
    for words, share in quoted_shares(claim.claim):
        if math.isnan(counted_share):
            yield WordingFinding(
                CHANGE,
                "share without a count",
                f"The sentence quotes “{words}”, and no share was counted.",
                "Leave the share out, or ask the question.",
            )
        elif share > counted_share + _FUZZ:
            yield WordingFinding(
                CHANGE,
                "rounded up",
                f"The sentence quotes “{words}”; {percent(counted_share)} were counted. A share is never rounded up.",
                "Give the counted share, its count and its base.",
                "EU 655/2013",
            )
        elif not re.search(r"\bof \d{2,}\b|\bn ?= ?\d+", claim.claim):
            yield WordingFinding(
                NOTE,
                "base not in the sentence",
                f"“{words}” stands without its base.",
                "Put the footnote with count, base, days and month beside it.",
            )


def time_findings(claim: Claim, recorded_days: int) -> Iterator[WordingFinding]:
    """Say where a quoted time is none that was tested."""
    for words, minutes in quoted_minutes(claim.claim):
        days = minutes / _IN_MINUTES["d"]
        if claim.kind == "time":
            if not math.isclose(60 * minutes, claim.bar, rel_tol=1e-6):
                yield _untested(words, f"the bar of this claim is {number(claim.bar)} s")
        elif claim.kind == "change_over_time" or (recorded_days and math.isclose(days, recorded_days)):
            continue
        elif not math.isclose(minutes, claim.minutes, rel_tol=1e-6):
            tested = f"{number(claim.minutes)} min" if not math.isnan(claim.minutes) else "no time"
            yield _untested(words, f"{tested} is stated for this claim")


def missing_time(claim: Claim, recorded_days: int) -> Iterator[WordingFinding]:
    """Say where a sentence on users rests on a test whose length is not recorded."""
    if claim.kind == "agreement" and not recorded_days:
        yield WordingFinding(
            NOTE,
            "duration not recorded",
            "Nothing says for how many days the users had it, nor when.",
            "Record the first and the last day in the study's fact dates.",
        )


def _untested(words: str, tested: str) -> WordingFinding:
    return WordingFinding(
        CHANGE,
        "time not tested",
        f"The sentence says “{words}”, and {tested}.",
        "Say the time that was tested, or test the time that is said.",
        "EU 655/2013",
    )


def _value(text: str) -> float:
    return float(_WORDS.get(text.casefold(), 0) or text)
