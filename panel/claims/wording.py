"""Do the words say what the statement says, and nothing else? Everything found in one sentence, the gravest first."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from panel.checks.moments_recorded import judged_blind, minutes_between, panel_days, test_record
from panel.claims.claim import (
    ANSWERS,
    BEYOND,
    BOTH,
    CHANGE,
    NOTE,
    OPPOSITE,
    PANEL,
    STOP,
    TIMES,
    UNREAD,
    VOTES,
    Claim,
    Evidence,
    Reading,
    WordingFinding,
    floor,
    kinds,
    of_kind,
)
from panel.claims.materials import Materials
from panel.claims.names import as_felt, happened, is_moment, of_another, public_name
from panel.claims.parts import OF_FILM, OF_PEOPLE, SLACK, UNREADABLE, legible, whole_words, words_of
from panel.claims.study_names import (
    as_judged,
    family_of,
    felt_with,
    in_own_words,
    is_timed,
    said_of_other,
    sites_judged,
)
from panel.claims.times_quoted import on_times
from panel.study.knowledge import shared_table
from panel.study.naming import judged_minutes, naming
from panel.study.scores_used import question_words
from panel.words import cut_share, format_list, format_typed

_IN_TEST = r"\b(test|tests|tested|assessed|judged|compared|tried)\b"
_RUBBING = frozenset(("spreading", "soaking in", "slip during rubbing"))
_ELSE_WHILE = re.compile(r"\b(?:while|during) (?!rub|massag|appl|spread)")  # while rinsing
_ON_RUBBING = re.compile(r"\b(?:on|upon|during|while) (?:rub|massag|appl|spread)")
_NOT_COVERED = "words not covered"
_STOP_CATEGORIES = frozenset(("physiology", "medicine", "safety"))
_ORDER = (STOP, CHANGE, NOTE)


def wording_of(
    claim: Claim, evidence: Evidence, materials: Materials
) -> tuple[tuple[WordingFinding, ...], tuple[str, ...]]:
    """Return what is found in the words of a claim, and the words that nothing accounts for."""
    if _said_by_the_tool(claim.claim, evidence):
        return (), ()
    reading = materials.read(claim.claim, claim.prototype, of_panel=bool(claim.attribute))
    asked = materials.asked(claim) if claim.kind == "agreement" else None
    reading = as_judged(materials.study, claim, reading) if claim.attribute else reading
    own = asked is not None and asked.in_own_words and reading.in_the_words_of(asked)
    not_covered = () if own else tuple(dict.fromkeys(map(legible, reading.left_over)))
    found = list(_refused(claim, reading.left_over, asked=own, perceived=own and reading.has("feel")))
    if claim.kind != BEYOND and not claim.problems:
        found += _whole(reading, not_covered, own=own)
        found += in_own_words(claim, materials.study)
        found += _statement_findings(claim, evidence, materials, reading)
        found += _around_findings(claim, evidence, materials, reading)
    return tuple(sorted(found, key=lambda finding: _ORDER.index(finding.severity))), not_covered


def _change(check: str, message: str, advice: str, criterion: str, source: str = "EU 655/2013") -> WordingFinding:
    """Return a finding that keeps the sentence from being supported as worded."""
    return WordingFinding(CHANGE, check, message, advice, criterion, source)


def _said_by_the_tool(sentence: str, evidence: Evidence) -> bool:
    """Return whether a sentence is, word for word, one that the tool offers for this evidence."""
    offered = [evidence.suggestion] if evidence.weaker is None else [evidence.suggestion, evidence.weaker.words]
    return words_of(sentence) in [words_of(words) for words in offered if words]


def _whole(reading: Reading, not_covered: tuple[str, ...], *, own: bool) -> Iterator[WordingFinding]:
    """Say where the language is not known, or words are left over."""
    if not reading.read and not own:
        yield _change(
            UNREAD,
            "The sentence cannot be read: most of its words are not in the table of words, which is in English.",
            "Write it in English, or have a table of words made for the language.",
            "informed decision-making",
        )
    if not_covered:
        yield _change(
            _NOT_COVERED,
            f"Not covered by the statement: {', '.join(not_covered)}.",
            "Leave out what was not judged.",
            "evidential support",
        )


def _refused(claim: Claim, left_over: list[str], *, asked: bool, perceived: bool) -> Iterator[WordingFinding]:
    """Explain the words left over that the table of refused words knows.

    In a sentence that people were asked in just these words only those of medicine, safety and physiology are refused;
    one of physiology is a perception, and only noted, where it speaks of feeling.
    """
    sentence, told = " ".join(words_of(claim.claim)), set()
    for row in _refused_words():
        if row["phrase"].partition("*")[0] not in sentence:
            continue  # nearly all: no pattern need be made of them
        found = re.finditer(whole_words(row["phrase"]), sentence)
        hits = [hit[0] for hit in found if set(hit[0].split()) & set(left_over)]
        if not hits or (row["category"], hits[0]) in told:
            continue
        told.add((row["category"], hits[0]))
        category, words = row["category"], hits[0]
        if category not in _STOP_CATEGORIES and asked:
            continue
        if category not in _STOP_CATEGORIES:
            message = f"{row['message']} (“{words}”)"
            yield _change(category, message, row["advice"], row["criterion"], row["source"])
        elif category == "physiology" and perceived:
            advice = "Keep 'feels' in the sentence, and have it reviewed: the step to an effect on the skin is short."
            message = f"{words!r} belongs to {category}; the sentence may only speak of what people felt."
            yield WordingFinding(NOTE, f"word of {category}", message, advice, row["criterion"], row["source"])
        else:
            message = f"{words!r} belongs to {category}; a test of what people feel cannot show it."
            advice = "Leave it out, or ask a regulatory professional which evidence it needs."
            yield WordingFinding(STOP, f"word of {category}", message, advice, row["criterion"], row["source"])


@cache
def _refused_words() -> list[dict[str, str]]:
    """Return the rows of the refused words, these in lower case."""
    rows = shared_table("claim_refused_en").to_dict("records")
    return [{str(k): str(v) for k, v in row.items()} | {"phrase": str(row["phrase"]).casefold()} for row in rows]


_STRONGER = "says more than was shown"
_ANOTHER = "another statement"
_NOT_NAMED = "attribute not named"
_OTHER_ATTRIBUTE = "another attribute"
_NOT_ASKED = "another sentence than was asked"
_COMPARATOR = "compared with another"
_QUALIFIER = "qualifier missing"
_THAN = frozenset(("than", "versus", "vs", "against"))
_MORE, _OTHER = "says more than the statement", "is not the statement that was judged"
_FLAT = frozenset(("positive", "negated", "absent", "low", "high", "bare"))
_SEEN = frozenset(("gloss of the skin", "gloss in the dish", "whiteness", "whitening"))
_AT_LEAST = 2.0  # what the table gives for at least as
_OF_VOTES = frozenset(("preference", "liking"))


def _statement_findings(
    claim: Claim, evidence: Evidence, materials: Materials, reading: Reading
) -> Iterator[WordingFinding]:
    """Return where the sentence says something else than the statement."""
    asked = materials.asked(claim)
    if asked is not None and claim.kind == "agreement":
        yield from _beside_question(claim, materials, reading, asked)
        return
    if reading.degree in (UNREADABLE, "none"):
        yield _unreadable(reading)
    else:
        elsewhere = tuple(_on_family(claim, materials, reading))
        yield from elsewhere
        if not elsewhere:
            yield from _on_degree(claim, materials, reading)
    yield from _on_comparators(claim, materials, reading)
    if asked is not None and (asked.family != reading.family or asked.degree not in ("negated", "absent")):
        words = question_words(materials.study, claim.question)
        message = f"People were not asked whether it is absent, but: “{words}”."
        yield _change(_NOT_ASKED, message, "Ask people whether they feel none of it.", "evidential support")
    yield from _on_manner(claim, reading)
    if evidence.qualifier and not _qualified(evidence, reading):
        yield _change(_QUALIFIER, evidence.qualifier, "Say it with this qualifier.", "honesty")


def _on_manner(claim: Claim, reading: Reading, asked: Reading | None = None) -> Iterator[WordingFinding]:
    """Say where it tells how a thing looks that was felt, or how far, or how little, and that was not judged."""
    seen = bool(reading.families) and reading.families <= _SEEN
    compared = reading.degree in ("comparative", "not parity")  # not even slightly greasy is more than not greasy
    for part, fitting, check, why, advice in (
        ("slight", compared, _ANOTHER, "nothing was judged that finely", "Leave it out."),
        ("fully", claim.kind == "time", _STRONGER, "how far was not judged", "Leave it out."),
        ("look", seen, _ANOTHER, "what was judged is felt, not seen", "Say 'feels'."),
    ):
        if reading.has(part) and not (fitting or (asked is not None and asked.has(part))):
            message = f"The sentence says “{reading.words_for(part)[0]}”, and {why}."
            yield _change(check, message, advice, "truthfulness" if part == "look" else "honesty")


def _unreadable(reading: Reading) -> WordingFinding:
    if len(reading.families) > 1:
        message = (
            f"The sentence speaks of several things ({format_list(sorted(reading.families))}); its evidence is of one."
        )
        return _change("several statements in one", message, "Make a claim of each.", "evidential support")
    if not reading.families:
        or_state = ", or state what the attribute is also said as, where these words say just that" * reading.read
        advice = f"Name what was judged{or_state}."
        return _change(_NOT_NAMED, "The sentence names nothing that was judged.", advice, "evidential support")
    message = "The words do not make one statement that can be read."
    return _change("no single statement", message, "Say one thing, simply.", "informed decision-making")


def _on_family(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    if not claim.attribute:
        fitting, words = reading.families <= _OF_VOTES, "preference"
    else:
        words = materials.called(claim)
        fitting = reading.family == family_of(materials.study, claim.attribute)
    of = said_of_other(materials.study, claim.attribute, reading, materials.sites_of_product) if claim.attribute else ""
    if of:
        message = f"The sentence says it of {reading.said_of}, and it was judged of the {of}."
        yield _change(_OTHER_ATTRIBUTE, message, "Say it of what was judged.", "evidential support")
    if not fitting:
        message = f"The sentence speaks of {reading.family}, and {words} was judged."
        advice = "Say what was judged, or judge what is said."
        yield _change(_OTHER_ATTRIBUTE, message, advice, "evidential support")


def _on_degree(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where the direction or the strength is not that of the statement."""
    want = -1 if claim.kind == "absolute_negative" else materials.sign(claim)
    if _direction(reading) == -want and claim.kind not in ("parity", "preference", "time", "unsurpassed"):
        message = "The sentence says the opposite of the statement."
        yield _change(OPPOSITE, message, "Say it the way it was found.", "truthfulness")
    elif not _fits(claim, reading, want):
        flat = reading.degree in (*_FLAT, "superlative", "nothing")
        check, message = _STRONGER if flat else _ANOTHER, f"The sentence {_MORE if flat else _OTHER}"
        advice = f"Say what a claim of this kind can: for instance as in “{kinds()[claim.kind]['example']}”."
        yield _change(check, f"{message} ({reading.degree}).", advice, "honesty")


