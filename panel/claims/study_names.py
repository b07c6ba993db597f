"""What can be named of a study: its prototypes, product, people; each attribute by its name and other words for it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from fnmatch import translate
from functools import cache, lru_cache
from itertools import chain, groupby, takewhile
from operator import itemgetter
from types import MappingProxyType

from panel.claims.as_described import Judged, Telling, judged_of, mover_of, tellings_of
from panel.claims.claim import NOTE, Claim, Reading, WordingFinding
from panel.claims.names import BY_PRODUCT, OF_FILM, OF_STUDY, STAGE, Names, may_stand
from panel.claims.own_words import (
    DENYING,
    EASE,
    FELT_AS,
    LEADS,
    MODIFIERS,
    OBJECTS,
    STATES,
    Way,
    as_defined,
    is_applied,
    kernel,
    ways_of,
    ways_of_a_noun,
)
from panel.claims.parts import (
    SILENT,
    Entry,
    Tokens,
    beginning,
    entries_at,
    entry_at,
    forms_of,
    phrases,
    phrases_of,
    tokens_of,
    words_of,
)
from panel.study.formulas import ingredients
from panel.study.knowledge import shared_table
from panel.study.naming import done_by, judged_after, moment_words, timed_words
from panel.study.numbers_read import same_quantity
from panel.study.scores_used import asked, how_chosen
from panel.study.study import Study, kept
from panel.words import format_list, less_of


@kept
def names_of(study: Study) -> Names:
    """Return everything that can be named in a sentence about this study."""
    prototypes, roles = _prototypes(study)
    types, titles = _product(study)
    called = [(study.attribute_words(name), family_of(study, name)) for name in study.attributes]
    attributes = {words_of(way): family for words, family in called for way in (words, _plain_name(words))}
    told = [str(study.facts.get(fact, "")) for fact in ("title", "purpose")] + [
        str(row.get("words")) for row in asked(study)
    ]
    purpose = frozenset(
        beginning(word) for text in told for word in words_of(text) if len(word) > _SHORT and not _is_refused(word)
    )
    dose = words_of(str(study.facts.get("dose", "")))[:2]
    kind = words_of_kind(study)
    ways = tuple(dict.fromkeys(way for name in study.attributes for way in ways_to(study, name, kind)))
    done, rest = map(words_of, how_chosen(study))
    called_by = (prototypes, roles, _ingredients(study), types, titles, attributes, purpose, dose, ways)
    return Names(
        *called_by, _events(study), _who_took_part(study), (done, rest), _counted(study), _tellings(study, kind)
    )


def _tellings(study: Study, kind: set[str]) -> tuple[Telling, ...]:
    """Return how attributes are told in the terms of their definitions and ends; `kind`: words for the product."""
    found: list[Telling] = []
    listed = study.listed("attributes", "attribute", "procedure", "low_end", "high_end", "stage")
    for name, *texts in zip(*listed, strict=True):
        named, said = words_of(_plain_name(study.attribute_words(name))), _said_by(study, name)
        done, *held = (tuple(filter(None, map(words_of, re.split(r"[,;:.]", str(text))))) for text in texts)
        judged = Judged(named, said, (*judged_as(study, name)[1:2], ())[0], done, *(sum(each, ()) for each in held))
        found += tellings_of(judged, kind) if said else ()
    return tuple(found)


def _said_by(study: Study, name: str) -> Tokens:
    """Return the words that say more of an attribute: its name, or the table's; none where they are turned."""
    named, family = words_of(_plain_name(study.attribute_words(name))), family_of(study, name)
    if family.startswith(OF_STUDY):
        return named
    own = [(n, entry) for place in range(len(named)) for n, entry in entries_at(named, place) if entry.family == family]
    if any((n, entry.part, entry.value) == (len(named), "property", 1.0) for n, entry in own):
        return named
    turned = is_timed(study, name) or any(entry.value == -1.0 for _, entry in own)
    ways = (words for words, value in phrases_of("property", family) if value == 1.0)
    return () if turned else min(ways, key=lambda words: (len(words), words), default=())


def _counted(study: Study) -> frozenset[Tokens]:
    """Return what the panel counted, by the units of attributes and their names: strokes, of the number of strokes."""
    named = [words_of(study.attribute_words(name)) for name in study.attributes]
    of = {words[2:] for words in named if words[:2] == ("number", "of")}
    units = {words_of(str(unit)) for unit in study.table("attributes")["unit"]}
    return frozenset(
        words for words in units | of if words and words[0].isalpha() and not entry_at(words, 0, "unit")[0]
    )


