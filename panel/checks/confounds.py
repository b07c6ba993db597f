"""What else could explain a difference? What each pair of prototypes and each swap cannot be told from.

One rule for every factor: it is added as fixed to the model of the prototypes (or of a swap's matched pairs), and what
is left of the information on the contrast is looked at. Nothing left: wholly confounded. Every verdict asks here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, partial
from itertools import combinations
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.checks.finding import Finding
from panel.errors import PanelError
from panel.stats.arrays import Array, Codes
from panel.stats.orders.block_designs import both_sets, information_left, joined, pairs_left
from panel.study.formulas import joint_changes, matched_pairs
from panel.study.scores_used import batch_of_score, orders_uneven, scores_used, serving_of_score
from panel.study.study import Numbered, Study, kept
from panel.words import all_of, first_few

SESSION, _TEST_DAY, POSITION, _SITE, GROUP = "session", "test day", "position", "site", "group of assessors"
BATCH, MAKING_DAY = "batch", "making day"
OF_TEST = (SESSION, _TEST_DAY, GROUP, POSITION, _SITE)
"""How the prototypes were tested: where one of these goes wholly along, no difference can be told at all."""
BETWEEN = (SESSION, _TEST_DAY, GROUP)
"""Of these the scores themselves take part: the model's tests leave out what lies between them."""
WHOLLY, _PARTLY = "wholly", "partly"
_PARTLY_BELOW = 0.9  # share of the information left; a loss of less than a tenth is not worth a word; a setting of ours
IN_THESE_BATCHES = "in these batches"
_TYPED_IN_LATER = ("typed", "scanned")  # sources of scores whose moment is that of the typing

_NEVER = {
    SESSION: "{0} and {1} were never served in one session, and no others join their sessions",
    _TEST_DAY: "{0} and {1} were never scored on one day, and no others join their days",
    GROUP: "no group of assessors scored both {0} and {1}, and no others join their groups",
    POSITION: "{0} and {1} never stood at one position of the order, and no others join their positions",
    _SITE: "{0} and {1} were never put on one site, and no others join their sites",
    MAKING_DAY: "{0} and {1} were made on different days",
    BATCH: "one batch of {0} or {1} was scored",
}
_PAIR_ADVICE = {
    SESSION: "Serve {0} and {1} together in one session.",
    _TEST_DAY: "Have {0} and {1} scored on one day.",
    GROUP: "Let the same people score {0} and {1}.",
    POSITION: "Change the order of serving from person to person, so that {0} and {1} change places.",
    _SITE: "Let {0} and {1} change sites from person to person.",
    MAKING_DAY: "Make {0} and {1} on one day.",
    BATCH: "Make a second batch of {0} and {1}, and score both.",
}
_SWAP_ADVICE = {
    SESSION: "Serve both of a matched pair in one session.",
    _TEST_DAY: "Have both of a matched pair scored on one day.",
    GROUP: "Let the same people score both of a matched pair.",
    POSITION: "Change the order of serving from person to person.",
    _SITE: "Let the prototypes change sites from person to person.",
    MAKING_DAY: "Make both of a matched pair on one day.",
    BATCH: "Make a second batch of each of a matched pair, and score both.",
}
_PAIR_COLUMNS = [
    *("attribute", "prototype", "versus", "factor", "kind", "share_left", "sessions_joint", "because", "advice")
]
_WHY = ("factor", "kind", "because")

Labels = tuple[Codes, list[str]]
"""The number of each row's label, and the labels; the empty one where it is not known."""


