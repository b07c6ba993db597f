"""Do the words say more than the data? Everything found in one sentence, the gravest first."""

from __future__ import annotations

import re
from collections.abc import Iterator

from panel.claims.claim import BEYOND, Claim
from panel.claims.evidence import Evidence
from panel.claims.evidence_answers import ANSWERS, question_words
from panel.claims.evidence_differences import PANEL
from panel.claims.evidence_levels import BOTH
from panel.claims.evidence_votes import VOTES
from panel.claims.materials import Materials
from panel.claims.record import TestRecord, test_record
from panel.claims.said import listed
from panel.claims.wording_numbers import missing_time, share_findings, time_findings
from panel.claims.wording_rules import CHANGE, NOTE, STOP, WordingFinding, pattern_findings, stop_findings

_ORDER = (STOP, CHANGE, NOTE)
_SEXES = re.compile(r"\b(women|men|females?|males?|ladies)\b", re.IGNORECASE)
_SKIN = re.compile(r"\b(dry|oily|normal|mature|combination) skin\b", re.IGNORECASE)
NOT_NAMED = "attribute not named"
NOT_ASKED = "another sentence than was asked"
_LETTERS = 4  # of two words that begin alike, as greasy and grease do
_SAY_LITTLE = re.compile(
    r"\b(the|and|our|for|how|all|any|not|you|are|was|its|one|than|with|from|after|before|hands?|creams?|felt|feel|feels|"
    r"feeling|skin|less|more|most|least|later|left|much|very|that|this|previous|their|your|leaves)\b"
)
_USERS = re.compile(r"\b(users?|people|consumers?|women|men)\b", re.IGNORECASE)


def wording_findings(claim: Claim, evidence: Evidence, materials: Materials) -> tuple[WordingFinding, ...]:
    """Return what is found in the words of a claim."""
    found = stop_findings(claim)
    if claim.kind != BEYOND:
        found += pattern_findings(claim)
        found += _beside_the_record(claim, evidence, materials)
    return tuple(sorted(found, key=lambda finding: _ORDER.index(finding.severity)))


def _beside_the_record(claim: Claim, evidence: Evidence, materials: Materials) -> list[WordingFinding]:
    asked_people = evidence.rests_on in (ANSWERS, BOTH, VOTES)
    sessions: tuple[str, ...] = ()
    if evidence.rests_on in (ANSWERS, BOTH):
        sessions = materials.agreed(claim.prototype, claim.question).sessions
    record = test_record(materials.study, sessions)
    return [
        *share_findings(claim, evidence),
        *time_findings(claim, record.days if asked_people else 0),
        *(missing_time(claim, record.days) if asked_people else ()),
        *_on_users(claim, record, asked_people=asked_people),
        *_on_aliases(claim, materials),
        *(_on_attribute(claim, materials) if evidence.rests_on in (PANEL, BOTH) else ()),
        *(_on_question(claim, materials) if evidence.rests_on == ANSWERS else ()),
    ]


def _on_users(claim: Claim, record: TestRecord, *, asked_people: bool) -> Iterator[WordingFinding]:
    """Say where the sentence speaks of people who did not take part, or of users where there were none."""
    if not asked_people:
        if hit := _USERS.search(claim.claim):
            yield WordingFinding(
                CHANGE,
                "panel taken for users",
                f"The sentence speaks of “{hit[0]}”, and a trained panel judged it.",
                "Say 'in a trained-panel test', or ask users.",
                "UK advice on cosmetics",
            )
        return
    for pattern, recorded, what in ((_SEXES, record.sex, "women or men"), (_SKIN, record.skin, "a kind of skin")):
        said = " and ".join(hit.casefold() for hit in pattern.findall(claim.claim))
        if said and _words(said) != _words(recorded):
            yield WordingFinding(
                CHANGE,
                f"{what} in the sentence",
                f"The sentence says “{said}”; recorded about those who took part: {recorded or 'nothing'}.",
                "Say who took part.",
                "EU 655/2013",
            )
    if record.staff == "yes":
        yield WordingFinding(
            CHANGE,
            "staff",
            "The people who answered work for the maker.",
            "Ask users who do not.",
        )


def _words(text: str) -> set[str]:
    return set(re.findall(r"[a-z]+", text.casefold())) - {"and", "or", "to"}


def _on_aliases(claim: Claim, materials: Materials) -> Iterator[WordingFinding]:
    """Say where a credit names a property that moves together with others in these formulas."""
    if claim.kind != "ingredient_attribution" or isinstance(materials.swaps, str):
        return
    aliases = materials.swaps.aliases
    sentence = claim.claim.casefold()
    properties = aliases.loc[aliases["kind"] == "descriptor"]
    for name, group in zip(properties["descriptor"], properties["group"], strict=True):
        words = str(name).replace("_", " ").casefold()
        if words not in sentence:
            continue
        others = aliases.loc[(aliases["group"] == group) & (aliases["descriptor"] != name), "descriptor"]
        yield WordingFinding(
            CHANGE,
            "credit inside an alias group",
            f"“{words}” moves together with {', '.join(str(other).replace('_', ' ') for other in others)}.",
            "Credit the swap in this base, none of what moves with it.",
        )


def _on_attribute(claim: Claim, materials: Materials) -> Iterator[WordingFinding]:
    """Say where the sentence speaks of another attribute than the one that was judged, or names none."""
    table = materials.study.table("attributes")
    said = _telling(claim.claim)
    own = table.loc[table["attribute"] == claim.attribute, ["name", "definition", "low_end", "high_end"]]
    if not claim.attribute or _alike(said, _telling(" ".join([claim.attribute, *own.to_numpy(str).ravel()]))):
        return
    words = materials.study.attribute_words(claim.attribute)
    others = [materials.study.attribute_words(str(name)) for name in table["attribute"] if name != claim.attribute]
    named = [other for other in others if _alike(said, _telling(other))]
    if named:
        yield WordingFinding(
            CHANGE,
            "another attribute",
            f"The sentence speaks of {listed(named)}, and {words} was judged.",
            "Say what was judged, or judge what is said.",
        )
        return
    yield WordingFinding(
        CHANGE,
        NOT_NAMED,
        f"The sentence does not name {words}, which was judged.",
        f"Name what was judged: {words}.",
    )


def _on_question(claim: Claim, materials: Materials) -> Iterator[WordingFinding]:
    """Say where the sentence shares no word with the one that people were asked about."""
    asked = question_words(materials.study, claim.question)
    if not _alike(_telling(claim.claim), _telling(f"{claim.question} {asked}")):
        yield WordingFinding(
            CHANGE,
            NOT_ASKED,
            f"People were asked whether they agree with “{asked}”, and the sentence shares no word with it.",
            "Say what people agreed with.",
        )


def _telling(text: str) -> set[str]:
    """Return the words that may name an attribute."""
    return set(re.findall(r"[a-z]{3,}", _SAY_LITTLE.sub(" ", text.casefold().replace("_", " "))))


def _alike(said: set[str], words: set[str]) -> bool:
    """Return whether any two words begin alike."""
    return any(
        first[:letters] == second[:letters]
        for first in said
        for second in words
        for letters in [min(len(first), len(second), _LETTERS)]
    )
