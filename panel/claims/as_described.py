"""A sentence in the very terms of how an attribute is defined: who does what, where, and how; and of its ends.

A definition such as `how freely the fingertips circle on the scalp` is cut into its parts once. A sentence tells of it
where these stand in it in order, beside one word that compares, with nothing between them: nothing else is taken.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise, takewhile

from panel.claims.own_words import EASE, OBJECTS, PARTICLES, STATES, Way, in_own_terms, kernel
from panel.claims.parts import (
    ARTICLE,
    OF_FILM,
    Tokens,
    any_of,
    at_stage,
    base_of,
    between_forms,
    compared_form,
    done_forms,
    entries_at,
    entry_at,
    forms_alike,
    forms_of_stem,
    noun_forms,
    opposite_of,
    phrases,
    plural_of,
    qualities,
    said_as,
    told_in_table,
    verb_forms,
)

_PLACES = frozenset((*OBJECTS, "towards", "toward", "below", "beside", "along", "through", "down", "beneath", "within"))
_LEADS = _PLACES | STATES | {"as"}
_SAME_LEADS = (
    frozenset(("on", "over", "across")), frozenset(("in", "inside", "within")),
    frozenset(("under", "beneath", "below")), frozenset(("towards", "toward")),
    frozenset(("while", "during", "when", "as")),
)  # fmt: skip
_ITS = r"(?:(?:its|their|a|an|the) )?"
_SMALL = frozenset(("a", "an", "the", "your", "my", "their", "one", "it", "you", "its", "still"))
_BEING = frozenset(("is", "are", "was", "were", "be"))
_SEEN, _FELT = frozenset(("look", "looks", "looked")), frozenset(("feel", "feels", "felt"))
_LYING = frozenset(("lie", "lies", "lay", "sit", "sits", "sat"))
_SEEMS = _BEING | _SEEN | _FELT | _LYING | {"seem", "seems"}
_PORTIONS = frozenset((
    "drop", "drops", "dab", "dabs", "pump", "pumps", "it", "sample", "colour", "color", "foam", "pigment", "formula",
    "product",
))  # fmt: skip
_AMOUNTS = frozenset(("much", "far", "strongly", "firmly", "tightly", "harshly", "often", "hard", "intensely", "well"))
_FAST = frozenset(("fast", "quickly", "rapidly", "soon", "swiftly"))
_COUNTING = frozenset(("few", "many", "large", "small", "big"))
_DENYING = frozenset(("no", "not", "none", "nothing", "never", "without", "hardly", "every", "all", "more", "less"))
_EFFORT = frozenset(("effort", "difficulty"))
_ENDING = 3  # words: at ease, like velvet; a longer end of a scale is a sentence


@dataclass(frozen=True, slots=True)
class Telling:
    """One way to tell of an attribute: the pattern of its words, which name it stands for, what may be told beside.

    In the pattern the group `up` holds the words that say more of it, `down` those that say less; `whose` a product.
    `begins`: those of the `words` that may begin what one is told to do; `tasks`: those that are what is done.
    """

    pattern: re.Pattern[str]
    named: Tokens
    sign: int
    settings: tuple[Tokens, ...] = ()
    words: frozenset[str] = frozenset()
    begins: frozenset[str] = frozenset()
    tasks: frozenset[str] = frozenset()


@cache
def _degrees(how: str, *, amount: bool, anchored: bool) -> tuple[str, str]:
    """Return the patterns of what says more and what says less of how something is, or is done."""
    if how in EASE or how in _FAST:
        family, turned = ("ease", 1.0) if how in EASE else ("time", -1.0)
        said: dict[float, list[str]] = {1.0: [], -1.0: []}
        for words, entries in phrases().items():
            for entry in entries:
                if (entry.part, entry.family) == ("verb so", family) and abs(entry.value) == 1.0:
                    said[entry.value * turned].append(" ".join(words))
        return any_of(said[1.0]), any_of(said[-1.0])
    same, against = (
        qualities(how),
        frozenset(quality for word in opposite_of(how) for quality in qualities(word))
        if anchored
        else frozenset[str](),
    )
    up = {f"more {word}" for word in same if how != "much"} | compared_form(how) | {f"less {word}" for word in against}
    down = {f"less {word}" for word in same if how != "much"} | {f"more {word}" for word in against}
    down |= {word for quality in opposite_of(how) for word in compared_form(quality)} if anchored else set()
    if amount:
        up |= {"more", "to a greater degree", "to a greater extent", "to a higher degree"}
        down |= {"less", "to a lesser degree", "to a lesser extent", "to a lower degree"}
    return any_of(up), any_of(down)


# The parts of a definition.


@dataclass(frozen=True, slots=True)
class _Parts:
    """What a definition says: how, who or what, does what, and where and when."""

    how: str
    subject: Tokens
    verb: Tokens
    rest: tuple[Tokens, ...]
    rest_of_verb: Tokens = ()


def _parted(told: Tokens) -> _Parts | None:
    """Cut a definition that begins with how into its parts; nothing where it has no verb, or joins or denies."""
    joins = any(word in ("and", "or") and "between" not in told[n - 3 : n] for n, word in enumerate(told))
    if told[:1] != ("how",) or len(told) < 4 or joins:
        return None
    how, words = told[1], told[2:]
    verb = _verb_at(words)
    if verb is None or {"can", "could", "may"} & {*words[: verb + 1]}:
        return None
    start, end = verb, verb + 1
    if words[verb : verb + 2] in (("has", "to"), ("have", "to"), ("seems", "to"), ("seem", "to")):
        start, end = verb + 2, verb + 3
    while end < len(words) and words[end] in PARTICLES and (end + 1 == len(words) or words[end + 1] in _LEADS):
        end += 1
    after = tuple(takewhile(lambda word: word not in _LEADS, words[end:]))
    return _Parts(how, words[:verb], words[start:end], tuple(_phrases_of(words[end:])), after)


def mover_of(told: Tokens) -> str:
    """Return the noun of what moves in a definition on how easily it does; empty where that is not told."""
    parts = _parted(told) if told[1:2] != () and told[1] in EASE | _FAST | {"freely", "smoothly", "well"} else None
    head = takewhile(lambda word: word not in _LEADS, parts.subject) if parts else ()
    return ([""] + [word for word in head if word not in _SMALL])[-1]


def judged_of(told: Tokens, types: set[str]) -> str:
    """Return what a definition says it of: `product`, or the place that is or does it, such as the foot that slips."""
    parts = _parted(told)
    whole = tuple(takewhile(lambda word: word not in _LEADS, parts.subject)) if parts else ()
    if parts is None or {"a", "the"} & {*whole[1:]} or not (whole or parts.how == "much"):
        return ""  # how large a mark the arm leaves
    subject = [word for word in parts.subject if word not in _SMALL - {"it"}]
    if {*subject} <= types | {"it", "product"}:
        return "product"
    amount = parts.how == "much" and whole[:1] == tuple(subject[:1])  # how much body is felt
    return " ".join(subject) if entry_at(whole[-1:], 0, "site")[0] and not amount else ""  # the skin of the cheek


def _verb_at(words: Tokens) -> int | None:
    """Return the place of the verb of a clause: hang of the hairs at the parting hang together; none where unclear."""
    if words[0].endswith("s") and words[1:2] and words[1] in _LEADS | PARTICLES:
        return 0  # how much drops into the tub
    many = False
    for n, word in enumerate(words):
        before = words[n - 1] if n else ""
        if not n or word in _SMALL | _LEADS or before in _LEADS:
            many = many or (not n and word.endswith("s"))
            continue
        if word in _SEEMS | {"has", "have"}:
            return n
        noun = before in _SMALL - {"it", "you"} or not before
        if many and not noun:
            return n
        if word.endswith("s") and not word.endswith("ss"):
            counted = entry_at((before,), 0, "number")[0] > 0
            if noun or counted or _plural_noun(words, n) or entry_at((word,), 0, "site")[0]:
                many = many or not any(each in _PLACES for each in words[:n])
            else:
                return n
    return None


def _plural_noun(words: Tokens, n: int) -> bool:
    """Return whether a word that ends in s is the noun of those before it: three drops run; but: it stops feeling."""
    after = words[n + 1 : n + 2]
    return after != () and after[0] not in _LEADS | PARTICLES | _SMALL and not after[0].endswith("ing")


def _phrases_of(words: Tokens) -> Iterator[Tokens]:
    """Give the phrases after a verb, each led by its small word; of what stands before the first, nothing."""
    starts = [n for n, word in enumerate(words) if word in _LEADS and n + 1 < len(words)]
    for start, end in zip(starts, [*starts[1:], len(words)], strict=False):
        yield tuple(words[start:end])


def _phrase_pattern(phrase: Tokens) -> str:
    """Return the pattern of a phrase of place, words before its noun untold or told; of one of time all of them."""
    if phrase == _NEXT_DAY:
        return r"(?:on |in )?(?:the )?(?:(?:next|following) morning|morning after)"
    lead, words = phrase[0], [word for word in phrase[1:] if word not in _SMALL]
    if lead == "between" and words[1:2] == ["and"] and len(words) == 3:
        return between_forms(words[0], words[2])
    leads = any_of(next((same for same in _SAME_LEADS if lead in same), frozenset((lead,))))
    if not words or lead in STATES | {"as"} or entry_at(phrase, len(phrase) - 1, "unit")[0]:
        return rf"{leads} (?:you |it )?" + " ".join(rf"{ARTICLE}{done_forms(word)}" for word in words or phrase[1:])
    led = "".join(f"(?:{re.escape(word)} )?" for word in words[:-1])
    return rf"{leads} {ARTICLE}{led}{noun_forms(words[-1], led=True)}"


def _subject_pattern(subject: Tokens, types: set[str]) -> tuple[str, bool]:
    """Return the pattern of who or what does it, and whether it is the product, or some of it, that may stay untold."""
    words = [word for word in subject if word not in _SMALL and not entry_at((word,), 0, "number")[0]]
    head = list(takewhile(lambda word: word not in _LEADS, words))
    if not head:
        return "", True
    of = words[len(head) + 1 :] if words[len(head) : len(head) + 1] == ["of"] else []
    ways = {noun_forms(head[-1])}
    if len(head) > 1:
        ways = {"".join(f"(?:{re.escape(word)} )?" for word in head[:-1]) + noun_forms(head[-1])}
    if of:
        tail = list(takewhile(lambda word: word not in _LEADS and not word.endswith("ed") and word != "laid", of))
        ways |= {f"{noun_forms(head[-1])} of {ARTICLE}{noun_forms(tail[-1])}"} if tail else set()
        ways |= {noun_forms(tail[-1])} if tail and entry_at((head[-1],), 0, "site")[0] else set()
    product = {*head} <= types | _PORTIONS
    return f"(?:{'|'.join(sorted(ways, key=lambda each: (-len(each), each)))})", product


# The ways to tell of an attribute.


@dataclass(frozen=True, slots=True)
class Judged:
    """What a study says of how it judged an attribute: its name, definition, procedure by its pauses, and both ends.

    `said`: the words that stand for more of it.
    """

    named: Tokens
    said: Tokens
    told: Tokens
    done: tuple[Tokens, ...]
    low: Tokens
    high: Tokens
    stage: Tokens = ()


def tellings_of(judged: Judged, types: set[str]) -> Iterator[Telling]:
    """Give the ways to tell of an attribute by how it was judged; `types`: words for what the product is."""
    named, parts = judged.named, _parted(judged.told)
    beside = [*(parts.rest if parts else ()), *(each for done in judged.done for each in _phrases_of(done))]
    beside += _phrases_of(_without_day(named))
    beside += _phrases_of(parts.subject) if parts else ()
    settings = [phrase for phrase in beside if phrase[0] in _PLACES | STATES]
    settings += [("in", *done) for done in judged.done if len(done) == 1 and done[0].isalpha()]
    settings += [named[-2:]] if named[-2:] == _NEXT_DAY else []
    settings += [] if parts else [each for each in _phrases_of(judged.told) if each[0] == "between"]
    words = frozenset(map(kernel, (*judged.told, *(word for done in judged.done for word in done), *named))) - {""}
    where = _beside(settings)
    moments = (each for each in (parts.rest if parts else ()) if each[0] in STATES)
    leads = [word for each in (*moments, *judged.done) for led, word in pairwise(each) if led in _BEFORE_DOING]
    leads += [word for led, word in pairwise(judged.told) if led == "to"]
    tasks = frozenset(map(kernel, (*leads, *(done[0] for done in judged.done))))
    begins = words - {kernel(word) for word in (*judged.told[1:2], *(parts.subject if parts else ()))}
    patterns = [*_by_name(judged, where), *_by_ends(judged, parts, settings), ("(?!)", 1)]
    if parts:
        patterns += [*_by_definition(parts, judged, where, types), *_by_count(parts, judged, where)]
        patterns += [*_by_quantity(parts, judged, where)]
    for pattern, sign in patterns:
        yield Telling(re.compile(rf"(?<!\S){pattern}(?!\S)"), judged.said, sign, tuple(settings), words, begins, tasks)


_NEXT_DAY = ("next", "morning")
_WHOSE = r"(?: (?:of|from) (?P<whose>(?:(?:the|our|this|new) )*§+(?: §+)*))?"
_AUX = r"(?:(?:had|has|have|did|do|does|was found to|were found to) )?"
_FEELS = r"(?:is|are|was|were|feel|feels|felt|be)"


def _without_day(named: Tokens) -> Tokens:
    return named[: -len(_NEXT_DAY)] if named[-2:] == _NEXT_DAY else named


def _beside(settings: Sequence[Tokens]) -> str:
    """Return the pattern of at most three phrases of place and time, each after a blank."""
    where = [f" {_phrase_pattern(phrase)}" for phrase in dict.fromkeys(settings)]
    return f"(?:{'|'.join(where)}){{0,3}}" if where else ""


def _either(up: str, down: str) -> str:
    return rf"(?:(?P<denied>no|not) )?(?:(?P<up>{up})|(?P<down>{down}))"


def _by_definition(parts: _Parts, judged: Judged, beside: str, types: set[str]) -> Iterator[tuple[str, int]]:
    """Give the patterns of a clause in the order of a definition, each with its sign."""
    subject, untold = _subject_pattern(parts.subject, types)
    sign, state, how = _sign_of(parts.how, judged), parts.verb[0] in _SEEMS, parts.how
    how_much = how == "much" and parts.subject[:1] not in {(word,) for word in _SMALL}
    if not sign or how in _COUNTING or (state and how in _AMOUNTS - {"well"}) or (how_much and parts.subject):
        return
    up, down = _degrees(how, amount=how in _AMOUNTS, anchored=True)
    degree = _either(up, down)
    verbs = any_of(_states_like(parts.verb[0])) if state else forms_alike(parts.verb[0])
    verb = " ".join([verbs, *(rf"(?:it )?{word}" for word in parts.verb[1:]), *_needed(parts)])
    if how_much:
        yield rf"{degree}(?: of (?:it|§+(?: §+)*))? {verb}{beside.replace('{0,', '{1,')}", sign
        return
    by_name = "" if state else _verb_of_name(judged.named)
    verb = f"(?:{verb}|{by_name})" if by_name else verb
    verb += "".join(rf"(?: {phrase[0]})?" for phrase in parts.rest[:1] if phrase[0] in PARTICLES)
    counted = any(entry_at((word,), 0, "number")[0] for word in parts.subject)
    who = rf"{ARTICLE}{r'(?:(?:two|three|four|five|ten) )?' * counted}{subject}{_WHOSE}{beside} "
    first = beside.replace("(?: ", "(?:", 1).replace("| ", " |").removesuffix("){0,3}") + " )?" if beside else ""
    if parts.verb[0] in _FELT and entry_at(parts.subject[-1:], 0, "site")[0]:
        yield rf"{any_of(_FELT)} {degree}{beside}", sign  # feels colder
    yield rf"{first}{f'(?:{who})?' if untold else who}{_AUX}{verb}{beside} {degree}{beside}", sign
    if state:
        yield from ((each, sign) for each in _of_thing(subject, degree, beside))


def _needed(parts: _Parts) -> Iterator[str]:
    """Give the patterns of what a verb does not say it without: its form; to milk; not of a place of the body."""
    if parts.verb[0] not in _SEEMS:
        yield from (rf"{_ITS}{re.escape(word)}" for word in parts.rest_of_verb if word not in _SMALL)
        first = parts.rest[0] if parts.rest and not parts.rest_of_verb else ()
        if first[:1] == ("to",) and not any(entry_at(first, n, "site")[0] for n in range(len(first))):
            yield _phrase_pattern(first)


def _of_thing(subject: str, degree: str, beside: str) -> Iterator[str]:
    """Give the patterns of what a thing is left, or is, beside its quality: a less slippery tile."""
    yield rf"(?:(?:leaves|leave|left|leaving|makes|keeps) )?{ARTICLE}{subject} {degree}{beside}"
    yield rf"{degree} {subject}{beside}"


def _verb_of_name(named: Tokens) -> str:
    """Return the pattern of what a name says is done, where that is all it says: creeping, turning milky."""
    words = _without_day(named)
    if not re.fullmatch(r"\w{3,}ing", words[0] if words else "") or len(words) > 2 or {*words[1:]} & _LEADS - PARTICLES:
        return ""
    if words[1:] and (entry_at(words, 1, "site")[0] or words[1] in _EFFORT):
        return ""
    stem = words[0].removesuffix("ing")
    return " ".join([forms_of_stem(stem), *words[1:]])


def _by_count(parts: _Parts, judged: Judged, beside: str) -> Iterator[tuple[str, int]]:
    """Give the patterns of what is counted: few dabs it takes, often the hand has to pass over it."""
    if parts.how == "often":
        noun, sign = any_of({plural_of(base_of(parts.verb[0]))}), 1
        subject = "".join(rf"(?: of {ARTICLE}{noun_forms(word)})?" for word in parts.subject[-1:])
    elif parts.how in ("few", "many") and parts.subject:
        words = list(takewhile(lambda word: word not in _LEADS | {"it", "you"}, parts.subject))
        if not words or not words[-1].endswith("s"):
            return
        noun, sign = re.escape(" ".join(words)), 1 if parts.how == "many" else -1
        of = parts.subject[len(words) : len(words) + 2]
        subject = rf"(?: of {re.escape(of[1])})?" if of[:1] == ("of",) and len(of) > 1 else ""
    else:
        return
    stem = re.match(r"(\w{3,}?)(?:ing|abil(?:ity)?|ibil(?:ity)?|able)$", (*judged.named, "")[0])
    of_name = next((word for word in judged.named if re.fullmatch(r"\w{3,}ing", word)), "")
    stem_text = stem[1] if stem else of_name.removesuffix("ing")
    done = rf"(?:{forms_of_stem(stem_text)}(?: (?:out|in|off|away))? )?" if stem_text else ""
    needs = r"(?:(?:in|with|after|takes|took|needs|needed|requires) )?"
    said, none = rf"{needs}{_either('more', 'fewer')} {noun}", "(?! (?:of|from) )"  # fewer dabs of it are less of it
    yield rf"{done}{said}{subject}{beside.replace('{0,', '{1,')}{none}", sign
    if stem_text:
        yield rf"{done.removesuffix('?')}{said}{subject}{none}", sign
    if subject:
        yield rf"{said}{subject.removesuffix('?')}{none}", sign


def _by_quantity(parts: _Parts, judged: Judged, beside: str) -> Iterator[tuple[str, int]]:
    """Give the patterns of how much of something there is, or one thing takes up: one tap takes up more colour."""
    of = parts.subject[1:] if parts.subject[:1] == ("of",) else parts.subject
    of = of[of[:1] == ("the",) and of != parts.subject :]
    what = list(takewhile(lambda word: word not in _SMALL | _LEADS, of))
    if parts.how != "much" or not what or (parts.subject[0] in _SMALL):
        return
    who, text = of[len(what) :], re.escape(" ".join(what))
    amount = _either("more|a larger amount of|a greater amount of", "less|a smaller amount of|a lower amount of")
    verb = " ".join([verb_forms(parts.verb[0]), *parts.verb[1:]])
    if parts.verb[0] in _BEING:
        verb = any_of(_BEING) + " " + " ".join(map(re.escape, parts.rest_of_verb)) if parts.rest_of_verb else ""
    if not verb:
        return
    if not who:
        yield rf"{amount} (?:of the )?{text} {verb}{beside.replace('{0,', '{1,')}", _sign_of("much", judged)
        yield rf"(?:has|had|have|gives|gave) {amount} {text}{beside}{'' if verb.endswith(' felt') else '(?!)'}", 1
        return
    subject, _ = _subject_pattern(who, set())
    if subject:
        yield rf"{ARTICLE}{subject}{_WHOSE}{beside} {verb} {amount} {text}{beside}", _sign_of("much", judged)
        yield rf"{amount} {text} per {subject}{beside}", _sign_of("much", judged)


def _states_like(verb: str) -> frozenset[str]:
    """Return the verbs that may stand for one that only says that it is so: sits for lies, is for any."""
    return next((same | _BEING for same in (_SEEN, _FELT, _LYING) if verb in same), _BEING)


def _sign_of(how: str, judged: Judged) -> int:
    """Return 1 where more of how it is scores higher, -1 where lower; 0 where name and definition do not agree."""
    low, high = ({*map(kernel, end)} for end in (judged.low, judged.high))
    own, against = {kernel(how)}, {kernel(word) for word in opposite_of(how)}
    if own & low or against & high:
        return 0 if own & high else -1
    return 0 if against & {*map(kernel, judged.named)} and not own & high else 1


def _by_name(judged: Judged, beside: str) -> Iterator[tuple[str, int]]:
    """Give the patterns of a name that says how easily something is done, or how a thing is: firmness in the jar."""
    named = _without_day(judged.named)
    found = re.fullmatch(r"(\w{3,}?)(?:abil|ibil)ity", named[0]) if named else None
    effort = len(named) == 2 and named[0].endswith("ing") and named[1] in _EFFORT
    if (found and named[1:] == ()) or effort:
        verb, sign = forms_of_stem(found[1] if found else named[0].removesuffix("ing")), -1 if effort else 1
        up, down = _degrees("easily", amount=False, anchored=False)
        away = r"(?: (?:out|in|off|away))?"
        yield rf"{verb}{away}{beside} {_either(up, down)}{beside}", sign
        easier = _either("easier|simpler|less effort", "harder|more difficult|less easy|more effort")
        yield rf"{easier} to {verb}{away}{beside}", sign
    quality = re.fullmatch(r"(\w{3,})ness", named[0]) if named else None
    rest = [*_phrases_of(named)]
    if quality and len(rest) == 1 and sum(map(len, rest)) + 1 == len(named):
        yield from _by_quality(re.sub(r"i$", "y", quality[1]), rest[0], beside)


def _by_quality(quality: str, of: Tokens, beside: str) -> Iterator[tuple[str, int]]:
    """Give the patterns of a quality, or its opposite, beside what it is of, or where: harshness of the grains."""
    degree = _either(*_degrees(quality, amount=False, anchored=True))
    if of[0] != "of":
        yield rf"{degree} {_phrase_pattern(of)}", 1
        return
    words = [word for word in of[1:] if word not in _SMALL]
    if not words:
        return
    subject = "".join(f"(?:{re.escape(word)} )?" for word in words[:-1]) + noun_forms(words[-1])
    yield rf"{ARTICLE}{subject}{_WHOSE}(?: {_FEELS})?{beside} {degree}{beside}", 1
    yield rf"{degree} {subject}{beside}", 1


def _by_ends(judged: Judged, parts: _Parts | None, settings: Sequence[Tokens]) -> Iterator[tuple[str, int]]:
    """Give the patterns of an end of the scale, compared, told of the thing judged, or where: the tile grips better."""
    who = _subject_pattern(parts.subject, set())[0] if parts else ""
    what = rf"{ARTICLE}{who}" if who else "(?!)"
    at = _beside([each for each in settings if each[0] in _PLACES]).replace("{0,", "{1,") or "(?!)"
    for end, sign in ((judged.low, -1), (judged.high, 1)):
        plain = all(word.isalpha() for word in end) and len(end) > 0
        if not plain or _DENYING & {*end} or any(entry_at(end, n, "number")[0] for n in range(len(end))):
            continue
        if any(e.part in ("property", "verb") for _, e in entries_at(end, 0)):
            continue
        if end[0] in ("stays", "stay") and end[1:2] == ("put",):
            yield rf"{what} (?:stay|stays|stayed) put {_either('better|more', 'less|less well')}", sign
        elif re.search(r"[^s]s$", end[0]) and len(end[0]) > _SHORT and not entry_at(end, 0, "")[0]:
            if end[1:2] and end[1] not in _MANNER:
                continue  # stays clear oil
            does = rf"{verb_forms(end[0])} {_either('better|more', 'less')}"
            yield from ((each, sign) for each in (rf"{what} {does}", rf"{does}{at}"))
            yield rf"(?:a )?{_either('better|firmer', 'less')} {base_of(end[0])}{at}", sign
        elif len(end) == 1 and not entry_at(end, 0, "")[0]:
            degree = _either(any_of({f"more {end[0]}", *compared_form(end[0])}), f"less {end[0]}")
            yield from ((each, sign) for each in (rf"{what} {_FEELS} {degree}", rf"{degree} {who or '(?!)'}"))
        elif len(end) == 2 and end[0] in _GRADES and end != judged.named:
            noun, when = end[1], at_stage(judged.stage)
            yield rf"{_either('more', 'less')} {noun} {when}", sign
            yield rf"{_AUX}{verb_forms(noun)} {_either('more', 'less')} {when}", sign
        elif 1 < len(end) <= _ENDING and end[0] in ("at", "like"):
            text = " ".join(end)
            yield rf"{what} {_FEELS} " * (end[0] == "at") + _either(f"more {text}", f"less {text}"), sign


_GRADES = frozenset(("strong", "heavy", "high", "marked", "great"))
_MANNER = frozenset(("like", "at", "by", "freely", "and"))
_SHORT = 4  # letters: what is done in one word that says much


# Is a sentence told of one?


def in_terms_of_study(
    tokens: Tokens, ways: Sequence[Way], tellings: Sequence[Telling], products: Sequence[int]
) -> Tokens:
    """Return a sentence with an attribute by its name, and without what says how that was judged.

    Told by the words of the names, or in the terms of a definition: whichever leaves less of the sentence untold.
    """
    own = in_own_terms(tokens, ways, products)
    described = in_described_terms(tokens, tellings, products)
    kept = [sum((Counter(tokens) & Counter(each)).values()) for each in (own, described)]
    return told_beside(own if kept[0] <= kept[1] else described, tellings)


def in_described_terms(tokens: Tokens, tellings: Sequence[Telling], products: Sequence[int]) -> Tokens:
    """Return a sentence with an attribute by its name where it is told in the terms of one definition, or its ends."""
    taken = {place + more for place, length in enumerate(products) for more in range(length)}
    text = " ".join("§" * len(token) if place in taken else token for place, token in enumerate(tokens))
    found = [(match, each) for each in tellings for match in each.pattern.finditer(text) if _stands(text, match)]
    most = max((len(match[0]) for match, _ in found), default=0)
    longest = [(match, each) for match, each in found if len(match[0]) == most]
    if len({each.named for _, each in longest}) != 1:
        return tokens
    match, telling = longest[0]
    start, end = (len(text[:at].split()) for at in match.span())
    more = (match["up"] is not None) == (telling.sign > 0)
    whose: Tokens = ()
    if "whose" in match.re.groupindex and match["whose"]:
        at = len(text[: match.start("whose")].split())
        whose = ("with", *tokens[at : at + len(match["whose"].split())])
    after = _of_other(tokens[end:], tokens[start:end])
    denied = (match["denied"],) if match["denied"] else ()
    return (*tokens[:start], *denied, "more" if more else "less", *telling.named, *whose, *after)


def _of_other(after: Tokens, told: Tokens) -> Tokens:
    """Return what follows, with the other one alone for the same thing of it: than with it, for than a drop of it."""
    if "than" not in after:
        return after
    start = after.index("than") + 1
    of = next((n for n, word in enumerate(after) if n >= start and word in ("of", "from", "with")), start)
    same = of > start and all(word in _SMALL | {"those", "that", *told} for word in after[start:of])
    return (*after[:start], "with", *after[of + 1 :]) if same else after


def told_beside(tokens: Tokens, tellings: Sequence[Telling]) -> Tokens:
    """Return a sentence that names an attribute without what says how that was judged: lamp on, shake your head.

    Taken are the phrases of place and time of its definition and procedure, and a first clause of nothing but their
    words that one is told to do; nothing where several attributes have the name.
    """
    named = {each.named for each in tellings if _found(each.named, tokens)}
    longest = {each for each in named if not any(each != other and _found(each, other) for other in named)}
    at, said = (_found(min(longest), tokens) - 1, min(longest)) if longest else told_in_table(tokens)
    own = [each for each in tellings if each.named in longest or (not longest and said_as(each.named) == said_as(said))]
    if len(longest) > 1 or not own:
        return tokens
    left, right = tokens[:at], tokens[at + len(said) :]
    kept = [" ".join(left), " ".join(right)]
    for phrase in sorted({each for one in own for each in one.settings}, key=len, reverse=True):
        if longest or phrase[0] == "between":
            pattern = re.compile(rf"(?<!\S){_phrase_pattern(phrase)}(?!\S)")
            kept = [pattern.sub("", each) for each in kept]
    on_skin = ["skin"] * (said_as(said) in OF_FILM and any("skin" in each.words for each in tellings))
    done = replace(own[0], words=own[0].words.union(on_skin), begins=own[0].begins if longest else own[0].tasks)
    return (*_told_to_do(kept[0].split(), done), *said, *kept[1].split())


def _found(named: Tokens, tokens: Tokens) -> int:
    """Return the place after the first token of a name in some tokens; 0 where it does not stand there."""
    return next((n + 1 for n in range(len(tokens)) if named and tokens[n : n + len(named)] == named), 0)


def _told_to_do(tokens: Sequence[str], telling: Telling) -> list[str]:
    """Return some tokens without clauses that only tell one to do what a procedure says: shake your head and."""
    kept, clause, taken = list[str](), list[str](), False
    for token in tokens:
        clause.append(token)
        if token in _MARKS:
            taken = (taken or len(clause) > 2) and _is_procedure(clause[:-1], telling)  # lift alone may promise
            kept += [] if taken else clause
            clause = []
    return [*kept, *clause]


def _is_procedure(clause: Sequence[str], telling: Telling) -> bool:
    """Return whether a clause has only words of a procedure, the first of them what is to be done."""
    said = [kernel(token) for token in clause if token not in (_ASIDE - {"one"}) | _PLACES]
    begins = telling.begins | (_PRESSES if _PRESSES & telling.begins else set())
    known = telling.words | begins >= {*said} and {*said[:1]} & begins and clause[0] not in _ASIDE | _PLACES
    return bool(known) and not (_DENYING & {*clause} or _NO_TASK.search(clause[0]) or [*clause[-2:]] == ["with", "it"])


_ASIDE = _SMALL | {"again", "then", "together", "once", "after", "that", "just", "gently", "lightly", "little", "some"}
_BEFORE_DOING = frozenset(("to", "and", "it", "then"))
_NO_TASK = re.compile("er$|[^s]s$")
_PRESSES = frozenset(map(kernel, ("press", "squeeze", "pinch")))
_MARKS = frozenset((*".,:;-!", "and"))


def _stands(text: str, match: re.Match[str]) -> bool:
    """Return whether what was found stands where a clause may begin, and counts nothing: more soft patches."""
    before, said = text[: match.start()].split()[-1:], match["up"] or match["down"]
    many = (
        said.startswith(("more ", "less ")) and match[0].startswith(said) and re.search(r"[^s]s$", match[0].split()[-1])
    )
    begins = not before or before[0] in _BEFORE_CLAUSE or before[0].startswith("§")
    begins = begins or (match[0].startswith(said) and before[0] in _BEFORE_NOUN)
    return begins and not many and text[match.end() :].split()[:1] != ["of"]  # fewer dabs of blush


_BEFORE_CLAUSE = frozenset((
    *".,:;!?-()", "and", "that", "but", "while", "where", "because", "so", "does", "did", "do", "found", "it", "then",
    "makes", "leaves", "lets", "left", "leaving", "which", "is", "was", "are", "were", "panel", "had", "has", "have",
))  # fmt: skip
_BEFORE_NOUN = frozenset((
    "a", "an", "the", "your", "for", "with", "is", "are", "feel", "feels", "felt", "to", "there", "gives", "gave", "of",
))  # fmt: skip