@dataclass(frozen=True, eq=False)
class Confounds:
    """What each pair of prototypes and each swap cannot be told from; frames tidy and unrounded.

    Parameters
    ----------
    pairs
        `attribute prototype versus factor kind share_left sessions_joint because advice`: one row for each factor that
        goes along with the difference, `wholly` or `partly`; `share_left` is the share of the information on it that is
        left with the factor as fixed. `attribute` is empty where the row holds for all attributes.
    batches
        Prototype to the batches that were scored; empty where it is not recorded which.
    sets
        Attribute to the number of the set each scored prototype belongs to: only within a set can the scores be
        compared, whatever session, test day and group of assessors did.
    with_batches
        Whether the rows could name a batch at all; answers of consumers cannot.
    order_known
        Whether each row names its position in the serving, and not all the same one.
    uneven_orders
        Whether prototypes are tied to positions more than orders drawn by lot would: the position is then in the model.
    """

    pairs: pd.DataFrame
    batches: Mapping[str, tuple[str, ...]]
    sets: Mapping[str, Mapping[str, int]]
    _find_swaps: Callable[[], pd.DataFrame] = field(repr=False)
    with_batches: bool = True
    order_known: bool = False
    uneven_orders: bool = False
    _places: dict[str, dict[Any, list[tuple[int, str, str, str]]]] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def swaps(self) -> pd.DataFrame:
        """What each swap cannot be told from: `attribute swap factor kind share_left n_pairs because advice`.

        As `pairs`, over the matched pairs of each swap; looked for where it is asked.
        """
        return self._find_swaps()

    def __getstate__(self) -> dict[str, Any]:
        return self.__dict__ | {"swaps": self.swaps, "_find_swaps": None}

    def by_pair(self) -> dict[tuple[str, frozenset[str]], list[tuple[str, str, str]]]:
        """Return `factor kind because` of each attribute (empty: of all) and pair; for many pairs at a time."""
        found: dict[tuple[str, frozenset[str]], list[tuple[str, str, str]]] = {}
        columns = (self.pairs[name].tolist() for name in ("attribute", "prototype", "versus", *_WHY))
        for attribute, prototype, versus, *why in zip(*columns, strict=True):
            found.setdefault((attribute, frozenset((prototype, versus))), []).append(tuple(why))
        return found

    def untold(self, attribute: str, prototype: str, versus: str) -> pd.DataFrame:
        """Return what keeps a pair from being compared at all: factors of the test that go wholly along with it."""
        own = frozenset((prototype, versus))
        return self._rows("pairs", own, attribute, lambda kind, factor: kind == WHOLLY and factor in OF_TEST)

    def untold_among(self, attribute: str, prototypes: Sequence[str]) -> str:
        """Return what keeps some pair of these prototypes from being compared, in words; empty where nothing does."""
        for pair in combinations(prototypes, 2):
            if len(rows := self.untold(attribute, *pair)):
                return str(rows["because"].iloc[0])
        return ""

    def of_swap(self, attribute: str, swap: str) -> pd.DataFrame:
        """Return the rows of a swap (`removed → added`, with or without its amount) on an attribute."""
        return self._rows("swaps", swap, attribute)

    def not_credited(self, attribute: str, swap: str) -> pd.DataFrame:
        """Return what keeps a swap from being credited: what goes wholly along but one batch, or uneven orders."""
        tied = POSITION if self.uneven_orders else ""
        return self._rows("swaps", swap, attribute, lambda kind, by: by == tied or (kind == WHOLLY and by != BATCH))

    def _rows(
        self, name: str, of: object, attribute: str, keep: Callable[[str, str], bool] = lambda _kind, _factor: True
    ) -> pd.DataFrame:
        """Return the rows of one pair or swap; where the rows of each stand is looked up once."""
        frame = self.pairs if name == "pairs" else self.swaps
        if name not in self._places:
            ends = [frame[column].tolist() for column in (("prototype", "versus") if name == "pairs" else ("swap",))]
            keys = map(frozenset, zip(*ends, strict=True)) if name == "pairs" else ends[0]
            told = (frame[column].tolist() for column in ("attribute", "kind", "factor"))
            places: dict[Any, list[tuple[int, str, str, str]]] = {}
            for place, (key, on, kind, factor) in enumerate(zip(keys, *told, strict=True)):
                places.setdefault(key, []).append((place, on, kind, factor))
            self._places[name] = places
        own = self._places[name].get(of, [])
        kept_rows = [place for place, on, kind, factor in own if on in ("", attribute) and keep(kind, factor)]
        return frame.iloc[kept_rows] if kept_rows else frame.iloc[:0]  # most pairs have none: three times as quick

    @cached_property
    def one_batch(self) -> bool:
        """Whether some prototype is known from fewer than two batches: then all is told of these batches only."""
        return not self.batches or any(len(own) < 2 for own in self.batches.values())


