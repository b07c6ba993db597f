"""Does the sentence say what the statement says: the property, the direction, how strongly, compared with what?"""

from __future__ import annotations

from collections.abc import Iterator

from panel.claims.claim import Claim
from panel.claims.evidence import Evidence
from panel.claims.evidence_answers import question_words
from panel.claims.grammar import read_sentence
from panel.claims.materials import Materials
from panel.claims.names import family_of
from panel.claims.reading import UNREADABLE, Reading
from panel.claims.said import listed
from panel.claims.sayings import public_name
from panel.claims.wording_finding import WordingFinding, change

OPPOSITE = "says the opposite"
STRONGER = "says more than was shown"
ANOTHER = "another statement"
NOT_NAMED = "attribute not named"
OTHER_ATTRIBUTE = "another attribute"
NOT_ASKED = "another sentence than was asked"
COMPARATOR = "compared with another"
QUALIFIER = "qualifier missing"
FLAT = frozenset(("positive", "negated", "absent", "low", "high", "bare"))
_EU = "EU 655/2013"
# What a sentence of each kind says; a comparison with a bar or without one is told apart below.
_DEGREES = {
    "superiority": ("comparative", "not parity"),
    "parity": ("parity",),
    "absolute_negative": ("absent", "negated"),
    "time": ("bare",),
    "duration": ("positive", "comparative"),
    "change_over_time": ("comparative",),
    "preference": ("bare",),
    "ranking": ("superlative",),
    "ingredient_attribution": ("comparative",),
}
_OF_VOTES = frozenset(("preference", "liking"))


def question_reading(claim: Claim, materials: Materials) -> Reading | None:
    """Return the reading of the sentence people were asked about; None where it rests on no question."""
    if claim.kind not in ("agreement", "absolute_negative") or not claim.question:
        return None
    return read_sentence(question_words(materials.study, claim.question), materials.names)


def statement_findings(
    claim: Claim, evidence: Evidence, materials: Materials, reading: Reading
) -> Iterator[WordingFinding]:
    """Return where the sentence says something else than the statement."""
    asked = question_reading(claim, materials)
    if asked is not None and claim.kind == "agreement":
        yield from _beside_question(claim, materials, reading, asked)
        return
    if reading.degree in (UNREADABLE, "none"):
        yield _unreadable(reading)
    else:
        elsewhere = tuple(_on_family(claim, materials, reading))
        yield from elsewhere
        if not elsewhere:
            yield from _on_degree(claim, reading)
    yield from _on_comparators(claim, materials, reading)
    if asked is not None and (asked.family != reading.family or asked.degree not in ("negated", "absent")):
        message = (
            f"People were not asked whether it is absent, but: “{question_words(materials.study, claim.question)}”."
        )
        yield change(NOT_ASKED, message, "Ask people whether they feel none of it.", "evidential support", _EU)
    yield from _on_slightly(reading)
    if evidence.qualifier and not _qualified(evidence, reading):
        yield change(QUALIFIER, evidence.qualifier, "Say it with this qualifier.", "honesty", _EU)


def _on_slightly(reading: Reading) -> Iterator[WordingFinding]:
    """Say where `slightly` stands beside no comparison: not even slightly greasy is more than not greasy."""
    if reading.has("slight") and reading.degree not in ("comparative", "not parity"):
        message = f"The sentence says “{reading.words_for('slight')[0]}”, and nothing was judged that finely."
        yield change(ANOTHER, message, "Leave it out.", "honesty", _EU)


def _unreadable(reading: Reading) -> WordingFinding:
    if len(reading.families) > 1:
        message = f"The sentence speaks of several things ({listed(sorted(reading.families))}); its evidence is of one."
        return change("several statements in one", message, "Make a claim of each.", "evidential support", _EU)
    if not reading.families:
        return change(
            NOT_NAMED, "The sentence names nothing that was judged.", "Name what was judged.", "evidential support", _EU
        )
    message = "The words do not make one statement that can be read."
    return change("no single statement", message, "Say one thing, simply.", "informed decision-making", _EU)


