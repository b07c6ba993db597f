"""One thing found in the words of a claim, with the common criterion it touches and the source of the rule."""

from __future__ import annotations

from dataclasses import dataclass

STOP, CHANGE, NOTE = "stop", "change", "note"
CRITERIA = (
    *("legal compliance", "truthfulness", "evidential support", "honesty", "fairness", "informed decision-making"),
)
"""The common criteria for claims on cosmetics (EU 655/2013)."""


@dataclass(frozen=True, slots=True)
class WordingFinding:
    """Something about the words: `stop` (not this tool), `change` (not what was shown) or `note`."""

    severity: str
    check: str
    message: str
    advice: str
    criterion: str
    source: str = "common practice"


def change(check: str, message: str, advice: str, criterion: str, source: str = "common practice") -> WordingFinding:
    """Return a finding that keeps the sentence from being supported as worded."""
    return WordingFinding(CHANGE, check, message, advice, criterion, source)