def _who_took_part(study: Study) -> tuple[Tokens, ...]:
    """Return the words for who took part, as the study has them: parents of a child, parents; gardeners, who garden."""
    users = study.facts.get("users")
    who = words_of(str(users.get("who", ""))) if isinstance(users, dict) else ()
    ends = next((place for place, word in enumerate(who) if word in _WHO_THEY_ARE), len(who))
    doing = who[ends + 1 : ends + 2] if who[ends : ends + 1] == ("who",) and len(who) == ends + 2 else ()
    found = {who, who[:ends], *((f"{stem}ers",) for word in doing for stem in (word, word[:-1], f"{word}{word[-1]}"))}
    found -= {who[:ends]} if ends != 1 or entry_at(who, 0, "")[0] else set()
    return tuple(sorted((each for each in found if each and not any(map(_is_refused, each))), key=len, reverse=True))


_WHO_THEY_ARE = frozenset(("who", "of", "with", "from", "in", "aged", "between", "that"))


def _events(study: Study) -> dict[Tokens, tuple[tuple[str, str], ...]]:
    """Return what may have happened before something was judged, by each form of its words, and which form that is."""
    told = (words_of(judged_after(study, name))[1:] for name in study.attributes)
    own = {words[words[:1] in (("the",), ("a",)) :] for words in told}
    new = {phrase for phrase in own if phrase[:1] not in _known_events() and phrase[:2] not in _known_events()}
    events = {**_known_events(), **{each: " ".join(each) for each in new if each and not is_applied(" ".join(each))}}
    stages = {(words_of(str(each)), str(each), STAGE) for each in {*study.table("attributes")["stage"]} - {"", "any"}}
    forms = {(form, event, kind) for doing, event in events.items() for form, kind in forms_of(doing)}
    return {form: tuple(each[1:] for each in same) for form, same in groupby(sorted(forms | stages), key=itemgetter(0))}


@cache
def _known_events() -> Mapping[Tokens, str]:
    found = ((phrase, entry) for phrase, entries in phrases().items() for entry in entries if entry.part == "event")
    return {phrase: entry.family or " ".join(phrase) for phrase, entry in found}


def _is_refused(word: str) -> bool:
    """Return whether a word is one that a refused phrase begins with."""
    return _refused_beginnings().match(word) is not None


@cache
def _refused_beginnings() -> re.Pattern[str]:
    phrases = shared_table("claim_refused_en")["phrase"]
    return re.compile("|".join({translate(str(phrase).split()[0].casefold()): "" for phrase in phrases}))


_SHORT = 3  # letters: the, who, and


def _prototypes(study: Study) -> tuple[dict[Tokens, str], dict[str, frozenset[str]]]:
    named = {way: own for own in study.prototypes for way in _ways_of(own)}  # also those scored and not listed
    kinds, short = _product(study)[0], dict[Tokens, set[str]]()
    roles: dict[str, set[str]] = {}
    for row in study.table("prototypes").to_dict("records"):
        own = str(row["prototype"])
        named |= {way: own for text in (own, str(row["name"])) for way in _ways_of(text)}
        for way in _short_of(words_of(str(row["name"])), kinds):
            short.setdefault(way, set()).add(own)
        for text in (own, str(row["name"]), str(row["role"])):
            for family in _role_families(words_of(text)):
                roles.setdefault(family, set()).add(own)
    only = {way: next(iter(found)) for way, found in short.items() if len(found) == 1}
    return only | named, {family: frozenset(found) for family, found in roles.items()}


def _short_of(name: Tokens, kinds: frozenset[Tokens]) -> set[Tokens]:
    """Return how a name is said for short: classic stick, classic one, for classic deodorant stick."""
    kind = max((kind for kind in kinds if name[-len(kind) :] == kind), key=len, default=())
    said = name[: -len(kind)] if kind else ()
    if (_is_any(said) and said != ("new",)) or _role_families(said):
        return set()
    return {(*said, kind[-1]), (*said, "one")}