def _fits(claim: Claim, reading: Reading, want: int) -> bool:
    degree = reading.degree
    others = {name for each in reading.comparators for name in each}
    in_range = reading.families_for("range") - {"others"} and others in (set(), set(claim.competitors))
    named = reading.has("compared_first") or any(chunk.part == "unsurpassed" for chunk in reading.core)
    nothing = degree == "nothing" and bool(in_range or named) and (not claim.attribute or reading.sign == want)
    nothing = nothing and not (claim.attribute and [chunk.part for chunk in reading.core] == ["nothing", "verb"])
    if claim.kind == "unsurpassed":
        at_least = any(chunk.value == _AT_LEAST for chunk in reading.core) or "others" in reading.families_for("range")
        at_least = at_least and degree == "parity"  # as easy to spread as any in our test
        return nothing or at_least or (degree == "not comparative" and reading.sign == -want)
    if claim.kind == "perceived_attribute" and claim.bar == claim.bar:
        return degree == ("low" if want < 0 else "high")
    if claim.kind == "ranking":
        return nothing or (degree in ("superlative", "comparative") and reading.sign == want)
    if claim.kind == "time" and degree == "positive":
        return reading.core[0].words.startswith("time ")
    if claim.kind == "parity" and degree == "not comparative" and claim.attribute:
        return reading.sign == -want  # not less soft; no softer would deny what is wanted
    by_votes = claim.kind == "superiority" and not claim.attribute
    if degree == "bare" and reading.family == "liking":
        return False  # liked, compared with: that it was liked more has to be said
    return degree in (("bare",) if by_votes else of_kind(claim.kind, "says"))