def _on_family(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    if not claim.attribute:
        fitting, words = reading.families <= _OF_VOTES, "preference"
    else:
        words = materials.study.attribute_words(claim.attribute)
        fitting = reading.family == family_of(materials.study, claim.attribute)
    if not fitting:
        message = f"The sentence speaks of {reading.family}, and {words} was judged."
        advice = "Say what was judged, or judge what is said."
        yield change(OTHER_ATTRIBUTE, message, advice, "evidential support", _EU)


def _on_degree(claim: Claim, reading: Reading) -> Iterator[WordingFinding]:
    """Say where the direction or the strength is not that of the statement."""
    want = -1 if claim.kind == "absolute_negative" else int(claim.sign)
    if _direction(reading) == -want and claim.kind not in ("parity", "preference", "time", "unsurpassed"):
        message = "The sentence says the opposite of the statement."
        yield change(OPPOSITE, message, "Say it the way it was found.", "truthfulness", _EU)
    elif not _fits(claim, reading, want):
        flat = reading.degree in (*FLAT, "superlative", "nothing")
        check, message = (STRONGER, "The sentence says more than the statement") if flat else (ANOTHER, _SAYS_OTHER)
        advice = f"Say what a claim of this kind can: for instance as in “{_example(claim)}”."
        yield change(check, f"{message.rstrip('.')} ({reading.degree}).", advice, "honesty", _EU)


_SAYS_OTHER = "The sentence is not the statement that was judged."


def _fits(claim: Claim, reading: Reading, want: int) -> bool:
    degree = reading.degree
    if claim.kind == "unsurpassed":
        several = len(claim.competitors) > 1
        by_votes = not claim.attribute
        nothing = degree == "nothing" and several and (by_votes or reading.sign == want)
        return nothing or (degree == "not comparative" and reading.sign == -want)
    if claim.kind == "perceived_attribute" and claim.bar == claim.bar:
        return degree == ("low" if want < 0 else "high")
    if claim.kind == "ranking":
        return degree == "superlative" and reading.has("range") and not claim.competitors
    by_votes = claim.kind == "superiority" and not claim.attribute
    return degree in (("bare",) if by_votes else _DEGREES.get(claim.kind, ("comparative", "not parity")))


def _direction(reading: Reading) -> int:
    """Return whether the sentence says more (1) or less (-1) of what it speaks of; 0 where it says neither."""
    if reading.degree in ("comparative", "superlative", "positive", "high"):
        return reading.sign
    if reading.degree in ("not comparative", "not parity", "negated", "absent", "low"):
        return -reading.sign
    return 0


def _example(claim: Claim) -> str:
    from panel.study.knowledge import claim_kinds

    return str(claim_kinds().set_index("kind")["example"].loc[claim.kind])


def _on_comparators(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where the sentence compares with another prototype, with several it might be, or does not say with what."""
    wanted = set(claim.competitors) if claim.kind in ("unsurpassed", "ranking") else {claim.versus} - {""}
    named = [next(iter(each)) if len(each) == 1 else "" for each in reading.comparators]
    others = [name for name in named if name not in wanted]
    names = [public_name(materials.study, materials.names, name) for name in sorted(wanted)]
    if len(set(named)) < len(named):
        message = "The sentence names one it compares with twice, or another one by the same words."
        yield change(COMPARATOR, message, "Name each once.", "fairness", _EU)
    if others:
        told = ", ".join(name or "several prototypes with that name or role" for name in others)
        message = f"The sentence compares with {told}; compared was {listed(names) or 'nothing'}."
        yield change(COMPARATOR, message, "Name the one it was compared with.", "fairness", _EU)
    needed = claim.kind in ("superiority", "parity", "preference") or reading.degree == "not comparative"
    if (needed or (claim.kind == "perceived_attribute" and claim.versus)) and not wanted <= set(named):
        message = "The sentence compares and does not say with what."
        yield change("comparison without the other", message, f"Name {listed(names)}.", "honesty", _EU)


def _qualified(evidence: Evidence, reading: Reading) -> bool:
    if evidence.replaced is not None:
        return reading.replaced == evidence.replaced
    return reading.has("slight")


def _beside_question(claim: Claim, materials: Materials, reading: Reading, asked: Reading) -> Iterator[WordingFinding]:
    """Say where the sentence is not the one that people were asked about."""
    yield from _on_slightly(reading)
    in_own_words = bool(asked.left_over)
    same = reading.family == asked.family and reading.asked_as == asked.asked_as
    same = reading.order == asked.order if in_own_words else same and reading.degree != UNREADABLE
    words = question_words(materials.study, claim.question)
    if reading.comparators:
        message = f"The sentence compares, and people were asked about “{words}” alone."
        yield change(COMPARATOR, message, "Leave the comparison out.", "fairness", _EU)
    if not same:
        message = f"People were asked whether they agree with “{words}”, and the sentence says something else."
        yield change(NOT_ASKED, message, "Say what people agreed with.", "evidential support", _EU)
    elif reading.degree != asked.degree or reading.sign != asked.sign:
        yield _unlike(reading, asked, words)
    elif asked.has("feel") and not reading.has("feel"):
        message = f"People were asked what they feel (“{words}”), and the sentence speaks of what is."
        yield change(STRONGER, message, "Say 'feels'.", "honesty", "UK advice on cosmetics")


def _unlike(reading: Reading, asked: Reading, words: str) -> WordingFinding:
    if _direction(reading) * _direction(asked) < 0:
        message = f"The sentence says the opposite of what people were asked: “{words}”."
        return change(OPPOSITE, message, "Say it the way it was asked.", "truthfulness", _EU)
    message = f"People were asked about “{words}” ({asked.degree}); the sentence says it otherwise ({reading.degree})."
    return change(STRONGER, message, "Say what people agreed with.", "honesty", _EU)