def _ways_of(name: str) -> set[Tokens]:
    """Return the tokens of a name without its silent marks, and with those inside of it: Lotion A (old).

    Also without the article that a sentence may have in its place, where what is left is more than a kind of product.
    """
    tokens = tokens_of(name)
    said = [place for place, token in enumerate(tokens) if token not in SILENT]
    ways = {tokens[said[0] : said[-1] + 1], words_of(name)} if said else set()
    return ways | {way[1:] for way in ways if way[0] in _ARTICLES and not _is_any(way[1:])}


_ARTICLES, _ANY = frozenset(("our", "the")), frozenset(("product", "product_type", "new", "number"))


def _is_any(words: Tokens) -> bool:
    """Return whether words may name any product: lotion, new body lotion, or none at all."""
    place = 0
    while length := next((n for n, e in entries_at(words, place) if e.part in _ANY), 0):
        place += length
    return place == len(words)


def _role_families(tokens: Tokens) -> set[str]:
    return {entry.family for place in range(len(tokens)) for _, entry in entries_at(tokens, place, "role")}


@kept
def words_of_kind(study: Study) -> set[str]:
    """Return the words for what the product is, none of them a place of the body."""
    return {word for phrase in _product(study)[0] for word in phrase if not entry_at((word,), 0, "site")[0]}


def _product(study: Study) -> tuple[frozenset[Tokens], frozenset[Tokens]]:
    """Return the kinds of product the study says it is about, each with its last word, and its title without them.

    What no table knows is the last word of the title, with what is before it in the name of a prototype and in the
    title: stick and deodorant stick of a deodorant cream stick.
    """
    title = words_of(str(study.facts.get("title", "")))
    for text in (title, words_of(str(study.facts.get("purpose", "")))):
        found = _longest_types(text)
        if found:
            break
    names = [words for words in map(words_of, study.table("prototypes")["name"]) if words]
    ends = takewhile(lambda words: len({*words}) == 1, zip(*map(reversed, names), strict=False))
    shared = tuple(words[0] for words in ends)[::-1] if len(names) > 1 else ()  # sun stick: present, mixed, new one
    found |= {shared} if "".join(shared).isalpha() and not _role_families(shared) and not _is_any(shared) else set()
    noun = title[-1:] if title and title[-1].isalpha() and len(title) <= _MOST_OF_A_KIND else ()
    for words in names if noun else ():
        begins = len(words) - next((n for n, word in enumerate(reversed(words)) if word not in title), len(words))
        found |= {words[begins:]} if words[-1:] == noun and not _role_families(words[begins:]) else set()
    types = found | {phrase[-1:] for phrase in found}
    cut = title
    for phrase in sorted(found, key=len, reverse=True):
        cut = cut[: -len(phrase)] if cut[-len(phrase) :] == phrase else cut
    return frozenset(types), frozenset(cut[n:] for n in range(len(cut)))


_MOST_OF_A_KIND = 6  # words: nail and cuticle oil pen; a longer title tells of more than the product


def _longest_types(tokens: Tokens) -> set[Tokens]:
    found, place = set(), 0
    while place < len(tokens):
        length = next((n for n, _ in entries_at(tokens, place, "product_type")), 0)
        found |= {tokens[place : place + length]} if length else set()
        place += length or 1
    return found


def _ingredients(study: Study) -> dict[Tokens, str]:
    """Return every known INCI name by its words, whole, without its parentheses, and by the everyday name in them."""
    found: dict[Tokens, str] = {}
    own = [str(name) for name in study.table("formulas")["ingredient"].unique()]
    for name in [*(str(name) for name in ingredients()["ingredient"]), *own]:
        inside = re.search(r"\(([^)]*)\)\s*(\w*)", name)
        ways = [name, re.sub(r"\([^)]*\)", " ", name)]
        if inside:
            everyday = f"{inside[1]} {inside[2]}"
            ways += [everyday, " ".join(everyday.split()[-2:])]
        found |= {words_of(way): name for way in ways if len(words_of(way)) > 1 or words_of(way) == words_of(name)}
    return {words: name for words, name in found.items() if words not in phrases()}