def _direction(reading: Reading) -> int:
    """Return whether the sentence says more (1) or less (-1) of what it speaks of; 0 where it says neither."""
    if reading.degree in ("comparative", "superlative", "positive", "high"):
        return reading.sign
    if reading.degree in ("not comparative", "not parity", "negated", "absent", "low"):
        return -reading.sign
    return 0


def _on_comparators(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where the sentence compares with another prototype, with several it might be, or does not say with what."""
    wanted = set(claim.competitors) if claim.kind in ("unsurpassed", "ranking") else {claim.versus} - {""}
    if claim.kind == "ranking" and not wanted:
        wanted = set(materials.rest_of_range(claim.prototype))
    named = [next(iter(each)) if len(each) == 1 else "" for each in reading.comparators]
    others = [name for name in named if name not in wanted]
    names = [public_name(materials.study, materials.names, name) for name in sorted(wanted)]
    if len(set(named)) < len(named):
        message = "The sentence names one it compares with twice, or another one by the same words."
        yield _change(_COMPARATOR, message, "Name each once.", "fairness")
    if others:
        told = ", ".join(name or "several prototypes with that name or role" for name in others)
        message = f"The sentence compares with {told}; compared was {format_list(names or ['nothing'])}."
        yield _change(_COMPARATOR, message, "Name the one it was compared with.", "fairness")
    needed = claim.kind in ("superiority", "parity", "preference") or (
        reading.degree == "not comparative" and "others" not in reading.families_for("range")
    )
    needed = needed or (claim.kind in ("ranking", "unsurpassed") and not reading.has("range"))
    if (needed or (claim.kind == "perceived_attribute" and claim.versus)) and not wanted <= set(named):
        name_it = f"Name {format_list([f'“{name}”' for name in names])}"
        message, advice = "The sentence compares and does not say with what.", f"{name_it}."
        if _THAN & set(reading.left_over) and not reading.comparators:
            message = "The sentence compares with something that the study does not name."
            advice = f"{name_it}, or write in the study what it is called."
        yield _change("comparison without the other", message, advice, "honesty")


def _qualified(evidence: Evidence, reading: Reading) -> bool:
    return reading.has("slight") if evidence.replaced is None else reading.replaced == evidence.replaced


def _beside_question(claim: Claim, materials: Materials, reading: Reading, asked: Reading) -> Iterator[WordingFinding]:
    """Say where the sentence is not the one that people were asked about."""
    yield from _on_manner(claim, reading, asked)
    in_own_words = asked.in_own_words
    same = reading.family == asked.family and reading.asked_as == asked.asked_as
    same = reading.in_the_words_of(asked) if in_own_words else same and reading.degree != UNREADABLE
    words = question_words(materials.study, claim.question)
    if reading.comparators or "compared" in reading.families_for("function") - asked.families_for("function"):
        message = f"The sentence compares, and people were asked about “{words}” alone."
        yield _change(_COMPARATOR, message, "Leave the comparison out.", "fairness")
    if not same:
        message = f"People were asked whether they agree with “{words}”, and the sentence says something else."
        yield _change(_NOT_ASKED, message, "Say what people agreed with.", "evidential support")
    elif _degree_felt(reading) != _degree_felt(asked) or reading.sign != asked.sign:
        yield _unlike(reading, asked, words)
    elif (
        in_own_words
        and asked.families_for("site") - reading.families_for("site")
        and not (asked.families and asked.families <= OF_FILM)
    ):
        message = f"People were asked about “{words}”, and the sentence does not say it of that."
        yield _change(_NOT_ASKED, message, "Say it of what people were asked about.", "evidential support")
    elif not in_own_words and of_another(reading, asked, materials.sites_of_product):
        message = f"People were asked about “{words}”, and the sentence says it of {reading.said_of}."
        yield _change(_NOT_ASKED, message, "Say it of what people were asked about.", "evidential support")
    elif asked.has("feel") and not (reading.has("feel") or as_felt(reading)):
        message = f"People were asked what they feel (“{words}”), and the sentence speaks of what is."
        yield _change(_STRONGER, message, "Say 'feels'.", "honesty", "UK advice on cosmetics")
    elif (asked.has("look") and not reading.has("look")) or (
        re.search(r"\bI (?:see|notice)", words) and reading.has("feel")
    ):
        message = f"People were asked what they see (“{words}”), and the sentence does not say so."
        yield _change(_STRONGER, message, "Say what was seen.", "honesty", "UK advice on cosmetics")


def _degree_felt(reading: Reading) -> str:
    """Return what is said of the property; to feel non-sticky is not to feel sticky."""
    return "negated" if reading.degree == "absent" and reading.has("feel") else reading.degree


def _unlike(reading: Reading, asked: Reading, words: str) -> WordingFinding:
    if _direction(reading) * _direction(asked) < 0:
        message = f"The sentence says the opposite of what people were asked: “{words}”."
        return _change(OPPOSITE, message, "Say it the way it was asked.", "truthfulness")
    message = f"People were asked about “{words}” ({asked.degree}); the sentence says it otherwise ({reading.degree})."
    return _change(_STRONGER, message, "Say what people agreed with.", "honesty")


# What stands around the statement: shares, people, places, times and ingredients, each held against the study.


_DAY = 1440.0
_LATER = 10.0  # minutes from which an attribute may be called later; a setting of ours, no source


def _around_findings(
    claim: Claim, evidence: Evidence, materials: Materials, reading: Reading
) -> Iterator[WordingFinding]:
    """Return what is found around the statement."""
    asked_people = evidence.rests_on in (ANSWERS, BOTH, VOTES)
    told_in = materials.agreed(claim.prototype, claim.question).sessions if claim.question else ()
    record = test_record(materials.study, materials.voted_in if evidence.rests_on == VOTES else told_in)
    yield from _on_shares(claim, evidence, materials, reading)
    yield from _on_people(materials, evidence, reading, record, asked_people=asked_people)
    timed = bool(claim.attribute) and is_timed(materials.study, claim.attribute)
    made = {"timed" if timed else "", "blind" if not asked_people and judged_blind(materials.study) else ""}
    yield from _on_test(evidence, reading, record, made, asked_people=asked_people)
    yield from _on_places(claim, materials, reading)
    yield from _on_moments(claim, materials, reading, record, asked_people=asked_people)
    yield from on_times(claim, materials, reading)
    yield from _on_ingredients(claim, materials, reading)
    yield from _on_names(claim, materials, reading)
    if claim.kind == "agreement" and not (record["days"] or record["either"]):
        yield WordingFinding(
            NOTE, "duration not recorded", "Nothing says for how many days the users had it, nor when.",
            "Record the first and the last day in the study's fact dates.", "evidential support",
        )  # fmt: skip


def _on_shares(claim: Claim, evidence: Evidence, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where a quoted share or base is not the counted one, and where a share has to be quoted and is not."""
    counted = evidence.observed_share
    if math.isnan(counted) or evidence.rests_on == TIMES:
        for share in reading.shares:
            yield _change(
                "share without a count", f"The sentence quotes “{share.words}”, and no share was counted.",
                "Leave the share out, or ask the question.", "truthfulness"
            )  # fmt: skip
        counted = math.nan
    users = materials.agreed(claim.prototype, claim.question).base if evidence.rests_on == BOTH else evidence.n
    for share in reading.shares if not math.isnan(counted) else ():
        of_panel = evidence.rests_on == BOTH and reading.has("panel") and not reading.has("people")
        if of_panel or not share.is_counted(counted, users):
            yield _change(
                "not the counted share",
                f"The sentence quotes “{share.words}”; {cut_share(counted)} were counted. A share is given as it was "
                "counted and never rounded up.",
                "Give the counted share, its count and its base.", "truthfulness"
            )  # fmt: skip
    for share, votes in zip(reading.votes, evidence.other_votes, strict=True):
        right = share.count == votes if not share.of else share.is_counted(votes / (evidence.n or 1), evidence.n)
        if share.words and not right:
            message = f"The sentence quotes “{share.words}”; counted were {votes}."
            yield _change("not the counted share", message, "Give the counted votes.", "truthfulness")
    counted_people = {"people": {users}, "panel": {evidence.n}, "": {users, evidence.n}}
    for base, whose in zip(reading.bases, reading.whose, strict=True):
        if base not in counted_people[whose]:
            message = f"The sentence speaks of {format_typed(base)} people, and {evidence.n} answered or scored."
            yield _change("another base", message, "Give the base that was counted.", "truthfulness")
    asked = materials.asked(claim)
    in_the_first_person = asked is not None and "i" in asked.words_for("function")
    told = reading.has("agree") or reading.has("people") or reading.family in OF_PEOPLE or in_the_first_person
    if reading.shares and not told:
        message = "The sentence quotes a share and does not say of whom."
        yield _change("share of whom", message, "Say who agreed.", "informed decision-making")
    if reading.all_said and not reading.shares and counted < 1:
        message = (
            f"The sentence names {format_typed(reading.bases[0])} people as if all agreed; {cut_share(counted)} did."
        )
        yield _change("share not said", message, "Say the share.", "honesty")
    least = floor(materials.study, "least_share") / 100
    if claim.kind == "agreement" and not reading.shares and counted < least - SLACK:
        yield _change(
            "share not said",
            f"{cut_share(counted)} agreed: a sentence that does not say its share needs {cut_share(least)} or more.",
            "Say the share.", "honesty", "common practice"
        )  # fmt: skip


def _on_people(
    materials: Materials,
    evidence: Evidence,
    reading: Reading,
    record: Mapping[str, Any],
    *,
    asked_people: bool,
) -> Iterator[WordingFinding]:
    """Say where the sentence speaks of people who did not take part, or of another kind of test."""
    people = reading.words_for("people")
    if people and not asked_people and (evidence.rests_on != TIMES or reading.families_for("people") != {"users"}):
        message = f"The sentence speaks of “{people[0]}”, and a trained panel judged it."
        advice = "Say 'in a trained-panel test', or ask users."
        yield _change("panel taken for users", message, advice, "honesty", "UK advice on cosmetics")
    of_panel = evidence.rests_on in (PANEL, BOTH)
    if (reading.has("panel") and not of_panel) or (
        reading.has("agree") and not asked_people and not reading.has("panel")
    ):
        message = "The sentence does not say who judged it: it rests on " + evidence.rests_on + "."
        yield _change("who judged it", message, "Say who judged it.", "truthfulness")
    if of_panel and not asked_people and reading.bases and "yes" in reading.families_for("agree"):
        message = "The sentence tells how many agreed, and the panel's means were compared, not their number counted."
        yield _change("who judged it", message, "Leave out that they agreed.", "truthfulness")
    said = reading.families_for("people") - {"users"}
    took_part = set(f"{record['who']} {record['sex']}".replace(",", " ").split())
    if (
        asked_people
        and said
        and (not said <= took_part or (said & {"women", "men"} not in (set(), took_part & {"women", "men"})))
    ):
        recorded = " ".join(sorted(took_part)) or "nothing"
        message = f"The sentence says “{' and '.join(people)}”; recorded about those who took part: {recorded}."
        yield _change("women or men in the sentence", message, "Say who took part.", "truthfulness")
    for month in reading.months:
        known = [record["month"], record["between"]] if asked_people else [panel_days(materials.study)]
        if month not in [words.casefold() for words in known]:
            message = f"The sentence says “{month}”; recorded is: {known[-1] or 'nothing'}."
            yield _change("month in the sentence", message, "Say when it was.", "truthfulness")
    if reading.ages and reading.ages != record["ages"]:
        message = f"The sentence says “aged {reading.ages}”; recorded is: {record['ages'] or 'nothing'}."
        yield _change("ages in the sentence", message, "Say who took part.", "truthfulness")
    if asked_people and record["staff"] == "yes":
        message = "The people who answered work for the maker."
        yield _change("staff", message, "Ask users who do not.", "honesty", "common practice")


def _on_test(
    evidence: Evidence, reading: Reading, record: Mapping[str, Any], fitting: set[str], *, asked_people: bool
) -> Iterator[WordingFinding]:
    """Say where the sentence speaks of another kind of test than the one that was made; `fitting` is what it was."""
    fitting |= {"timed"} if evidence.rests_on == TIMES else set()
    if asked_people or evidence.rests_on == TIMES:
        home = (kind for kind in ("home", "hall") if asked_people and record["kind"].casefold().startswith(kind))
        fitting |= {"users", *home}
    if not reading.families_for("test") <= fitting:
        was = record["kind"] if asked_people else evidence.rests_on
        message = f"The sentence names another kind of test; it was: {was}."
        yield _change("another kind of test", message, "Name the test that was made.", "truthfulness")


_NO_SKIN = frozenset(("hair", "beard", "nails", "lashes", "lips"))


def _on_places(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where the sentence speaks of another place than the one asked about, or than the product is for."""
    asked = materials.asked(claim) if claim.kind == "agreement" else None
    own = materials.sites_of_product
    named = frozenset() if asked is None else asked.families_for("site")
    anywhere = not own & _NO_SKIN if asked is None else not (named or own - {"body"})  # the panel's forearm
    exact = asked is not None and (named or asked.in_own_words)
    fitting = named if exact else own | ({"skin"} if anywhere else set())
    fitting = sites_judged(materials.study, claim.attribute, fitting) if claim.attribute else fitting
    fitting |= felt_with(materials.study, claim.attribute, words_of(claim.claim)) if claim.attribute else set()
    for site in sorted(reading.families_for("site") - fitting):
        message = f"The sentence speaks of {site}; that was not what was asked, or not what the product is for."
        yield _change("another place", message, "Name the place it was tried on.", "evidential support")


def _on_moments(
    claim: Claim, materials: Materials, reading: Reading, record: Mapping[str, Any], *, asked_people: bool
) -> Iterator[WordingFinding]:
    """Say where a quoted time is none that was tested, and where a time has to be said and is not."""
    judged = judged_minutes(materials.study, claim.attribute) if claim.attribute else math.nan
    asked = materials.asked(claim) if claim.kind == "agreement" else None
    in_question = [] if asked is None else [minutes for _, minutes, _ in asked.moments]
    days = [record["days"] * _DAY] if asked_people and record["days"] else []
    at = [*in_question, *days, *([judged, claim.minutes] if claim.attribute else [])]
    if claim.kind == "change_over_time":
        at = [minutes_between(materials.study, claim.session_before, claim.session_after)]
    told = [*(chunk.words for chunk in reading.core), *(words for _, _, words in reading.moments)]
    if claim.kind == "time" and any(words.startswith(("has ", "have ", "give it", "allow")) for words in told):
        at = [claim.bar / 60]  # after a minute it has sunk in
    fitting = {"at": at, "within": [claim.bar / 60] if claim.kind == "time" else [], "for": []}
    fitting["for"] = [claim.minutes] if claim.kind == "duration" else []
    called = materials.called(claim) if claim.attribute else ""
    rubbed = reading.families <= _RUBBING or naming(materials.study).stage(claim.attribute) == "rub-out"
    rubbed = (rubbed or _ON_RUBBING.search(called) is not None) and not _ELSE_WHILE.search(called)
    fitting["rubbing"] = [0.0] * (bool(claim.attribute) and not judged > 0 and rubbed)
    fitting["use"], fitting["later"] = days, [each for each in at if each not in days]
    wrong = [words for kind, minutes, words in reading.moments if not _near(minutes, fitting[kind])]
    said, known = happened(reading), happened(asked) if asked is not None else {}
    of_panel = claim.attribute and asked is None
    before = materials.happened(claim.attribute) if of_panel else {"applied", *known}
    wrong += [words for event, words in said.items() if not any(is_moment(event, own) for own in before)]
    for words in wrong:
        message = f"The sentence says “{words}”, and that was not tested."
        yield _change("time not tested", message, "Say the time that was tested.", "evidential support")
    if reading.has("still") and reading.degree != "parity" and not (asked is not None and asked.has("still")):
        message = "The sentence says “still”, and nothing says how long."
        yield _change("time not tested", message, "Leave 'still' out.", "evidential support")
    if reading.has("later") and not (judged >= _LATER or (asked is not None and asked.has("later"))):
        message = "The sentence speaks of later, and it was not judged later."
        yield _change("time not tested", message, "Say the time that was tested.", "evidential support")
    felt = reading.has("agree") and (reading.has("feel") or as_felt(reading))
    answered = bool(reading.shares) and felt and reading.degree == "negated"  # the users' own part of an absolute
    needed = claim.kind in ("time", "duration", "change_over_time")
    needed = needed or (claim.kind == "absolute_negative" and not answered)
    unsaid = any(not any(_near(minutes, [each]) for _, minutes, _ in reading.moments) for each in in_question)
    unsaid = unsaid or any(not any(is_moment(each, event) for each in said) for event in {*known} - {"applied"})
    at_once = bool({*said} - {"applied"}) and not any(each > 0 for each in (judged, claim.minutes))
    if unsaid or (needed and not (reading.moments or at_once)):
        message = "The time belongs into the sentence."
        yield _change("time not said", message, "Say the time that was tested.", "evidential support")


def _near(minutes: float, tested: list[float]) -> bool:
    return any(math.isclose(minutes, each, rel_tol=1e-6) for each in tested)


def _on_ingredients(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where an ingredient is not in the formula, or gets a credit."""
    for name in reading.contains:
        formulas = materials.study.table("formulas")
        if name not in set(formulas.loc[formulas["prototype"] == claim.prototype, "ingredient"]):
            message = f"The sentence says that it contains {name}, and the formula of {claim.prototype} does not."
            yield _change("not in the formula", message, "Leave the ingredient out.", "truthfulness")
    for name in reading.credits:
        message = f"The sentence credits {name} with what was felt; only its swap in this base can have been tested."
        advice = "Leave the credit out, or judge it as an ingredient attribution."
        yield _change("ingredient credit", message, advice, "evidential support")


def _on_names(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where another prototype is the subject, or something is called new of which there is no previous one."""
    for name in reading.subjects:
        if name != claim.prototype:
            message = f"The sentence is about {name}, and the claim about {claim.prototype}."
            yield _change("another prototype", message, "Name the one that was judged.", "truthfulness")
    roles = materials.names.roles
    previous = (roles.get("previous", frozenset()) | roles.get("current", frozenset())) - {claim.prototype}
    if (reading.has("new") and not previous) or (
        "statement" in reading.families_for("new") and claim.versus not in previous
    ):
        message = "The sentence calls something new, and nothing previous was compared."
        yield _change("called new", message, "Leave 'new' out.", "truthfulness")
    if reading.replaced is not None and claim.kind != "ingredient_attribution":
        message = "The sentence speaks of a swap, and the claim is not about one."
        yield _change("ingredient credit", message, "Judge it as an ingredient attribution.", "evidential support")
    ranged = " ".join([*reading.words_for("product"), *reading.words_for("range")])
    wider = "product" in ranged and materials.names.product_types and not re.search(_IN_TEST, ranged)
    if reading.has("range") and (wider or not materials.whole_range(claim)):
        message = "The sentence speaks of a range, and none was compared."
        yield _change("range not compared", message, "Leave the range out.", "fairness")
