"""What stands around the statement: shares, people, places, times and ingredients, each held against the study."""

from __future__ import annotations

import math
from collections.abc import Iterator

from panel.claims.claim import Claim
from panel.claims.evidence import Evidence
from panel.claims.evidence_answers import ANSWERS
from panel.claims.evidence_differences import PANEL
from panel.claims.evidence_levels import BOTH
from panel.claims.evidence_times import TIMES
from panel.claims.evidence_votes import VOTES
from panel.claims.floors import floor
from panel.claims.materials import Materials
from panel.claims.reading import Moment, Reading, Share
from panel.claims.record import TestRecord, minutes_between, test_record
from panel.claims.said import number, percent
from panel.claims.wording_finding import NOTE, WordingFinding, change
from panel.claims.wording_statement import question_reading

_EU = "EU 655/2013"
_DAY = 1440.0
_LATER = 10.0  # minutes from which an attribute may be called later; a setting of ours, no source
_SLACK = 1e-9
_SPEAK_FOR_PEOPLE = frozenset(("use", "preference", "liking"))


def around_findings(
    claim: Claim, evidence: Evidence, materials: Materials, reading: Reading
) -> Iterator[WordingFinding]:
    """Return what is found around the statement."""
    asked_people = evidence.rests_on in (ANSWERS, BOTH, VOTES)
    sessions = materials.agreed(claim.prototype, claim.question).sessions if claim.question else ()
    record = test_record(materials.study, sessions)
    yield from _on_shares(claim, evidence, materials, reading)
    yield from _on_people(evidence, reading, record, asked_people=asked_people)
    yield from _on_places(claim, materials, reading)
    yield from _on_moments(claim, materials, reading, record, asked_people=asked_people)
    yield from _on_ingredients(claim, materials, reading)
    yield from _on_names(claim, materials, reading)
    if claim.kind == "agreement" and not record.days:
        yield WordingFinding(
            NOTE, "duration not recorded", "Nothing says for how many days the users had it, nor when.",
            "Record the first and the last day in the study's fact dates.", "evidential support",
        )  # fmt: skip