def family_of(study: Study, attribute: str) -> str:
    """Return what an attribute speaks of, in the words of the table; a word of its own where they do not know it."""
    words = study.attribute_words(attribute)
    found = _family_named(words) or _family_named(_plain_name(words))
    own = found in _BY_TIME and (
        _is_how_far(study, attribute)
        or (found == "spreading" and (is_timed(study, attribute) or _of_a_tool(study, attribute)))
    )
    if found and not own:
        return found
    same = (n for n in study.attributes if _plain_name(study.attribute_words(n)) == _plain_name(words))
    return f"{OF_STUDY}{next(same, attribute)}"  # rubbed in sooner is not spread more easily


def _plain_name(words: str) -> str:
    """Return the name of an attribute without when it is judged: coolness, of coolness, on spreading."""
    return _MEANWHILE.sub("", moment_words(words)[0])


_MEANWHILE = re.compile(r"(?i)(?:, ?| \()(?:on|upon|during|while) (?:\w+ing|application|use)\)?$")


def _of_a_tool(study: Study, attribute: str) -> bool:
    """Return whether by its name and definition a thing moves, and not the product: comb glide."""
    what = mover_of((*judged_as(study, attribute)[1:2], ())[0])
    named = what in words_of(study.attribute_words(attribute)) and what not in words_of_kind(study)
    return named and not entry_at((what,), 0, "site")[0]


def _is_how_far(study: Study, attribute: str) -> bool:
    """Return whether an attribute that could be a speed is defined by how far it goes: absorption after ten minutes."""
    told = " ".join(chain(*judged_as(study, attribute)[1:2]))
    fast = re.search(
        r"\b(fast|quick|rapid|speed|rate|soon|time|seconds|easy|easily|ease)",
        f"{attribute} {study.attribute_words(attribute)} {told}".casefold(),
    )
    return fast is None and re.search(r"\bhow (far|much|completely|fully)\b", told) is not None


def ways_to(study: Study, attribute: str, types: set[str]) -> Iterator[Way]:
    """Give how an attribute of a product called `types` is told: by its names, by other words, by how it was judged."""
    words = study.attribute_words(attribute)
    family, table = family_of(study, attribute), study.table("attributes")
    for phrase in other_words(study).get(attribute, _NO_WORDS)[0]:
        yield from ways_in_words(study, attribute, words_of(phrase), types)
    if not family.startswith(OF_STUDY) and family in _BY_TIME:
        named, fast = words_of(_plain_name(words)), family == "soaking in" and any(judged_as(study, attribute)[1:2])
        if entry_at(named, 0, "verb")[0] == len(named) and not fast:  # glide: there may be more of it, of a speed not
            yield Way("more", named, (), (), _NOUNS[family], better=False)
        return
    better = "more" in table.loc[table["attribute"] == attribute, "direction"].tolist()
    heading = timed_words(_ASIDE.sub(" ", attribute).strip())[0]
    heading = heading if _WORDS.fullmatch(heading) and not heading.isupper() else ""
    ways = [(named, named) for named in map(words_of, (words, _plain_name(words)))]
    for called, named in dict.fromkeys([*ways, (words_of(heading), words_of(words))]):
        yield from ways_of(called, named, types, better)
    for told in judged_as(study, attribute)[1:2]:
        yield from ways_of_a_noun(told, words_of(_plain_name(words)), types)


_NO_WORDS = tuple[str, ...](), tuple[str, ...]()


def ways_in_words(study: Study, attribute: str, phrase: Tokens, types: set[str]) -> Iterator[Way]:
    """Give how an attribute is told in other words that a study states for it."""
    named = words_of(study.attribute_words(attribute))
    by_name = next(ways_of(named, named, types, better=False), None)
    beside = (*by_name.things, *by_name.states) if by_name else ()  # skates about in the sock, where it slips in it
    for way in ways_of(phrase, named, types, better=False):
        yield replace(way, states=(*way.states, *beside))


@kept
def other_words(study: Study) -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    """Return the other words that the study states for an attribute: those that stand for it, and those that cannot.

    None stands for it that is refused anywhere, counts, denies or compares, names another sensation or is there twice.
    """
    stated = zip(*study.listed("attributes", "attribute", "also_said"), strict=True)
    told = {str(name): [one.strip() for one in str(cell).split(";") if one.strip()] for name, cell in stated}
    names = [words_of(study.attribute_words(name)) for name in study.attributes]
    twice = Counter([*names, *(words_of(phrase) for phrases in told.values() for phrase in phrases)])
    stands = {
        (name, phrase): twice[words_of(phrase)] == 1
        and may_stand(words_of(phrase), family_of(study, name), own_kernels(study, name))
        for name, phrases in told.items() for phrase in phrases
    }  # fmt: skip
    return {
        name: (tuple(p for p in phrases if stands[name, p]), tuple(p for p in phrases if not stands[name, p]))
        for name, phrases in told.items() if phrases
    }  # fmt: skip


