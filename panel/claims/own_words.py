"""An attribute that no table of words knows is told in the words of its name, in order, beside what compares it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise, takewhile
from types import MappingProxyType

from panel.claims.parts import SILENT, Tokens, entries_at, entry_at, phrases, root
from panel.study.knowledge import shared_table
from panel.words import less_of

STATES = frozenset(("when", "while", "during", "until", "till", "once", "after", "before"))
OBJECTS = frozenset((
    "on", "onto", "between", "under", "around", "against", "with", "over", "in", "inside", "into", "across", "at",
    "of", "from", "to",
))  # fmt: skip
PARTICLES = frozenset(("about", "off", "in", "on", "up", "out", "away", "down", "through", "together"))
"""Small words of names: what leads a moment, or a thing; what goes with a verb."""

FELT_AS = frozenset(("feel", "touch", "texture", "sensation", "look"))
"""What says in a name that something is felt, or seen, and may stay untold: chalky touch."""
_MEANWHILE = frozenset(("while", "during"))
_OF = frozenset(("of", "from"))
_LAIN = frozenset(("through", "on", "over"))
_LYING = frozenset(("glide", "glides", "go", "goes", "went", "lie", "lies", "lay", "lays", "sit", "sits", "sat"))
_ARTICLES = frozenset(("a", "an", "the", "your", "my", "their"))
_BEING = frozenset(
    ("is", "are", "was", "were", "feel", "feels", "felt", "feeling", "look", "looks", "looked", "judged", "found")
)
_BE = frozenset(("is", "are", "was", "were", "be"))
_WHO_JUDGED = frozenset(("panel", "test", "we", "assessors", "they"))
STUFF = frozenset(("wax", "oil", "powder", "milk", "water", "grit", "sand", "butter"))
_DENIALS = frozenset(("no", "not"))
_DEGREES = MappingProxyType({
    "more": "more", "less": "less", "most": "most", "least": "least", "fewer": "less", "fewest": "least",
})  # fmt: skip
_BY_SIGN = MappingProxyType({1.0: "more", -1.0: "less", 2.0: "most", -2.0: "least"})
_LEAVES = frozenset(("leave", "leaves", "left", "give", "gives", "gave", "is", "you", "with", "have", "has"))
_NEEDS = frozenset(("need", "needs", "needed", "take", "takes", "took", "requires"))
_LEFT = frozenset(("left", "remaining", "felt", "seen", "perceived"))
_NONE = frozenset(("none", "nothing", "neither"))
_QUICKLY = frozenset(("quickly", "fast", "rapidly"))
_AS = MappingProxyType({
    "ease": frozenset(("easily", "readily", "effortlessly", "easy")), "time": _QUICKLY, "speed": _QUICKLY,
    "lasting": frozenset(("long",)), "more": frozenset(("much", "well")), "like": frozenset(("much",)),
})  # fmt: skip
_ENDS = STATES | OBJECTS | SILENT | {"than", "as", "compared", "versus", "vs", "and", "but", "by"}
_LONGEST = 5  # words of a phrase that compares: takes less time to


@dataclass(frozen=True, slots=True)
class Way:
    """How an attribute of the study's own is told: by the words of `core`, in order, all `things` and any `states`.

    Things and states are led by their small word: of hard patches, when damp. `kind` is ease, time, speed, lasting,
    like or more: what a word such as faster says of it. `better`: more is better.
    """

    kind: str
    core: Tokens
    things: tuple[Tokens, ...]
    states: tuple[Tokens, ...]
    named: Tokens
    better: bool


# What is an attribute called by: the words of its name, what it is of, and when?


LEADS = MappingProxyType({
    "ease": re.compile(r"(?:ease|easiness) (?:of|with which|in) "),
    "speed": re.compile(r"(?:speed|quickness|rate) of "),
    "lasting": re.compile(r"(?:time|seconds|minutes|hours) (?:that|for which|during which) "),
    "time": re.compile(r"(?:time|seconds|minutes) (?:it takes |taken |needed )?(?:to|until|till|before) "),
    "like": re.compile(r"(?:feel|feeling|sensation) of "),
    "more": re.compile(r"(?:degree|amount|level|intensity|extent|number|perception) of "),
})  # fmt: skip
EASE, _SPEED = frozenset(("easily", "readily", "effortlessly")), frozenset(("quickly", "rapidly", "fast"))
MODIFIERS = frozenset((
    "initial", "immediate", "final", "overall", "total", "general", "perceived", "sensory", "tactile", "visual",
    "afterfeel", "after", "feel", "first", "second", "end", "time", "ease", "speed", "until", "till", "degree",
    "amount", "level", "intensity",
))  # fmt: skip
_UNSAID = frozenset((
    "a", "an", "the", "is", "are", "it", "has", "have", "that", "one", "may", "can", "be", "been", "my", "your",
    "their", "i", "you", "they", "skin", "feels",
))  # fmt: skip
DENYING = frozenset(("no", "not", "non", "without", "free", "anti"))
_TURNING = DENYING | {"less", "more", "least", "most", "too", "un", "and", "or", "than"}


_APPLIED = re.compile(
    r"\b(rub|massag|appl[iy]|cream(ing|ed)|put|use\b|using|used|wear|spread|work(ed|ing)? (it )?in"
    r"|brush(ed|ing)? (it )?on|dabb|blend)"
)


def is_applied(words: str) -> bool:
    """Return whether words say that the product was put on, which comes before all else."""
    return _APPLIED.search(words) is not None


def ways_of(called: Tokens, named: Tokens, types: set[str], better: bool) -> Iterator[Way]:
    """Give how an attribute is told by what it is called; nothing where that denies, joins or compares.

    `named`: its name, for which it stands; `types`: words for what the product is; `better`: more of it is better.
    """
    kind, core, others = _parts_of(called, types)
    of_name = _parts_of(named, types)[0]
    kind = of_name if kind == "more" else kind
    put_on = kind == "ease" and any(each[0] in PARTICLES for each in others)  # ease of putting on a sock
    if not core or put_on or of_name not in (kind, "more") or _TURNING & {*called, *named}:
        return
    left = core[1:] != () and core[-1] in _LEFT and kind == "more"  # oil left on the fingertips, and nowhere else
    states = tuple(each for each in others if _is_state(each) and (each[0] in STATES or not left))
    things = tuple(each for each in others if each not in states)
    for all_or_part in (core[:-1], core) if left else (core,):
        yield Way(kind, all_or_part, things, states, named, better)
    verb_first = core[2:] != () and core[0].endswith(("ing", "s"))
    if verb_first and core[-1] in PARTICLES:  # takes off mascara
        yield Way(kind, (core[0], core[-1], *core[1:-1]), things, states, named, better)
    elif verb_first and core[1] in PARTICLES:
        yield Way(kind, (core[0], *core[2:], core[1]), things, states, named, better)
    if kind == "more" and core[-1].endswith("ly") and core[1:] and called == named:
        yield Way(kind, core[:-1], things, states, named, better)  # smells strongly: as strongly
    if kind in ("more", "ease") and len(core) == 2 and core[-1].endswith("s"):  # the seam rubs: rubbing of it
        yield Way(kind, core[1:], (("of", core[0]), *things), states, named, better)
    if kind == "time" and core[1:2] and core[1].endswith("ed"):  # until the blade is rinsed clear: to rinse it clear
        yield Way(kind, (core[1], core[0], *core[2:]), things, states, named, better)


def ways_of_a_noun(told: Tokens, named: Tokens, types: set[str]) -> Iterator[Way]:
    """Give how an attribute is told by what was judged of it: force needed to squeeze it, pull felt when fingers part.

    `told`: its definition, without a how; `named`: its name, for which it stands; `types`: words for the product.
    What it is needed for, or when or where it was, must be told with it.
    """
    if told[:1] == ("how",):
        return  # a clause: see `as_described`
    at = next((n for n, word in enumerate(told) if word in _FELT), 0)
    core = tuple(word for word in told[:at] if word not in _ARTICLES)
    known = any(entry_at(core, n, part)[0] for n in range(len(core)) for part in ("", "site"))
    if not core or len(core) > 2 or known or _TURNING & {*core} or types & {*core}:
        return
    rest = re.split(" and | or ", " ".join(told[at + 1 :]))[0].split()
    _, _, others = _parts_of((*core, *rest), types | {"sample"})
    if others and not _TURNING & {*rest}:
        yield Way("more", core, tuple(others[:1]), tuple(others[1:]), named, better=False)


_FELT = frozenset(("felt", "needed", "left", "seen", "perceived", "remaining"))


def _parts_of(named: Tokens, types: set[str]) -> tuple[str, Tokens, list[Tokens]]:
    """Return of which kind a name is, the words it is named by, and what follows them, each led by its small word."""
    text = " ".join(named)
    kind, lead = next(((kind, found[0]) for kind, form in LEADS.items() if (found := form.match(text))), ("more", ""))
    words = text.removeprefix(lead).split()
    if words[-1:] == ["time"] and words[0].endswith("ing"):
        kind, words = "time", words[:-1]
    kind = "ease" if EASE & {*words} else "speed" if _SPEED & {*words} else kind
    types = types - {word for word, after in pairwise(words) if after == "that" or after in _LEFT}  # oil that comes off
    words = [word for word in words if word not in EASE | _SPEED | types]
    starts = [n for n, word in enumerate(words) if n and word in STATES | OBJECTS and n + 1 < len(words)]
    later = next((n for n in starts if words[n] in ("after", "before") and words[n + 1].isdigit()), len(words))
    starts = [n for n in starts if n <= later or words[n] in STATES]  # after 60 min on the trainer
    cuts = zip([0, *starts], [*starts, len(words)], strict=True)
    core, *rest = [tuple(word for word in words[low:high] if word not in _UNSAID) for low, high in cuts]
    core = tuple(word for word in core if word not in FELT_AS) or core
    core = core[core[:1] in (("keeps",), ("keep",)) and len(core) > 1 :]
    return kind, core, [each for each in rest if len(each) > 1]


def _is_state(part: Tokens) -> bool:
    """Return whether part of a name tells a moment or the skin, which may stay untold: when damp, on the skin."""
    if part[0] in STATES:
        doing = any(word.endswith("ing") for word in part) and not is_applied(" ".join(part))
        return not (part[0] in ("when", "while") and doing)
    sites = {entry.family for word in part[1:] for _, entry in entries_at((word,), 0, "site")}
    body = sites <= ({"skin"} if part[0] == "of" else sites) and len(sites) > 0
    return {*part[1:]} <= FELT_AS or (body and all(entry_at((word,), 0, "site")[0] for word in part[1:]))


# Is a sentence told of it?


@lru_cache(maxsize=10_000)
def kernel(word: str) -> str:
    """Return what words of one stem have in common: friz of frizzy, frizzier, frizz; cov of covers and coverage."""
    word = root(re.sub(r"(?<=\w\w\w)(?:ness|ly|(?<!s)age)$", "", re.sub(r"ption$", "b", word)))
    for _ in range(2):
        word = re.sub(r"(?<=\w\w\w)[ie]$", "", re.sub(r"(?<=\w\w)(?:er|est)$", "", word))
        word = re.sub(r"([b-df-hj-np-tv-z])\1$", r"\1", word)
    return word


@lru_cache(maxsize=1_000)
def _alike(word: str) -> frozenset[str]:
    """Return the kernels of a word and of those that say the same: gloss for shine, oily for greasy, tug for pull."""
    own = {entry.family for _, entry in entries_at((word,), 0, "property") if entry.value == 1}
    return _everyday().get(kernel(word), frozenset()).union((kernel(word),), *map(_kernels_of, own))


@cache
def _kernels_of(family: str) -> frozenset[str]:
    """Return the kernels of the single words that say more of a property of the table."""
    more = ((words, each) for words, entries in phrases().items() if len(words) == 1 for each in entries)
    return frozenset(kernel(words[0]) for words, e in more if (e.part, e.family, e.value) == ("property", family, 1))


@cache
def _everyday() -> Mapping[str, frozenset[str]]:
    """Return the kernels of everyday words that say the same, by each of them."""
    rows = [frozenset(map(kernel, str(words).split())) for words in shared_table("claim_alike_en")["words"]]
    return {each: frozenset().union(*(alike for alike in rows if each in alike)) for each in frozenset().union(*rows)}


def in_own_terms(tokens: Tokens, ways: Sequence[Way], products: Sequence[int]) -> Tokens:
    """Return a sentence with an attribute of the study's own by its name: more ease of melting for melts more easily.

    `products`: how many tokens at each place name a product; those say nothing of an attribute.
    """
    taken = {place + more for place, length in enumerate(products) for more in range(length)}
    for way in sorted(ways, key=lambda each: (-len(each.named), -len(each.core) - sum(map(len, each.things)))):
        tokens = _object_last(tokens, way)
        for start in range(len(tokens)) if any(_same(token, way.core[0], loose=True) for token in tokens) else ():
            end = _core_end(tokens, start, way)
            own = start + (tokens[start] == way.core[0])  # less oil comes off
            known = start + entry_at(tokens, start, "")[0] > end  # low greasy film, where grease was judged
            free = end and not known and taken.isdisjoint(range(own, end))
            if free and (found := _compared(tokens, start, end, way)):
                return found
    return tokens


def _object_last(tokens: Tokens, way: Way) -> Tokens:
    """Return the words with what something is done to after its verb: easier to comb through dry hair."""
    led = 1 + sum(1 for _ in takewhile(PARTICLES.__contains__, way.core[1:]))
    done, thing = way.core[:led], way.core[led:]
    for start in range(len(tokens)) if thing and way.kind in ("ease", "time") else ():
        if end := _phrase_end(tokens, start, thing):
            at = end + (tokens[end : end + 1] != () and tokens[end] in _BEING)
            at += (length := entry_at(tokens, at, "to verb")[0])
            said = tokens[at : at + led]
            length = length or (len(said) == led and said[0].endswith(("ed", "s")))  # wet hair is untangled faster
            if length and len(said) == led and kernel(said[0]) == kernel(done[0]) and said[1:] == done[1:]:
                return (*tokens[:start], *tokens[end : at + led], *tokens[start:end], *tokens[at + led :])
    return tokens


def _core_end(tokens: Tokens, start: int, way: Way) -> int:
    """Return the place after the words an attribute is named by, where they stand in order; 0 where they do not."""
    being = start and tokens[start - 1] in (*_BEING, "be", "been")
    done_to = {each[-1] for each in (*way.things, *way.states) if each[0] in ("at", "on")}
    if being and tokens[start].endswith("ed") and way.core[0] != tokens[start] and tokens[start - 2] not in done_to:
        return 0  # the product is covered; but: lashes are pulled
    if not being and start and tokens[start - 1] in done_to:
        return 0  # the lashes pull
    place, head = start, max(n for n, word in enumerate(way.core) if n == 0 or word not in PARTICLES)
    for n, word in enumerate(way.core):
        while n and tokens[place : place + 1] and tokens[place] in _ARTICLES and word not in PARTICLES:
            place += 1  # runs off the fingers
        between = _BE if way.kind == "time" else frozenset[str]()  # the mascara is off; rub it in
        between |= {"it"} if word in PARTICLES else set()
        place += n > 0 and tokens[place : place + 1] != () and tokens[place] in between
        goes = word in _LAIN and tokens[place : place + 1] and tokens[place] in _LYING  # a comb goes through
        here = tokens[place + bool(goes) : place + bool(goes) + 1]
        verb = n == head or word.endswith("ing") or (n, way.kind) == (0, "time")  # untangles wet hair, to untangle it
        verb &= way.kind == "more" or not here or here[0].endswith("er") == word.endswith("er")  # cleaner sooner
        if here and _same(here[0], word, loose=verb and way.kind != "like"):
            place += 1 + bool(goes)
        elif (word, way.kind) != ("through", "ease"):
            return 0
    off = tokens[place : place + 1] != () and tokens[place] in ("off", "out", "away") and way.kind == "ease"
    place += off and kernel(tokens[place - 1]) in ("rins", "wash")
    return place + (tokens[place : place + 1] != () and tokens[place] in FELT_AS and tokens[place] in way.named)


@lru_cache(maxsize=100_000)
def _same(token: str, word: str, *, loose: bool) -> bool:
    """Return whether a token is a word of a name, in another form only where that is `loose`."""
    if word in PARTICLES or token == word:
        return token == word
    size = entry_at((word,), 0, "unit")[1].value
    if not math.isnan(size):  # 60 min, 60 minutes
        return entry_at((token,), 0, "unit")[1].value == size
    if _another_word(token, word):
        return False
    forms = ([each.endswith(end) for end in ("s", "er", "est")] for each in (token, word))
    return kernel(token) in _alike(word) and (loose or next(forms) == next(forms))


def _another_word(token: str, word: str) -> bool:
    """Return whether a token is no form of a word though they share a kernel: tube and tub, rubber and rubs."""
    one, two = token.rstrip("s"), word.rstrip("s")
    doing = re.search(r"(?:ing|(?<!s)s|ed)$", word) is not None and not word.endswith("ring")
    of_it = one in STUFF and word.endswith("y")  # the least wax, where it was the least waxy
    if of_it or f"{one}e" == two or f"{two}e" == one or (token.endswith("ing") and token == f"{word}ing"):
        return True
    if re.search(r"ers?$", token) and doing and token != word:
        return True
    return kernel(token) != kernel(word) and not doing and kernel(token) in _everyday() and one not in _written()


@cache
def _written() -> frozenset[str]:
    return frozenset(word for words in shared_table("claim_alike_en")["words"] for word in str(words).split())


def _phrase_end(tokens: Tokens, start: int, words: Tokens) -> int:
    """Return the place after some words of a name, articles among them; 0 where they do not stand there."""
    place = start
    for word in words:
        while tokens[place : place + 1] and tokens[place] in (*_ARTICLES, "you", "it"):
            place += 1
        if place >= len(tokens) or not (
            _same(tokens[place], word, loose=False) or tokens[place] in (f"{word}s", word.removesuffix("s"))
        ):
            return 0
        place += 1
    return place


def _compared(tokens: Tokens, start: int, end: int, way: Way) -> Tokens:
    """Return the tokens with the name beside what compares it; none where nothing does, or a thing stays untold."""
    spans: dict[int, int] = {}
    for words in (*way.things, *way.states):
        lead = _leading(words[0], tokens[start])
        led = (place for place, token in enumerate(tokens) if token in lead)
        spans |= {place: stop for place in led if (stop := _phrase_end(tokens, place + 1, words[1:]))}
    right = end
    sites = set[int]()
    while stop := spans.get(right, 0) or _site_end(tokens, right, way):
        sites |= {stop - 1} if right not in spans and tokens[stop - 1] not in way.named else set()
        right = stop
    if (found := _degree(tokens, start, right, way)) is None:
        return ()
    leads = {words[0] for words in (*way.things, *way.states) if words[0] in OBJECTS} - {"of"}
    if any(token in leads and place not in spans for place, token in enumerate(tokens[start : right + 3], start)):
        return ()  # hair sticks to hair, where it was to the face
    to_it = any(tokens[place] == "to" for place in spans)
    felt = any(each[0] == "to" for each in way.states) and right == end and not to_it
    seen = {"time", "look"} <= {*way.named} and not any(token.startswith("look") for token in tokens)
    feels = seen and any(token.startswith(("feel", "felt")) for token in tokens)
    if feels or ((felt or seen) and _of_body(tokens, start, right)):
        return ()  # skin dries, where it was dry to the touch, or looked dry
    left, at, sign, stop = found
    before_it = tokens[start - 1] if start and left == start else ""
    sites |= {place for place in range(right, at) if entry_at(tokens, place, "site")[0]}  # cools feet more
    for thing in way.things:
        led = (place for place in spans if tokens[place] in _leading(thing[0], tokens[start]))
        told = any(_phrase_end(tokens, place + 1, thing[1:]) for place in led)
        low, high = _beside(tokens, left, end, thing) if thing[0] in ("of", "when", "while") and not told else (0, 0)
        if not (told or high):
            return ()
        spans |= {low: high} if high else {}
    if any("new" in tokens[max(0, place - 1) : place] for place in {left, *spans}) or before_it in _WHO_JUDGED:
        return ()  # our new razor; the panel slips less
    cut = {place for span in (*spans.items(), (left, stop), (start, right)) for place in range(*span)} - sites
    before = tokens[left - 1] if left else ""
    kept_on = way.kind == "lasting" and root(before) == "keep"
    cut |= {left - 1} if before == "with" or kept_on or (before in _LYING and tokens[start].endswith("ly")) else set()
    states: set[Tokens] = {words[1:] for words in way.states}
    of_body = (place for place in range(len(tokens)) if entry_at(tokens, place + 1, "site")[0])
    cut |= {place for place in of_body if tokens[place : place + 1] in states}  # damp hair
    kept: list[Tokens] = [(token,) if place not in cut else () for place, token in enumerate(tokens)]
    kept[at] = (*sign, *way.named)
    return tuple(token for each in kept for token in each)


def _of_body(tokens: Tokens, start: int, end: int) -> bool:
    """Return whether a part of the body is the subject of what stands at a place, or what it is done to."""
    at = start - 1 - (start > 0 and tokens[start - 1] in _BEING | {"get", "gets", "got", "becomes", "stays"})
    end += tokens[end : end + 1] != () and tokens[end] in _ARTICLES
    return (at >= 0 and entry_at(tokens, at, "site")[0] > 0) or entry_at(tokens, end, "site")[0] > 0


def _leading(word: str, doing: str) -> frozenset[str]:
    """Return the small words that lead the same: during for while; from for of: rubbing from a seam."""
    of = _OF if doing.endswith("ing") else frozenset(("of",))
    return next((each for each in (_MEANWHILE, of) if word in each), frozenset((word,)))


def _site_end(tokens: Tokens, place: int, way: Way) -> int:
    """Return the place after the part of the body that a small word of the name leads: through damp hair."""
    on = place < len(tokens) and tokens[place] in OBJECTS and tokens[place] in way.named  # stick to the skin
    if not on and (not place or tokens[place - 1] not in PARTICLES or tokens[place - 1] not in way.core):
        return 0
    place += on
    while (one := tokens[place : place + 1]) and (one[0] in _ARTICLES or one in {words[1:] for words in way.states}):
        place += 1
    length = entry_at(tokens, place, "site")[0]
    return place + length if length and (not on or tokens[place] in way.named) else 0


def _beside(tokens: Tokens, left: int, end: int, thing: Tokens) -> tuple[int, int]:
    """Return where a thing stands right before what is said of it, or right after: hard patches feel softer."""
    if stop := _phrase_end(tokens, end, thing[1:]):
        return end, stop
    before = left - (left > 0 and tokens[left - 1] in ("no", "the"))  # dry hair no greasier, the softest
    while before and tokens[before - 1] in _BEING:
        before -= 1
    starts = range(max(0, before - 2 * len(thing)), before)  # articles stand between its words
    start = next((each for each in starts if _phrase_end(tokens, each, thing[1:]) == before), None)
    return (0, 0) if start is None else (start, before)


def _degree(tokens: Tokens, start: int, right: int, way: Way) -> tuple[int, int, Tokens, int] | None:
    """Return where what is compared begins, where the name goes, the plain word of the comparison, where that ends."""
    like = start
    while way.kind == "like" and like and (tokens[like - 1] in _ARTICLES or tokens[like - 1] == "like"):
        like -= 1
    while way.kind == "time" and like and tokens[like - 1] in ("be", "become", "get"):
        like -= 1  # less time to be dry
    noun = tokens[start] in way.named or not re.search(r"(?:ing|s)$", tokens[start])  # no fewer cakes for caking
    noun |= tokens[start].endswith("ing") and right > start + 1  # less rubbing of the seam
    noun = noun and not entry_at(tokens, right, "site")[0]  # less chalky skin
    for length in range(min(_LONGEST, like) if noun or way.kind != "more" else 0, 0, -1):
        if tokens[like - length : like] == ("better",) and tokens[start] not in way.named:
            continue
        again = "as" in tokens[right:] or not _NONE.isdisjoint(tokens[:like])
        before = tokens[like - length - 1] if like > length else ""
        if (before in _LEAVES and way.kind == "time") or (
            before in _NEEDS and way.kind == "more" and tokens[start].endswith("ing")
        ):
            continue  # leaves less time to untangle it, needs less pulling
        if sign := _plain(tokens[like - length : like], way, before=True, again=again):
            return like - length, like - length, sign, right
    own, ended = tokens[start], right == len(tokens) or tokens[right] in _ENDS
    ending = re.search(r"(?:er|est)$", own) if own not in way.named and way.kind == "more" else None
    if ending and kernel(own.removesuffix(ending[0])) == kernel(own):
        closed = ended or any(_phrase_end(tokens, right, each[1:]) for each in way.things)
        return (start, start, ("more" if ending[0] == "er" else "most",), right) if closed else None
    at = right + (not ended and tokens[right] in _BEING)  # combing was easier
    at += entry_at(tokens, at, "site")[0] if own.endswith("s") and way.kind == "more" else 0  # cools feet more
    denied = tokens[at : at + (not _DENIALS.isdisjoint(tokens[at : at + 1]))]
    at += len(denied)
    for stop in range(min(at + _LONGEST, len(tokens)), at, -1):
        closed = stop == len(tokens) or (tokens[stop] in _ENDS and tokens[stop] != "of")
        again = tokens[stop : stop + 1] == ("as",)
        runs = way.core[0].endswith("iness") and own not in way.named and tokens[at:stop] == ("better",)
        if closed and not runs and (sign := _plain(tokens[at:stop], way, before=False, again=again)):
            return start, at, (*denied, *sign), stop
    without = way.kind == "more" and noun and start and tokens[start - 1] in ("no", "without")
    return (start, start, (), right) if without else None


_RATED = frozenset(("lower", "higher", "reduced", "of", "degree", "extent", "pronounced", "marked", "evident"))


def _plain(words: Tokens, way: Way, *, before: bool, again: bool) -> Tokens:
    """Return the plain word for some that compare what is told of an attribute; none where they do not."""
    amount = way.kind in ("more", "like")
    if amount and words and entry_at(words, 0, "low")[0] == len(words):
        return ("low",)
    how = {kernel(word) for word in way.named if word.endswith("ly")} if amount else set()
    if words and kernel(words[-1]) in how:  # smells as strongly, its scent is stronger
        words = ("more",) if words[0].endswith("er") and words[1:] == () else words[:-1]
        if words == ("as",) and again:
            return words
    if before and words in (("as",), ("as", "much")):
        return words[:1] if amount and again else ()
    if not before and again and words[:1] == ("as",):
        return words[:1] if {*words[1:]} & _AS[way.kind] and words[2:] == () else ()
    if words == ("better",):
        return ("more",) if way.better and (not before or (way.kind == "more" and way.core == way.named[-1:])) else ()
    if amount and len(words) == 1 and words[0] in _DEGREES:
        counted = not words[0].startswith("few") or less_of(" ".join(way.named).removeprefix("number of ")) == "fewer"
        return (_DEGREES[words[0]],) if counted else ()
    for degree in ("less", "more") if amount else ():
        if entry_at(words, 0, degree)[0] == len(words) > 0 and words[-1] in _RATED:
            return (degree,)
    verb = way.kind == "more" and not before and (way.core[-1].endswith("s") or way.core[0].endswith("ing"))  # glides
    kind = "ease" if verb else "time" if way.kind == "speed" else way.kind
    for part in ("to verb", "verb so"):
        length, entry = entry_at(words, 0, part)
        if length == len(words) and entry.family == kind != "more":
            return (_BY_SIGN[-entry.value if way.kind == "speed" else entry.value],)
    return ()


def as_defined(left_over: Sequence[str], sentence: Tokens, told: Sequence[Tokens], named: Tokens) -> list[str]:
    """Return the words left over but for those in the very words of how it was judged: waterproof mascara.

    Two words or more that follow each other in both, with a word of its name, led by a small word of place or in a
    clause on when: evenly covered; none that compares or denies.
    """
    names, inside = {*map(kernel, named)} - _SMALL_WORDS, set[int]()
    for words in told:
        for start in range(len(sentence)):
            for at in (n for n, word in enumerate(words) if word == sentence[start]):
                pairs = zip(sentence[start:], words[at:], strict=False)
                run = [one for one, _ in takewhile(lambda pair: pair[0] == pair[1], pairs)]
                run = run[: max((n for n, one in enumerate(run) if kernel(one) not in _SMALL_WORDS), default=0) + 1]
                own = {*map(kernel, run)}
                when = [[word for word in each if word in STATES][-1:] for each in (words[:at], sentence[:start])]
                known = run[0] in OBJECTS | {"under"} or not names.isdisjoint(own) or when[0] == when[1] != []
                known = known and not own <= names | _SMALL_WORDS
                plain = not any(entry_at(tuple(run), n, part)[0] for n in range(len(run)) for part in _COMPARING)
                inside |= {*range(start, start + len(run))} if known and plain and len(run) > 1 else set()
    outside = {word for n, word in enumerate(sentence) if n not in inside}
    return [word for word in left_over if word in outside or word not in sentence]


_SMALL_WORDS = frozenset(map(kernel, (*OBJECTS, *STATES, *_ARTICLES, "towards", "round", "under", "and", "is", "are")))
_COMPARING = ("less", "more", "not", "absolute_not", "comparative", "superlative", "nothing", "than", "free")


def said_of_others(tokens: Tokens, ways: Sequence[Way]) -> list[str]:
    """Return the words that say it of another thing: leaves less time, an hour of less, see where it was shaving."""
    done, named = (
        {kernel(way.core[0]) for way in ways if way.kind in kinds} for kinds in (("more",), ("more", "ease", "time"))
    )
    found = []
    for n, word in enumerate(tokens):
        before, after, next_one = tokens[n - 1] if n else "", *(*tokens[n + 1 : n + 3], "", "")[:2]
        if word in ("less", "more", "fewer"):
            leaves = after == "time" and (before in _LEAVES or not _GIVING.isdisjoint(tokens[max(0, n - 3) : n]))
            found += [word] if leaves or (kernel(after) in done and after.endswith("ing") and before in _NEEDS) else []
        if word in ("any", "each", "every") and (not n or before in SILENT):
            found += [word] if kernel(after) in named or entry_at(tokens, n + 1, "site")[0] else []
        if word in ("needed", "required") and any(
            one in STUFF and lead in ("less", "more", "of") for lead, one in pairwise(tokens[:n])
        ):
            found += [word] if not any(of == "of" and each.endswith("s") for each, of in pairwise(tokens[:n])) else []
        found += ["of"] if word == "of" and after in _DEGREES and n and entry_at(tokens, n - 1, "unit")[0] else []
        found += [f"where {after}"] if word == "where" and n and before not in SILENT and after in ("it", "we") else []
        how = [entry for part in ("superlative", "comparative") for _, entry in entries_at(tokens, n, part)]
        if any(entry.family != "spreading" for entry in how) and (after == "application" or next_one == "apply"):
            found.append("apply")
    return found


_GIVING = frozenset(("leave", "leaves", "left", "give", "gives", "gave"))