@kept
def find_confounds(study: Study) -> Confounds:
    """Return what the differences and swaps of `study` cannot be told from, by the scores that are used."""
    facts = _score_facts(study, scores_used(study).numbered)
    found = confounds_of(facts, prototypes=study.prototypes, swaps=partial(_swaps, study), made_on=_made_on(study))
    tied = found.order_known and POSITION in found.pairs.loc[found.pairs["kind"] == _PARTLY, "factor"].array
    return replace(found, uneven_orders=tied and orders_uneven(study))


def sets_of_scores(study: Study, scores: Numbered) -> dict[str, dict[str, int]]:
    """Return the `sets` of the confounds of these scores, without all else."""
    facts = _named(_score_facts(study, scores))
    order = _scored(facts, study.prototypes)
    return _sets_by_attribute(_patterns(facts, order), order)


def _score_facts(study: Study, scores: Numbered) -> dict[str, Labels]:
    """Return the `attribute`, the `prototype` and the label of each factor for every score, empty if not known."""
    served = serving_of_score(study, scores.frame) if any(study.listed("servings", "assessor")) else None
    groups = dict(zip(*map(reversed, study.listed("assessors", "assessor", "group")), strict=True))
    unknown = np.broadcast_to(np.intp(0), len(scores)), [""]
    day = _in_words(*scores["recorded_at"], _day)
    source, sources = scores["source"]
    typed = np.array([str(name).casefold() in _TYPED_IN_LATER for name in sources], dtype=bool)
    if typed.any():
        day = np.where(typed[source], len(day[1]), day[0]), [*day[1], ""]
    return {
        "attribute": scores["attribute"],
        "prototype": scores["prototype"],
        SESSION: scores["session"],
        _TEST_DAY: day,
        POSITION: labels(served[0], _position) if served else _in_words(*scores["position"], _position),
        _SITE: labels(served[1]) if served else unknown,
        GROUP: _in_words(*scores["assessor"], lambda name: groups.get(name, "")) if groups else unknown,
        BATCH: batch_of_score(study, scores),
    }


def _position(value: float) -> str:
    return "" if value != value else f"{value:g}"


def labels(values: pd.Series, words: Callable[[Any], str] = str) -> Labels:
    """Return the number of each value's words and the words, worked out once for each different value."""
    return _in_words(*Numbered(values.to_frame("of"))["of"], words)


def _in_words(code: Codes, different: list[Any], words: Callable[[Any], str]) -> Labels:
    numbers: dict[str, int] = {}
    place = np.array([numbers.setdefault(words(value), len(numbers)) for value in different], dtype=np.intp)
    if len(numbers) == len(different):
        return code, list(numbers)
    return (place[code] if len(numbers) > 1 else np.zeros(len(code), dtype=np.intp)), list(numbers)


def _day(moment: str) -> str:
    """Return the day of a moment, empty where it is not known."""
    return moment[:10] if re.fullmatch(r"\d{4}-\d\d-\d\d", moment[:10]) else ""


@kept
def making_confounds(study: Study) -> Confounds:
    """Return what the prototypes cannot be told from by how they were made: for readings, or before anybody scores."""
    batches = study.table("batches").query("batch != '' and prototype != ''")
    facts = {"prototype": labels(batches["prototype"]), BATCH: labels(batches["batch"])}
    return confounds_of(facts, prototypes=study.prototypes, swaps=partial(_swaps, study), made_on=_made_on(study))


def answer_confounds(rows: pd.DataFrame, prototypes: tuple[str, ...] = ()) -> Confounds:
    """Return what the prototypes cannot be told from by answers to one question: `prototype session position`."""
    position = labels(rows["position"], _position)
    facts = {"prototype": labels(rows["prototype"]), SESSION: labels(rows["session"]), POSITION: position}
    return confounds_of(facts, prototypes=prototypes)