def own_kernels(study: Study, attribute: str) -> frozenset[str]:
    """Return what the words have in common by which an attribute is named and defined."""
    told = (words_of(study.attribute_words(attribute)), *judged_as(study, attribute)[1:2])
    return frozenset(map(kernel, chain(*told)))


def in_own_words(claim: Claim, study: Study) -> Iterator[WordingFinding]:
    """Tell which words of the study's own the sentence may be read by, and which it may not though they are stated."""
    said = {kernel(word) for word in words_of(claim.claim)}
    for stated, told in zip(other_words(study).get(claim.attribute, _NO_WORDS), _STATED, strict=True):
        used = [f"“{phrase}”" for phrase in stated if {kernel(word) for word in words_of(phrase)} <= said]
        if used:
            message = f"{format_list(used)} {told}"
            yield WordingFinding(NOTE, IN_OWN_WORDS, message, _HAVE_READ, "truthfulness", "EU 655/2013")


IN_OWN_WORDS = "words of the study's own"
_HAVE_READ = "Have somebody who was not in the study read whether the public takes these words so."
_STATED = (
    "is read as this attribute, because the study states so.",
    "is not read as this attribute, though the study states so: that counts, compares, denies, or says something else.",
)


_ASIDE = re.compile(  # what was counted, in which unit, when
    r"(?i),\s*(?:s|secs?|number|count)$"
    r"|\((?:s|secs?|mins?|mm?:ss|min:s|number|count|(?:right |\d+ ?\w+ )?(?:after|later)\b[^)]*)\)"
)
_WORDS = re.compile(r"[^\W\d_]{2,}(?: [^\W\d_]+)+[ ,\d\w]*")  # a heading, and no code
_NOUNS = {"soaking in": ("speed", "of", "absorption"), "spreading": ("spreadability",)}
_BY_TIME = _NOUNS.keys()  # what is done the faster, the less time it takes


def is_turned(study: Study, attribute: str) -> bool:
    """Return whether more of an attribute is less of what it speaks of: it was timed, as the seconds to soak in."""
    return family_of(study, attribute) in _BY_TIME and is_timed(study, attribute)


def is_timed(study: Study, attribute: str) -> bool:
    """Return whether an attribute is a time, by its unit or its name."""
    return same_quantity(_described(study).get(attribute, _NOTHING)[0], "s") or "time" in words_of(
        study.attribute_words(attribute)
    )


def judged_as(study: Study, attribute: str) -> tuple[Tokens, ...]:
    """Return how an attribute was judged, in the study's own words: its heading, definition and procedure."""
    return _described(study).get(attribute, _NOTHING)[2]


_NOTHING = "", "", tuple[Tokens, ...]()


@kept
def _described(study: Study) -> dict[str, tuple[str, str, tuple[Tokens, ...]]]:
    """Return attribute to its unit, its stage and the words of how it was judged: for every sentence."""
    rows = zip(*study.listed("attributes", "attribute", "unit", "stage", "definition", "procedure"), strict=True)
    return {
        n: (str(unit), str(stage), (words_of(n), words_of(how), words_of(done))) for n, unit, stage, how, done in rows
    }


def as_judged(study: Study, claim: Claim, reading: Reading) -> Reading:
    """Return what a sentence says, no word left over that stands as it does where it is said how that was judged."""
    named = words_of(study.attribute_words(claim.attribute))
    rest = as_defined(reading.left_over, words_of(claim.claim), judged_as(study, claim.attribute), named)
    return replace(reading, left_over=rest)


