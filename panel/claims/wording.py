"""Do the words say what the statement says, and nothing else? Everything found in one sentence, the gravest first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from panel.claims.claim import BEYOND, Claim
from panel.claims.evidence import Evidence
from panel.claims.grammar import read_sentence
from panel.claims.materials import Materials
from panel.claims.reading import Reading
from panel.claims.wording_around import around_findings
from panel.claims.wording_finding import CHANGE, NOTE, STOP, WordingFinding, change
from panel.claims.wording_statement import question_reading, statement_findings
from panel.claims.words import words_of
from panel.study.knowledge import refused_patterns

UNREAD = "cannot be read"
NOT_COVERED = "words not covered"
STOP_CATEGORIES = frozenset(("physiology", "medicine", "safety"))
_ORDER = (STOP, CHANGE, NOTE)


@dataclass(frozen=True, slots=True)
class Wording:
    """What was found in the words of a claim, and the words that nothing accounts for."""

    findings: tuple[WordingFinding, ...]
    not_covered: tuple[str, ...]


def wording_of(claim: Claim, evidence: Evidence, materials: Materials) -> Wording:
    """Return what is found in the words of a claim."""
    reading = read_sentence(claim.claim, materials.names)
    asked = question_reading(claim, materials)
    own = claim.kind == "agreement" and asked is not None and bool(asked.left_over) and reading.order == asked.order
    not_covered = () if own else tuple(dict.fromkeys(reading.left_over))
    found = list(_refused(claim, reading.left_over, perceived=own and reading.has("feel")))
    if claim.kind != BEYOND and not claim.problems:
        found += _whole(reading, not_covered, own=own)
        found += statement_findings(claim, evidence, materials, reading)
        found += around_findings(claim, evidence, materials, reading)
    return Wording(tuple(sorted(found, key=lambda finding: _ORDER.index(finding.severity))), not_covered)


def _whole(reading: Reading, not_covered: tuple[str, ...], *, own: bool) -> Iterator[WordingFinding]:
    """Say where the language is not known, or words are left over."""
    if not reading.read and not own:
        yield change(
            UNREAD,
            "The sentence cannot be read: most of its words are not in the table of words, which is in English.",
            "Write it in English, or have a table of words made for the language.",
            "informed decision-making",
            "EU 655/2013",
        )
    if not_covered:
        yield change(
            NOT_COVERED,
            f"Not covered by the statement: {', '.join(not_covered)}.",
            f"Leave out what was not judged: {', '.join(not_covered)}.",
            "evidential support",
            "EU 655/2013",
        )


def _refused(claim: Claim, left_over: tuple[str, ...], *, perceived: bool) -> Iterator[WordingFinding]:
    """Explain the words left over that the table of refused words knows.

    A word of physiology in a sentence that people were asked in just these words, and that speaks of feeling, is a
    perception, and only noted.
    """
    sentence, told = " ".join(words_of(claim.claim)), set()
    for pattern, row in refused_patterns():
        hits = [hit[0] for hit in pattern.finditer(sentence) if set(hit[0].split()) & set(left_over)]
        if not hits or (row["category"], hits[0]) in told:
            continue
        told.add((row["category"], hits[0]))
        category, words = row["category"], hits[0]
        if category not in STOP_CATEGORIES:
            message = f"{row['message']} (“{words}”)"
            yield change(category, message, row["advice"], row["criterion"], row["source"])
        elif category == "physiology" and perceived:
            advice = "Keep 'feels' in the sentence, and have it reviewed: the step to an effect on the skin is short."
            message = f"{words!r} belongs to {category}; the sentence may only speak of what people felt."
            yield WordingFinding(NOTE, f"word of {category}", message, advice, row["criterion"], row["source"])
        else:
            message = f"{words!r} belongs to {category}; a test of what people feel cannot show it."
            advice = "Leave it out, or ask a regulatory professional which evidence it needs."
            yield WordingFinding(STOP, f"word of {category}", message, advice, row["criterion"], row["source"])