def _made_on(study: Study) -> dict[str, str]:
    """Return the making day of each batch, where it is known."""
    batches = zip(*study.listed("batches", "batch", "made_on"), strict=True)
    return {batch: day for batch, at in batches if batch and (day := _day(at))}


@kept
def _swaps(study: Study) -> pd.DataFrame | None:
    """Return the matched pairs of the study; None where it has no formulas that can be read."""
    if study.table("formulas").empty:
        return None
    try:
        none = pd.DataFrame(columns=["swap", "prototype", "versus"], dtype="str")
        return pd.concat([none, matched_pairs(study), joint_changes(study)], ignore_index=True)
    except PanelError:
        return None


def confounds_of(
    facts: Mapping[str, Labels],
    *,
    prototypes: tuple[str, ...] = (),
    swaps: Callable[[], pd.DataFrame | None] | None = None,
    made_on: Mapping[str, str] | None = None,
) -> Confounds:
    """Return what the prototypes of `facts` cannot be told from.

    Parameters
    ----------
    facts
        `prototype`, and `attribute` if there are several, and the factors known; one label per score or answer.
    prototypes
        The order of the prototypes; by default that of the rows.
    swaps
        Gives the matched pairs, `swap prototype versus`; None where there are no formulas.
    made_on
        Batch to its making day.
    """
    facts = _named(facts)
    order = _scored(facts, prototypes)
    patterns = _patterns(facts, order)
    pairs = []
    sets = _sets_by_attribute(patterns, order)
    batches = _batches(facts)
    days = {p: [(made_on or {}).get(batch, "") for batch in own] for p, own in batches.items()}
    for names, seen, tables in patterns:
        here = [""] if len(patterns) == 1 else names
        met = _sessions_joint(tables, len(order))
        own_pairs = list(_pair_rows(order, seen, tables, _making(order, seen, days), batches, met))
        pairs += [(name, *row) for name in here for row in own_pairs]
    n = 0 if len(patterns) == 1 else len(sets)  # rows of a single pattern are for all attributes already

    def of_swaps() -> pd.DataFrame:
        told, matched = [], swaps() if swaps else None
        for names, seen, tables in patterns:
            made = _making(order, seen, days)
            own = [] if matched is None else list(_swap_rows(order, seen, tables, made, batches, matched))
            told += [(name, *row) for name in ([""] if len(patterns) == 1 else names) for row in own]
        return _for_all(told, ["attribute", "swap", "factor", "kind", "share_left", "n_pairs", "because", "advice"], n)

    return Confounds(
        pairs=_for_all(pairs, _PAIR_COLUMNS, n),
        batches=batches,
        sets=sets,
        _find_swaps=of_swaps,
        with_batches=BATCH in facts,
        order_known=POSITION in facts and "" not in facts[POSITION][1] and len(facts[POSITION][1]) > 1,
    )


def _for_all(rows: list[tuple[Any, ...]], columns: list[str], attributes: int) -> pd.DataFrame:
    """Return the rows with one for all attributes, its attribute empty, where all of them have the same."""
    if not rows:
        return _without_rows(tuple(columns)).copy(deep=False)
    alike = [place for place, name in enumerate(columns) if name not in ("attribute", "share_left", "because")]
    what = itemgetter(*alike)
    share = columns.index("share_left") if "share_left" in columns else 0
    own: dict[tuple[Any, ...], list[int]] = {}
    for row, content in enumerate(rows if attributes else ()):
        own.setdefault(what(content), []).append(row)
    shared = [same for same in own.values() if len(same) == attributes]
    least = sorted(min(same, key=lambda row: rows[row][share]) if share else same[0] for same in shared)
    gone = {row for same in shared for row in same}
    once = [("", *rows[row][1:]) for row in least]
    return pd.DataFrame([*once, *(row for k, row in enumerate(rows) if k not in gone)], columns=columns)


@cache
def _without_rows(columns: tuple[str, ...]) -> pd.DataFrame:
    return pd.DataFrame(columns=list(columns))