def sites_judged(study: Study, attribute: str, usual: frozenset[str]) -> frozenset[str]:
    """Return the places an attribute may be told of: of its name, else the usual ones and its definition's."""
    lead = LEADS["more"].match(study.attribute_words(attribute))
    whole = words_of(study.attribute_words(attribute)[lead.end() if lead else 0 :])
    named = tuple(takewhile(lambda word: word not in STATES, whole))
    own, on = _sites_of(whole), (n for n, word in enumerate(named) if n and word in OBJECTS)
    of_thing = any({*named[n + 1 :]} - FELT_AS - {"the"} for n in on)  # but: to the touch
    told = own or frozenset().union(*map(_sites_of, judged_as(study, attribute))) - {"fingers"}  # they feel it
    early = _described(study).get(attribute, _NOTHING)[1] in ("appearance", "pick-up")
    told = told if told or early else _only_site(study)
    of_its_own = family_of(study, attribute).startswith(OF_STUDY) and (own or of_thing)
    if of_its_own or early:
        return told  # judged of a thing, or before it is put on
    return usual | told


@kept
def _only_site(study: Study) -> frozenset[str]:
    """Return the one place of the body that the definitions of a study name; nothing where they name several."""
    named = (_sites_of(words) for name in study.attributes for words in judged_as(study, name)[1:2])
    found = frozenset().union(*named) - {"fingers", "hands", "skin", "hair"}
    return found if len(found) == 1 else frozenset()


def felt_with(study: Study, attribute: str, sentence: Tokens) -> frozenset[str]:
    """Return the fingers, where a sentence only has them as it is said how it was judged: under the fingertips."""
    told = frozenset().union(*map(_fingers_in, judged_as(study, attribute)[1:]))
    return frozenset(("fingers",)) if _fingers_in(sentence) <= told else frozenset()


def _fingers_in(words: Tokens) -> frozenset[str]:
    """Return what leads the fingers wherever words name them, else what they do: under; clings."""
    found = set()
    for n in (n for n in range(len(words)) if entry_at(words, n, "site")[1].family == "fingers"):
        leads = [word for word in words[:n] if word not in ("the", "a", "your", "their")][-1:]
        led = leads[0] in OBJECTS | {"under"} if leads else False
        found.add(leads[0] if led else kernel(" ".join(words[n + 1 : n + 2])))
    return frozenset(found)


def _sites_of(words: Tokens) -> frozenset[str]:
    return frozenset(entry.family for n in range(len(words)) for _, entry in entries_at(words, n, "site"))


@lru_cache(maxsize=10_000)
def _family_named(name: str) -> str:
    """Return the one thing that the name of an attribute speaks of; empty where that is none, several, or not all."""
    words = words_of(name)
    whole = [entry for length, entry in entries_at(words, 0) if length == len(words)]
    found = {entry.family for entry in whole if entry.part in ("property", "verb")} or _families_of(name)
    of_time = LEADS["time"].match(f"{' '.join(words)} ") is not None and not found <= _BY_TIME
    if (not whole and not _families_of(_head(" ".join(words)))) or _WHAT_TO_WHAT.search(name):
        return ""  # combing through wet hair is not how wet it is, nor hair sticking to the face how sticky
    if len(found) != 1 or (not whole and (of_time or _unknown(words) or DENYING & {*words})):
        return ""
    return next(iter(found))


_WHAT_TO_WHAT = re.compile(r"^(?!ease|time|speed)\w+ (?:sticking|clinging|adhering) (?:to|on)\b")


def _head(name: str) -> str:
    """Return what a name names, without where, on what and when after it: ease of combing, of it through wet hair."""
    lead = next((found[0] for form in LEADS.values() if (found := form.match(name))), "")
    words = name.removeprefix(lead).split()
    ends = (n for n, word in enumerate(words[:-1]) if n and word in STATES | OBJECTS | {"through"})
    return lead + " ".join(words[: next(ends, None)])


def _unknown(words: Tokens) -> list[str]:
    """Return the words of a name that no phrase of the table holds and that are no mere addition."""
    place, found = 0, []
    while place < len(words):
        length = next((n for n, _ in entries_at(words, place)), 0)
        if not length and words[place].isalpha() and len(words[place]) > 1 and words[place] not in MODIFIERS:
            found.append(words[place])
        place += length or 1
    return found


def _families_of(text: str) -> frozenset[str]:
    """Return what the properties and verbs of a text speak of, as the name of an attribute does."""
    tokens, place, found = words_of(text), 0, set()
    while place < len(tokens):
        length, entry = next(
            ((n, e) for n, e in entries_at(tokens, place) if e.part in ("property", "verb")), (1, Entry(""))
        )
        found |= {entry.family} - {""}
        place += length
    return frozenset(found)


# The sentence from the statement: how the public says that one prototype has more or less of something.