def _on_shares(claim: Claim, evidence: Evidence, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where a quoted share or base is not the counted one, and where a share has to be quoted and is not."""
    counted = evidence.observed_share
    if math.isnan(counted) or evidence.rests_on == TIMES:
        for share in reading.shares:
            yield change(
                "share without a count", f"The sentence quotes “{share.words}”, and no share was counted.",
                "Leave the share out, or ask the question.", "truthfulness", _EU,
            )  # fmt: skip
        counted = math.nan
    for share in reading.shares if not math.isnan(counted) else ():
        if not _counted_so(share, evidence):
            yield change(
                "not the counted share",
                f"The sentence quotes “{share.words}”; {percent(counted)} were counted. A share is given as it was "
                "counted and never rounded up.",
                "Give the counted share, its count and its base.", "truthfulness", _EU,
            )  # fmt: skip
    for base in reading.bases:
        if base != evidence.n:
            message = f"The sentence speaks of {number(base)} people, and {evidence.n} answered or scored."
            yield change("another base", message, "Give the base that was counted.", "truthfulness", _EU)
    told = reading.has("agree") or reading.has("people") or reading.family in _SPEAK_FOR_PEOPLE
    if reading.shares and not told:
        message = "The sentence quotes a share and does not say of whom."
        yield change("share of whom", message, "Say who agreed.", "informed decision-making", _EU)
    least = floor(materials.study, "least_share") / 100
    if claim.kind == "agreement" and not reading.shares and counted < least - _SLACK:
        yield change(
            "share not said",
            f"{percent(counted)} agreed: a sentence that does not say its share needs {percent(least)} or more.",
            "Say the share.", "honesty", "common practice",
        )  # fmt: skip


def _counted_so(share: Share, evidence: Evidence) -> bool:
    """Return whether a quoted share is the counted one: cut, never rounded up; more than, only where it is."""
    counted = evidence.observed_share
    if share.of > 10 and share.of != 100:
        agreed = round(counted * evidence.n)
        return share.of == evidence.n and _at_most(share, share.count, agreed)
    if share.least:
        return _at_most(share, share.share, counted)
    if share.fraction:
        return counted - 0.05 < share.share <= counted + _SLACK
    finer = 10 ** max(0, len(f"{share.count:g}".partition(".")[2])) if share.of == 100 else 1
    return math.floor(counted * share.of * finer + _SLACK) == round(share.count * finer)


def _at_most(share: Share, quoted: float, counted: float) -> bool:
    if share.least == "more than":
        return quoted < counted
    return quoted <= counted + _SLACK if share.least else quoted == counted


def _on_people(
    evidence: Evidence, reading: Reading, record: TestRecord, *, asked_people: bool
) -> Iterator[WordingFinding]:
    """Say where the sentence speaks of people who did not take part, or of another kind of test."""
    people, tests = reading.words_for("people"), reading.families_for("test")
    if people and not asked_people:
        message = f"The sentence speaks of “{people[0]}”, and a trained panel judged it."
        advice = "Say 'in a trained-panel test', or ask users."
        yield change("panel taken for users", message, advice, "honesty", "UK advice on cosmetics")
    of_panel = evidence.rests_on in (PANEL, BOTH)
    if (reading.has("panel") and not of_panel) or (
        reading.has("agree") and not asked_people and not reading.has("panel")
    ):
        message = "The sentence does not say who judged it: it rests on " + evidence.rests_on + "."
        yield change("who judged it", message, "Say who judged it.", "truthfulness", _EU)
    said = reading.families_for("people") - {"users"}
    known = set(f"{record.who} {record.sex}".replace(",", " ").split())
    if (
        asked_people
        and said
        and (not said <= known or (said & {"women", "men"} not in (set(), known & {"women", "men"})))
    ):
        recorded = " ".join(sorted(known)) or "nothing"
        message = f"The sentence says “{' and '.join(people)}”; recorded about those who took part: {recorded}."
        yield change("women or men in the sentence", message, "Say who took part.", "truthfulness", _EU)
    if reading.ages and reading.ages != record.ages:
        message = f"The sentence says “aged {reading.ages}”; recorded is: {record.ages or 'nothing'}."
        yield change("ages in the sentence", message, "Say who took part.", "truthfulness", _EU)
    fitting = {"users"} | {kind for kind in ("home", "hall") if record.kind.casefold().startswith(kind)}
    if tests and (not asked_people or not tests <= fitting):
        message = (
            f"The sentence names another kind of test; it was: {record.kind if asked_people else evidence.rests_on}."
        )
        yield change("another kind of test", message, "Name the test that was made.", "truthfulness", _EU)
    if asked_people and record.staff == "yes":
        message = "The people who answered work for the maker."
        yield change("staff", message, "Ask users who do not.", "honesty")


def _on_places(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where the sentence speaks of another place than the one asked about, or than the product is for."""
    asked = question_reading(claim, materials) if claim.kind == "agreement" else None
    of_hands = any("hand" in words for words in materials.names.product_types)
    of_hands = of_hands or "hand" in str(materials.study.facts.get("area", ""))
    fitting = ({"hands"} if of_hands else set()) | ({"skin"} if asked is None else asked.families_for("site"))
    for site in sorted(reading.families_for("site") - fitting):
        message = f"The sentence speaks of {site}; that was not what was asked, or not what the product is for."
        yield change("another place", message, "Name the place it was tried on.", "evidential support", _EU)


def _on_moments(
    claim: Claim, materials: Materials, reading: Reading, record: TestRecord, *, asked_people: bool
) -> Iterator[WordingFinding]:
    """Say where a quoted time is none that was tested, and where a time has to be said and is not."""
    judged = materials.minutes(claim.attribute) if claim.attribute else math.nan
    asked = question_reading(claim, materials) if claim.kind == "agreement" else None
    in_question = [] if asked is None else [moment.minutes for moment in asked.moments]
    days = [record.days * _DAY] if asked_people and record.days else []
    at = [*in_question, *days, *([judged, claim.minutes] if claim.attribute else [])]
    if claim.kind == "change_over_time":
        at = [minutes_between(materials.study, claim.session_before, claim.session_after)]
    fitting = {"at": at, "within": [claim.bar / 60] if claim.kind == "time" else [], "for": []}
    fitting["for"] = [claim.minutes] if claim.kind == "duration" else []
    wrong = [moment for moment in reading.moments if not _near(moment, fitting[moment.kind])]
    for moment in wrong:
        message = f"The sentence says “{moment.words}”, and that was not tested."
        yield change("time not tested", message, "Say the time that was tested.", "evidential support", _EU)
    if reading.has("still") and not (asked is not None and asked.has("still")):
        message = "The sentence says “still”, and nothing says how long."
        yield change("time not tested", message, "Leave 'still' out.", "evidential support", _EU)
    if reading.has("later") and not (judged >= _LATER or (asked is not None and asked.has("later"))):
        message = "The sentence speaks of later, and it was not judged later."
        yield change("time not tested", message, "Say the time that was tested.", "evidential support", _EU)
    needed = claim.kind in ("absolute_negative", "time", "duration", "change_over_time")
    lacks = needed and not reading.moments
    lacks = lacks or any(not any(_near(moment, [each]) for moment in reading.moments) for each in in_question)
    if lacks:
        message = "The time belongs into the sentence."
        yield change("time not said", message, "Say the time that was tested.", "evidential support", _EU)


def _near(moment: Moment, minutes: list[float]) -> bool:
    return any(math.isclose(moment.minutes, each, rel_tol=1e-6) for each in minutes)


def _on_ingredients(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where an ingredient is not in the formula, or gets a credit."""
    formulas = materials.study.table("formulas")
    held = set(formulas.loc[formulas["prototype"] == claim.prototype, "ingredient"])
    for name in reading.contains:
        if name not in held:
            message = f"The sentence says that it contains {name}, and the formula of {claim.prototype} does not."
            yield change("not in the formula", message, "Leave the ingredient out.", "truthfulness", _EU)
    for name in reading.credits:
        message = f"The sentence credits {name} with what was felt; only its swap in this base can have been tested."
        advice = "Leave the credit out, or judge it as an ingredient attribution."
        yield change("ingredient credit", message, advice, "evidential support", _EU)


def _on_names(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where another prototype is the subject, or something is called new of which no previous one was compared."""
    for name in reading.subjects:
        if name != claim.prototype:
            message = f"The sentence is about {name}, and the claim about {claim.prototype}."
            yield change("another prototype", message, "Name the one that was judged.", "truthfulness", _EU)
    if reading.has("new") and claim.versus not in materials.names.roles.get("previous", frozenset()):
        message = "The sentence calls the product new, and nothing previous was compared."
        yield change("called new", message, "Leave 'new' out.", "truthfulness", _EU)
    if reading.replaced is not None and claim.kind != "ingredient_attribution":
        message = "The sentence speaks of a swap, and the claim is not about one."
        yield change("ingredient credit", message, "Judge it as an ingredient attribution.", "evidential support", _EU)
    if reading.has("range") and claim.kind != "ranking":
        message = "The sentence speaks of a range, and none was compared."
        yield change("range not compared", message, "Leave the range out.", "fairness", _EU)