def _named(facts: Mapping[str, Labels]) -> dict[str, Labels]:
    """Return the facts of the rows that name their attribute, one for all where none is given, and their prototype."""
    lacking = np.zeros(len(facts["prototype"][0]), dtype=bool)
    for code, names in (facts[name] for name in ("attribute", "prototype") if "" in facts.get(name, ([], []))[1]):
        lacking |= code == names.index("")
    whole = {"attribute": (np.zeros(len(lacking), dtype=np.intp), [""]), **facts}
    if not lacking.any():
        return whole
    rows = ~lacking
    return {name: labels(pd.Series(names, dtype=object).iloc[code[rows]]) for name, (code, names) in whole.items()}


def _batches(facts: Mapping[str, Labels]) -> dict[str, tuple[str, ...]]:
    """Return the batches of each prototype that were scored, as far as they are known, in their order of coming."""
    if not any(facts.get(BATCH, ([], []))[1]):
        return {}
    (prototype, prototypes), (batch, batches) = facts["prototype"], facts[BATCH]
    found: dict[str, tuple[str, ...]] = {}
    for both in pd.unique(prototype * len(batches) + batch).tolist():
        name, own = prototypes[both // len(batches)], batches[both % len(batches)]
        if own:
            found[name] = (*found.get(name, ()), own)
    return found


_Pattern = tuple[list[str], NDArray[np.bool_], dict[str, Array]]


def _scored(facts: Mapping[str, Labels], prototypes: tuple[str, ...]) -> list[str]:
    """Return the prototypes that have scores, in the order of `prototypes`."""
    scored = facts["prototype"][1]
    return [name for name in prototypes if name in set(scored)] or scored


def _sets_by_attribute(patterns: list[_Pattern], order: list[str]) -> dict[str, dict[str, int]]:
    """Return for each attribute the number of the set within which each of its prototypes can be compared."""
    sets: dict[str, dict[str, int]] = {}
    for names, seen, tables in patterns:
        label = np.zeros(len(order), dtype=np.intp)
        for factor in BETWEEN:
            if factor in tables and tables[factor].any():
                own, known = joined(tables[factor]), tables[factor].any(axis=1)
                # a prototype whose levels are not known is not held apart by them
                label = both_sets(label, np.where(known, own, own[known][0]))
        sets |= {name: {p: int(label[k]) for k, p in enumerate(order) if seen[k]} for name in names}
    return sets


def _patterns(facts: Mapping[str, Labels], order: list[str]) -> list[_Pattern]:
    """Return the attributes scored in one pattern: names, prototypes seen, prototype x level counts by factor.

    Scores whose level of a factor is not known take no part in its table; no session at all is one session.
    """
    (attribute, names), (prototype, prototypes) = facts["attribute"], facts["prototype"]
    shape, place = (len(names), len(prototypes)), [prototypes.index(name) for name in order]
    cell = attribute * len(prototypes)
    cell += prototype

    def counted(codes: Codes, levels: int) -> Codes:
        return np.bincount(codes, minlength=len(names) * len(prototypes) * levels).reshape(*shape, levels)[:, place]

    scored = counted(cell, 1)
    tables: dict[str, Array] = {}
    for factor in OF_TEST:
        if factor not in facts:
            continue
        level, levels = facts[factor]
        counts = counted(cell * len(levels) + level, len(levels)) if len(levels) > 1 else scored
        table = counts.astype(float)
        if factor != SESSION and "" in levels:
            table = np.delete(table, levels.index(""), axis=2)
        tables[factor] = table
    seen = scored[:, :, 0] > 0
    alike: dict[tuple[bytes, ...], list[int]] = {}
    for row in range(len(names)):
        alike.setdefault(tuple(table[row].tobytes() for table in tables.values()), []).append(row)
    return [
        (
            [names[k] for k in own],
            np.asarray(seen[own].any(axis=0)),
            {factor: table[own[0]] for factor, table in tables.items()},
        )
        for own in alike.values()
    ]


def _sessions_joint(tables: Mapping[str, Array], n: int) -> Codes:
    """Return in how many sessions two prototypes were both served, (n, n)."""
    met = tables[SESSION] > 0 if SESSION in tables else np.ones((n, 1), dtype=bool)
    return np.asarray(met.astype(int) @ met.T.astype(int), dtype=np.intp)


def _making(order: list[str], seen: np.ndarray, days: Mapping[str, list[str]]) -> Array | None:
    """Return prototype x making day, batches counted; None where there is no second day."""
    known = [days.get(name, []) if shown else [] for name, shown in zip(order, seen, strict=True)]
    levels = sorted({day for own in known for day in own if day})
    if len(levels) < 2:
        return None
    whole = [own if all(own) else [] for own in known]  # a batch without a day: nothing is known of that prototype
    return np.array([[float(own.count(day)) for day in levels] for own in whole])


def _pair_rows(
    order: list[str],
    seen: np.ndarray,
    tables: Mapping[str, Array],
    made: Array | None,
    batches: Mapping[str, tuple[str, ...]],
    met: Codes,
) -> Iterator[tuple[str, str, str, str, float, int, str, str]]:
    """Yield `prototype versus factor kind share_left sessions_joint because advice`."""
    shares = {
        factor: pairs_left(table)
        for factor, table in (dict(tables) | ({} if made is None else {MAKING_DAY: made})).items()
        if np.count_nonzero(table.sum(axis=0)) > 1
    }
    number = np.array([len(batches.get(name, ())) for name in order])
    shares[BATCH] = np.where(np.minimum(number[:, None], number) == 1, 0.0, np.nan)
    for factor, share in shares.items():
        for second, first in np.argwhere(np.triu((share < _PARTLY_BELOW) & seen[:, None] & seen, 1)).tolist():
            named, left = (order[second], order[first]), float(share[second, first])
            kind = _PARTLY if left > 0 else WHOLLY
            because = _NEVER[factor].format(*named)
            if kind == _PARTLY:
                because = f"{factor} goes partly along with {named[0]} and {named[1]}: {_percent(left)} of what the "
                because += "scores tell of them is left beside it"
            advice = _PAIR_ADVICE[factor].format(*named)
            yield order[first], order[second], factor, kind, left, int(met[first, second]), because, advice


def _swap_rows(
    order: list[str],
    seen: np.ndarray,
    tables: Mapping[str, Array],
    made: Array | None,
    batches: Mapping[str, tuple[str, ...]],
    swaps: pd.DataFrame,
) -> Iterator[tuple[str, str, str, float, int, str, str]]:
    """Yield `swap factor kind share_left n_pairs because advice`."""
    place = {name: k for k, name in enumerate(order) if seen[k]}
    for swap, rows in swaps.groupby("swap", sort=False):
        ends = [
            (place[p], place[v])
            for p, v in zip(rows["prototype"], rows["versus"], strict=True)
            if p in place and v in place
        ]
        if not ends:
            continue
        columns = _swap_columns(ends, len(order))
        contrast = np.eye(1, columns.shape[1])
        for factor, table in tables.items():
            left = _left(table, contrast, columns)
            if left < _PARTLY_BELOW:
                yield str(swap), factor, *_swap_words(str(swap), factor, left, len(ends))
        if made is not None and all(made[k].any() for pair in ends for k in pair):
            steps = {_later(made[p], made[v]) for p, v in ends}
            left = _left(made, contrast, columns)
            if left < _PARTLY_BELOW:
                yield str(swap), MAKING_DAY, *_swap_words(str(swap), MAKING_DAY, left, len(ends), steps)
        if min(len(batches.get(order[k], ())) for pair in ends for k in pair) == 1:
            yield str(swap), BATCH, *_swap_words(str(swap), BATCH, 0.0, len(ends))


def _swap_columns(ends: list[tuple[int, int]], n: int) -> Array:
    """Return the model of a swap: its effect first, then a mean for each set of pairs and each other prototype."""
    graph = np.zeros((n, n))
    for prototype, versus in ends:
        graph[prototype, versus] = 1
    label = joined(graph + graph.T + np.eye(n))
    level, known = np.zeros(n), np.zeros(n, dtype=bool)
    for start in range(n):
        if known[start]:
            continue
        known[start], waiting = True, [start]
        while waiting:
            here = waiting.pop()
            for other, step in (*((p, 1.0) for p, v in ends if v == here), *((v, -1.0) for p, v in ends if p == here)):
                if not known[other]:
                    level[other], known[other] = level[here] + step, True
                    waiting.append(other)
    return np.column_stack([level, np.eye(int(label.max()) + 1)[label]])


def _left(table: Array, contrast: Array, columns: Array) -> float:
    """Return the share of what is known of a swap that is left with the factor as fixed; NaN where it has one level."""
    if np.count_nonzero(table.sum(axis=0)) < 2:
        return float("nan")
    return float(information_left(table, contrast, columns)[0])


def _later(prototype: Array, versus: Array) -> int:
    """Return 1 if all of a prototype was made later than all of the other, -1 if earlier, else 0; days in order."""
    own, others = np.flatnonzero(prototype), np.flatnonzero(versus)
    return int(own.min() > others.max()) - int(own.max() < others.min())


def _swap_words(
    swap: str, factor: str, left: float, n_pairs: int, steps: set[int] | None = None
) -> tuple[str, float, int, str, str]:
    """Return `kind share_left n_pairs because advice` of a swap."""
    advice = _SWAP_ADVICE[factor]
    if left > 0:
        because = f"{factor} goes partly along with the swap {swap}: {_percent(left)} of what its pairs tell is left "
        because += "beside it"
        return _PARTLY, left, n_pairs, because, advice
    pairs = "the only matched pair" if n_pairs == 1 else all_of(n_pairs, "matched pair")
    how = {
        BATCH: f"one batch of a prototype with or without the swap {swap} was scored",
        MAKING_DAY: f"in {pairs} the prototype with the swap was made "
        + {1: "later", -1: "earlier"}.get(next(iter(steps or {0})) if len(steps or ()) == 1 else 0, "on another day"),
    }.get(factor, f"in {pairs} the two never met at one {factor}")
    if factor == BATCH:
        return WHOLLY, 0.0, n_pairs, how, advice
    name = factor[0].upper() + factor[1:]
    return WHOLLY, 0.0, n_pairs, f"{name} and the swap {swap} cannot be told apart: {how}", advice


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def untold_findings(found: Confounds) -> Iterator[Finding]:
    """Yield one finding for each factor of the test that goes wholly along with pairs of prototypes."""
    if found.pairs.empty:
        return
    rows = found.pairs.loc[(found.pairs["kind"] == WHOLLY) & found.pairs["factor"].isin(OF_TEST)]
    total = len({pair for own in found.sets.values() for pair in combinations(own, 2)})  # own: in one order
    for factor, own in rows.groupby("factor", sort=False):
        pairs = own.drop_duplicates(["prototype", "versus"])
        first = pairs.iloc[0]
        because = str(first["because"])
        message = f"{because[0].upper()}{because[1:]}: what looks like the prototypes may be the {factor}."
        if len(pairs) > 1:
            named = [f"{v} and {p}" for p, v in zip(pairs["prototype"], pairs["versus"], strict=True)]
            count = f"All {total}" if len(pairs) == total else f"{len(pairs)} of {total}"
            message = f"{count} pairs cannot be told from the {factor} ({first_few(named)}). The first: {message}"
        severity = "stop" if len(pairs) == total and factor in BETWEEN else "warning"
        kind = f"prototypes_and_{str(factor).replace(' ', '_')}"
        advice = f"Their verdict is 'cannot tell'. {first['advice']}"
        yield Finding(severity, kind, f"scores, {factor}", message, advice)
    if found.uneven_orders:
        message = (
            "Prototypes kept to some positions more than by lot: the position is in the model, and costs precision."
        )
        advice = "Change the order of serving from person to person, as a plan of the app does."
        yield Finding("note", "orders_uneven", "scores, position", message, advice)