_WAYS = ("less", "more", "as_much", "absent", "least", "most", "low")
_TURNED = {"less": "more", "more": "less", "least": "most", "most": "least", "low": ""}
_OWN = {
    "more": "more {}", "as_much": "the same {} as", "absent": "no {}", "least": "the least {}",
    "most": "the most {}", "low": "low {}",
}  # fmt: skip


def saying(study: Study, attribute: str, way: str) -> str:
    """Return how the public says it of an attribute (one of `_WAYS`); empty where there is no such way."""
    table = shared_table("claim_sayings_en").set_index("family")
    family = family_of(study, attribute)
    way = _TURNED.get(way, way) if is_turned(study, attribute) else way
    if family in table.index:
        return str(table.loc[family, way])
    words = study.attribute_words(attribute)
    lead, manner = LEADS["ease"].match(words.casefold()), next((word for word in words.split() if word in EASE), "")
    if lead and lead[0].endswith("which ") and way in _EASILY:
        return f"{words[lead.end() :]} {_EASILY[way]} easily{_AGAIN * (way == 'as_much')}"
    if lead and way in _EASIER:
        return f"{_EASIER[way]} {words[lead.end() :]}"
    if manner and way in _EASILY:
        return words.replace(manner, f"{_EASILY[way]} {manner}", 1) + _AGAIN * (way == "as_much")
    again = _AGAIN * (way == "as_much")
    does, adverb, rest = done_by(words, " ".join(map(" ".join, judged_as(study, attribute)[1:])))
    if does:
        of = re.match(r"(an?) ", rest)  # leaves less of a print; but: blurs the sight less
        how = {**_EASILY, "as_much": "as" if adverb else "as much", "low": "" if adverb else "little"}.get(way, "")
        how = f"{how} of" if of and how else how
        order = (how, adverb, rest) if adverb or of or not rest.startswith("the ") else (rest, how)
        return " ".join(word for word in ("the" * (" " in does), does, *order) if word) + again if how else ""
    named, felt = (
        words.removeprefix("number of "),
        re.match(r"\w{3,}(?<![ti])y(?= (?:after|on|in|at|when|while)\b|$)", words),
    )
    if felt and way in ("as_much", "low", "absent"):  # slippery after 60 min
        return f"{ {'as_much': 'as', 'low': 'hardly', 'absent': 'not'}[way] } {words}{again}"
    if way in ("less", "least"):
        less = less_of(named)
        return f"{less} {named}" if way == "less" else f"the {'fewest' if less == 'fewer' else 'least'} {named}"
    return _OWN[way].format(moment_words(named)[0] if way == "absent" else named)


_AGAIN = " as"
_EASIER = MappingProxyType({"more": "easier", "less": "less easy", "most": "the easiest", "least": "the least easy"})
_EASILY = MappingProxyType({"more": "more", "less": "less", "as_much": "as", "most": "the most", "least": "the least"})


_OF_SKIN = frozenset(("tightness",))


def said_of_other(study: Study, attribute: str, reading: Reading, own: frozenset[str]) -> str:
    """Return what was judged, the product or the skin, where a sentence says it of the other one; else nothing."""
    judged = next((judged_of(told, words_of_kind(study)) for told in judged_as(study, attribute)[1:2]), "")
    said = reading.said_of
    is_so = not {"is", "are", "was", "were"}.isdisjoint(reading.words_for("function")) and reading.family not in OF_FILM
    of_it = reading.family.startswith(OF_STUDY) or reading.has("look") or reading.family in ("whitening", "softness")
    if (judged == "product" and said not in ("", "people", judged)) or (
        judged not in ("", "product") and said == "product" and (is_so or of_it)
    ):
        return judged  # the skin pulls less, where the stick does; the gel is colder, where the skin feels so
    if reading.family == "thickness" and said not in ("", "people", "product"):
        return "product"  # a thinner body
    of = "skin" if reading.family in _OF_SKIN else "product"
    timed = is_timed(study, attribute) and not reading.family.startswith(OF_STUDY)  # hands are clean sooner
    only = reading.family in {*BY_PRODUCT, *_OF_SKIN} or timed
    fitting = {"", "people", of, *sites_judged(study, attribute, frozenset()), *(own if of == "skin" else ())}
    return of if only and reading.said_of not in fitting else ""
