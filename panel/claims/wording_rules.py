"""Which words of a sentence say more than a test of perception can? The rules kept as data, applied to one sentence."""

from __future__ import annotations

import re
from dataclasses import dataclass

from panel.claims.claim import Claim, split_names
from panel.study.knowledge import claim_wordings, stop_patterns

STOP, CHANGE, NOTE = "stop", "change", "note"
PERCEIVED_KINDS = ("agreement", "preference")
_FEELS = re.compile(r"\b(feel|feels|felt|feeling|looks?|looked)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class WordingFinding:
    """Something about the words: `stop` (not this tool), `change` (says more than such data can) or `note`."""

    severity: str
    check: str
    message: str
    advice: str
    source: str = "common practice"


def stop_findings(claim: Claim) -> list[WordingFinding]:
    """Return the words of physiology, medicine and safety in the sentence.

    A word of physiology in an agreement that speaks of feeling is a perception, and only noted.
    """
    found = []
    feels = claim.kind in PERCEIVED_KINDS and _FEELS.search(claim.claim) is not None
    for _, category, pattern in stop_patterns():
        hit = pattern.search(claim.claim)
        if hit is None:
            continue
        if feels and category == "physiology":
            advice = "Keep 'feels' in the sentence, and have it reviewed: the step to an effect on the skin is short."
            message = f"{hit[0]!r} belongs to {category}; the sentence may only speak of what people felt."
            found.append(WordingFinding(NOTE, f"word of {category}", message, advice, "UK advice on cosmetics"))
        else:
            message = f"{hit[0]!r} belongs to {category}; a test of what people feel cannot show it."
            advice = "Leave it out, or ask a regulatory professional which evidence it needs."
            found.append(WordingFinding(STOP, f"word of {category}", message, advice, "UK advice on cosmetics"))
    return found


def pattern_findings(claim: Claim) -> list[WordingFinding]:
    """Return what the table of wordings finds in the sentence."""
    found = []
    for row in claim_wordings().to_dict("records"):
        only, never = split_names(str(row["only_kinds"])), split_names(str(row["not_kinds"]))
        if claim.kind in never or (only and claim.kind not in only):
            continue
        hit = re.search(str(row["pattern"]), claim.claim, re.IGNORECASE)
        if hit is not None:
            message = f"{row['message']} ({_quoted(hit)})"
            found.append(
                WordingFinding(str(row["severity"]), str(row["check"]), message, str(row["advice"]), str(row["source"]))
            )
    return found


def _quoted(hit: re.Match[str]) -> str:
    words = (hit[1] if hit.re.groups and hit.lastindex and hit[1] else hit[0]).strip()
    return f"“{words}”"
