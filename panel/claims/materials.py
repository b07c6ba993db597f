"""What is computed once for all claims of a study: the fitted panel, the traced swaps, the words of the study."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, cast

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from panel.checks.confounds import Confounds
from panel.claims.claim import Claim, Reading, kinds
from panel.claims.grammar import read_sentence
from panel.claims.names import Names, happened, is_applied
from panel.claims.parts import entries_at, words_of
from panel.claims.study_names import is_turned, names_of, words_of_kind
from panel.errors import ModelError
from panel.models.consumers.answers import AnswerGrid, Kind, answer_grid
from panel.models.emollients.prediction_model import model_of, prototype_level, swap_effects
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.prototypes.differences import Differences, find_differences, versus_rows
from panel.models.prototypes.panel_design import PanelDesign, PanelFit, fit_study, variance_rows
from panel.models.prototypes.verdict import BatchSpread, batch_spread, seen_differently
from panel.plan.sample_size import (
    ALONE,
    WITH_BENCHMARK,
    Scatter,
    own_scatter,
    panel_sizes,
    parity_numbers,
    share_numbers,
)
from panel.stats.comparing.group_means import BATCH
from panel.stats.comparing.multiplicity import ALPHA, LEVEL
from panel.stats.comparing.power import detection_power, equivalence_power
from panel.stats.mixed.inference import Inference, inference, widened
from panel.stats.mixed.reml import MixedFit
from panel.study.naming import Naming, judged_after, judged_minutes, naming, when_judged
from panel.study.questions import as_stated
from panel.study.scores_used import ANSWER_ENDS, answer_points, named_rows, question_words
from panel.study.study import Study, kept
from panel.words import counted, cut_share, format_list, format_typed, level_words, typed_share

_MINUTES_SLACK = 1e-9


@dataclass(frozen=True, eq=False)
class Materials:
    """The study and everything about it that several claims rest on; worked out when first asked for.

    `differences` and `traced` are answers that are at hand already, of the study as it stands.
    """

    study: Study
    claims: tuple[Claim, ...]
    differences: Differences | None = None
    traced: TracedSwaps | None = None

    @cached_property
    def called_as(self) -> Naming:
        """What the things of the study are called, and how numbers of attributes are written on every page."""
        return naming(self.study)

    def value(self, attribute: str, value: float) -> str:
        """Return a value on the panel's scale in words, with the decimals and unit it has on every page."""
        return self.called_as.number(attribute, value)

    def with_interval(self, attribute: str, value: float, low: float, high: float) -> str:
        """Return such a value with its interval in words."""
        return f"{self.value(attribute, value)} ({level_words(LEVEL)} {self.between(attribute, low, high)})"

    def between(self, attribute: str, low: float, high: float) -> str:
        """Return an interval of such values in words."""
        return self.called_as.interval(attribute, low, high)

    @cached_property
    def scores(self) -> pd.DataFrame:
        """The scores an analysis uses."""
        return fit_study(self.study).used.frame

    @cached_property
    def panel(self) -> PanelNumbers:
        """What the panel's model says of every attribute."""
        return _panel_numbers(self.study, fit_study(self.study))

    @cached_property
    def confounds(self) -> Confounds:
        """What prototypes and swaps cannot be told from."""
        return fit_study(self.study).confounds

    def from_one(self, attribute: str, prototype: str) -> pd.DataFrame:
        """Return the differences of all others from `prototype` on an attribute, adjusted together (Dunnett)."""
        key = ("from one", self.panel.together(attribute), prototype)
        rows: pd.DataFrame = self._kept(key, lambda: self.panel.from_one(attribute, prototype))
        return rows.loc[rows["attribute"] == attribute].reset_index(drop=True)

    def agreed(self, prototype: str, question: str) -> Counted:
        """Return how many agreed with the sentence `question` about a prototype."""
        key, rows = ("agreed", prototype, question), self._agreement
        found: Counted = self._kept(key, lambda: _count_agreed(self.study, rows, prototype, question))
        return found

    @property
    def voted_in(self) -> tuple[str, ...]:
        """The sessions in which people said which they prefer."""
        answers = self.study.table("answers")
        return tuple(str(name) for name in answers.loc[answers["kind"] == "preference", "session"].unique())

    @cached_property
    def _agreement(self) -> pd.DataFrame:
        answers = named_rows(self.study, "answers")
        answers = answers.loc[answers["kind"] == "agreement"]
        return answers.loc[answers["answer"].str.strip() != ""]

    @cached_property
    def compared(self) -> Differences | None:
        """The comparison of all prototypes; None where there is none."""
        if self.differences is not None:
            return self.differences
        try:
            return find_differences(self.study)
        except ModelError:
            return None

    @cached_property
    def ticks(self) -> AnswerGrid | None:
        """What consumers ticked; None where nobody was asked."""
        return self._grid("check_all")

    @cached_property
    def judged(self) -> AnswerGrid | None:
        """What consumers found just about right or not; None where nobody was asked."""
        return self._grid("just_about_right")

    def _grid(self, kind: Kind) -> AnswerGrid | None:
        try:
            return answer_grid(self.study, kind)
        except ModelError:
            return None

    @cached_property
    def swaps(self) -> TracedSwaps | str:
        """What the swaps did, or why that cannot be said."""
        if self.traced is not None:
            return self.traced
        try:
            return trace_swaps(self.study)
        except ModelError as error:
            return str(error)

    @cached_property
    def swaps_over_prototypes(self) -> pd.DataFrame:
        """Swap effects with prototypes as the units; without rows where there are too few."""
        return _swaps_over_prototypes(self.study, *filter(None, (self.differences,)))

    @cached_property
    def names(self) -> Names:
        """What a sentence may name of the study."""
        return names_of(self.study)

    def read(self, sentence: str, own: str = "", *, of_panel: bool = False) -> Reading:
        """Return what a sentence says, about the prototype `own` where it is named; each is read once.

        `of_panel`: it may tell an attribute in the words of its name; what people alone were asked is not read so.
        """
        names, key = self.names if of_panel else replace(self.names, ways=()), ("read", sentence, own, of_panel)
        return cast("Reading", self._kept(key, lambda: read_sentence(sentence, names, own)))

    def asked(self, claim: Claim) -> Reading | None:
        """Return the reading of the sentence people were asked about; None where it rests on no question."""
        if claim.kind not in ("agreement", "absolute_negative") or not claim.question:
            return None
        return self.read(as_stated(question_words(self.study, claim.question)), of_panel=bool(claim.attribute))

    def once(self, what: Callable[[Claim, Materials], Any], claim: Claim) -> Any:
        """Return `what` of a claim; sentences of one statement share it, unless it rests on the words themselves."""
        by_words = claim.kind == "ingredient_attribution" or not (claim.attribute or claim.question)
        key = (what.__name__, repr(replace(claim, number=0, claim=claim.claim if by_words else "")))
        return self._kept(key, lambda: what(claim, self))

    def _kept(self, key: tuple[object, ...], make: Callable[[], Any]) -> Any:
        if key not in self._made:
            self._made[key] = make()
        return self._made[key]

    @cached_property
    def _made(self) -> dict[tuple[object, ...], Any]:
        return {}

    def prototype(self, prototype: str) -> str:
        """Words for a prototype."""
        table = self.study.table("prototypes")
        names = table.loc[table["prototype"] == prototype, "name"]
        return f"{prototype} ({names.iloc[0]})" if len(names) and names.iloc[0] else prototype

    def happened(self, attribute: str) -> frozenset[str]:
        """Return what those minutes count from, as a sentence may name it: rinsing, or that it was applied."""
        words = judged_after(self.study, attribute)
        found = frozenset(("applied",) if is_applied(words) else happened(self.read(words)) or filter(None, (words,)))
        washes = any(word.startswith(("cleans", "wash", "shampoo", "soap")) for word in words_of_kind(self.study))
        found |= {"washing", "cleansing"} if washes and "applied" in found else set()  # that is its use
        return found | {naming(self.study).stage(attribute)}

    def role(self, prototype: str) -> str:
        """Return the role of a prototype; empty if it is not listed."""
        roles = dict(zip(*self.study.listed("prototypes", "prototype", "role"), strict=True))
        return str(roles.get(prototype, ""))

    def rest_of_range(self, prototype: str) -> tuple[str, ...]:
        """Return the other prototypes of the range: all that are no reference and no untreated skin."""
        others = (name for name in self.study.prototypes if name != prototype)
        return tuple(name for name in others if self.role(name) not in ("reference", "untreated"))

    def whole_range(self, claim: Claim) -> bool:
        """Return whether a claim compares with all others of the range."""
        if claim.kind == "ranking" and not claim.competitors:
            return True
        rest = set(self.rest_of_range(claim.prototype))
        return rest <= set(claim.competitors if claim.kind in ("ranking", "unsurpassed") else {claim.versus})

    @cached_property
    def sites_of_product(self) -> frozenset[str]:
        """The places that the product is for, by its name or the area it was used on: hands for a hand cream."""
        told = f"{self.study.facts.get('title', '')} {self.study.facts.get('area', '')}"
        words = {*words_of(told), *(word for phrase in self.names.product_types for word in phrase)}
        return frozenset(
            e.family for word in words for _, e in entries_at((word,), 0) if e.part in ("site", "product for")
        )

    def when(self, attribute: str) -> str:
        """Return the moment of judging in words, with a comma before it; empty if not stated."""
        minutes = judged_minutes(self.study, attribute)
        words = when_judged(self.study, attribute, minutes, f"{format_typed(minutes)} min")
        return f", {words}" if words else ""

    def margin(self, claim: Claim) -> float:
        """Return the margin of the claim, else that of its attribute, else NaN."""
        return claim.margin if claim.margin > 0 else self.margin_of_study(claim)

    def margin_of_study(self, claim: Claim) -> float:
        """Return the smallest difference that matters on its attribute, as the study states it; NaN if it does not."""
        return self.study.margins().get(claim.attribute, math.nan)

    def called(self, claim: Claim) -> str:
        """Return what the attribute of a claim is called."""
        return self.study.attribute_words(claim.attribute)

    def sign(self, claim: Claim) -> int:
        """Return whether a claim says more (1) or less (-1) of what its attribute speaks of; 0 where of neither."""
        turned = bool(claim.attribute) and is_turned(self.study, claim.attribute)
        return -int(claim.sign) if turned else int(claim.sign)

    def panel_missing(self, claim: Claim, *others: str) -> list[str]:
        """Return what keeps the panel from saying something about the claim's prototype and these others."""
        found = [self.panel.why_not(claim.attribute, (claim.prototype, *others))]
        for other in others:
            rows = self.confounds.untold(claim.attribute, claim.prototype, other)
            found += [f"{row['because']}. {row['advice']}" for row in rows.to_dict("records")]
        judged = judged_minutes(self.study, claim.attribute)
        if claim.minutes > judged + _MINUTES_SLACK or claim.minutes < judged - _MINUTES_SLACK:
            found.append(
                f"The sentence is about {format_typed(claim.minutes)} min, and "
                f"{self.called(claim)} was judged at "
                f"{format_typed(judged)} min. Judge it at the time the sentence speaks of."
            )
        return [words for words in found if words]

    def who_scored(self, claim: Claim, *others: str) -> str:
        """Return how many assessors scored the claim's prototype and these others, and how often."""
        names = (claim.prototype, *others)
        people, _ = self.panel.people(claim.attribute, names)
        return f"{counted(people, 'assessor')}, {self.panel.scores_each(claim.attribute, names)} each"

    def in_these_batches(self, claim: Claim) -> bool:
        """Return whether the panel speaks for the batches that were scored alone: one of each, and no spread known."""
        return self.confounds.one_batch and np.isnan(self.panel.spread.of(claim.attribute))

    def batch_words(self, claim: Claim) -> str:
        """Return how the spread between batches enters the claim's standard error; empty where it does not."""
        held = claim.attribute in self.panel.fits and self.panel.has_batches(claim.attribute)
        return "" if held else self.panel.spread.words(claim.attribute)

    def not_alike(self, claim: Claim) -> str:
        """Return what does not show the prototypes alike on the claim's attribute; empty where nothing is told so."""
        by = seen_differently(self.study).get(claim.attribute, "")
        return f"The {by} do not show the prototypes alike here: what is told is a mean of these {by}." if by else ""

    def one_batch(self, claim: Claim) -> str:
        """Return that one batch of each prototype was scored, where that is so; empty where it is not, or not known."""
        own = self.scores.loc[(self.scores["attribute"] == claim.attribute) & (self.scores["batch"] != "")]
        names = [name for name in (claim.prototype, claim.versus) if name]
        batches = [list(own.loc[own["prototype"] == name, "batch"].unique()) for name in names]
        if not names or any(len(each) != 1 for each in batches):
            return ""
        scored = format_list([each[0] for each in batches])
        of_what = f"each prototype ({scored})" if len(names) > 1 else f"{names[0]}"
        return (
            f"One batch of {of_what} was scored: what the batch did cannot be told from what the formula did, and "
            "another batch may differ."
        )

    def few(self, claim: Claim, assessors: int, replicates: int) -> list[str]:
        """Return what the panel lacks in people and replicates for this kind of claim."""
        least, again = (float(kinds()[claim.kind][name]) for name in ("least_assessors", "least_replicates"))
        found = []
        if assessors < least:
            found.append(f"{assessors} assessors scored it; a claim of this kind needs {format_typed(least)} or more.")
        if replicates < again:
            found.append(
                f"Each assessor scored it {counted(replicates, 'time')}; a claim of this kind needs "
                f"{format_typed(again)} or more."
            )
        return found


# What does the trained panel say about the prototypes that claims are about? Each attribute is fitted once.


@dataclass(frozen=True, slots=True)
class Estimate:
    """One mean or difference of means, with its standard error and degrees of freedom."""

    estimate: float
    std_error: float
    df: float

    @property
    def statistic(self) -> float:
        """Estimate over standard error."""
        return self.estimate / self.std_error

    def interval(self, level: float) -> tuple[float, float]:
        """Return the two-sided interval at `level`."""
        half = float(stdtrit(self.df, (1 + level) / 2)) * self.std_error
        return self.estimate - half, self.estimate + half

    def p_above(self, limit: float) -> float:
        """Return the one-sided p-value against a true value at or below `limit`."""
        return float(stdtr(self.df, -(self.estimate - limit) / self.std_error))


@dataclass(frozen=True, eq=False, slots=True)
class PanelNumbers:
    """The fitted attributes: attribute to model, fit, estimates and place in the model; why others were not fitted.

    `counts`: how many scores, index attribute and assessor, columns prototype, NaN for none. `spread`: what is known of
    batches; it enters where the model itself has no batches. `words` gives what an attribute is called.
    """

    fits: Mapping[str, tuple[PanelDesign, MixedFit, Inference, int]]
    left_out: Mapping[str, str]
    counts: pd.DataFrame
    spread: BatchSpread
    words: Callable[[str], str]

    def why_not(self, attribute: str, prototypes: Iterable[str]) -> str:
        """Return why the panel says nothing about these prototypes on this attribute; empty if it does."""
        words = self.words(attribute)
        if attribute not in self.fits:
            return f"{words} cannot be judged: {self.left_out.get(attribute, 'it was not scored')}."
        held = self.fits[attribute][0].prototypes
        absent = [name for name in prototypes if name not in held]
        return f"{', '.join(absent)} was not scored on {words}." if absent else ""

    def contrast(self, attribute: str, weights: Mapping[str, float]) -> Estimate:
        """Return the weighted sum of the means of prototypes, such as a difference."""
        design, _, infer, place = self.fits[attribute]
        row = np.zeros((1, design.fixed.shape[1]))
        for prototype, weight in weights.items():
            row[0, design.prototypes.index(prototype)] = weight
        found = infer.estimate(row)
        error, df = found.std_error[place, 0], found.df[place, 0]
        if not self.has_batches(attribute):
            error, df = widened(error, df, self.spread.variance(attribute, weights), self.spread.df)
        return Estimate(float(found.estimate[place, 0]), float(error), float(df))

    def has_batches(self, attribute: str) -> bool:
        """Return whether the model of an attribute holds batches as a random term."""
        return BATCH in self.fits[attribute][0].terms

    def difference(self, attribute: str, prototype: str, versus: str) -> Estimate:
        """Return prototype minus versus."""
        return self.contrast(attribute, {prototype: 1.0, versus: -1.0})

    def together(self, attribute: str) -> tuple[str, ...]:
        """Return the attributes that share a model with this one."""
        return self.fits[attribute][0].attributes

    def from_one(self, attribute: str, prototype: str) -> pd.DataFrame:
        """Return the differences of all others from `prototype`, adjusted together (Dunnett), attribute by attribute.

        All attributes that share a model with this one.
        """
        design, _, infer, _ = self.fits[attribute]
        of_mean = np.array(
            [[self.spread.variance(name, {each: 1.0}) for each in design.prototypes] for name in design.attributes]
        )
        if self.has_batches(attribute) or not of_mean.any():
            return versus_rows(design, infer, prototype)
        return versus_rows(design, infer, prototype, (of_mean, self.spread.df))

    def scatter(self, attribute: str) -> Scatter:
        """Return how much the scores of an attribute scatter in this panel."""
        design, fit, _, _ = self.fits[attribute]
        variances = variance_rows(design, fit)
        return own_scatter(variances.loc[variances["attribute"] == attribute])[0]

    def prototypes(self, attribute: str) -> tuple[str, ...]:
        """Return the prototypes scored on an attribute."""
        return self.fits[attribute][0].prototypes

    def people(self, attribute: str, prototypes: Iterable[str]) -> tuple[int, int]:
        """Return how many assessors scored all these prototypes, and how often each (the median)."""
        wanted = list(prototypes)
        if attribute not in self.fits:
            return 0, 0
        counts = self.counts.xs(attribute)[wanted].dropna()
        return len(counts), int(np.median(counts.to_numpy())) if len(counts) else 0

    def scores_each(self, attribute: str, prototypes: Iterable[str]) -> str:
        """Return how often each of these people scored each of these prototypes: `3 scores`, or `2 to 3 scores`."""
        counts = self.counts.xs(attribute)[list(prototypes)].dropna().to_numpy()
        if not counts.size:
            return ""
        low, high = int(counts.min()), int(counts.max())
        return counted(high, "score") if low == high else f"{low} to {high} scores"


@kept
def _swaps_over_prototypes(study: Study, differences: Differences | None = None) -> pd.DataFrame:
    try:
        model = model_of(study, prototype_level(study, differences))
    except ModelError:
        return pd.DataFrame({"attribute": [], "swap": []})
    return swap_effects(model)


def _panel_numbers(study: Study, fitted: PanelFit) -> PanelNumbers:
    """Return the fits and counts, attribute by attribute."""
    scores = fitted.used.frame
    found: dict[str, tuple[PanelDesign, MixedFit, Inference, int]] = {}
    for design, fit in fitted.fits:
        infer = inference(fit)
        found |= {name: (design, fit, infer, place) for place, name in enumerate(design.attributes)}
    counts = scores.pivot_table(index=["attribute", "assessor"], columns="prototype", values="score", aggfunc="count")
    spread = batch_spread(study, fitted.confounds)
    return PanelNumbers(found, dict(fitted.left_out), counts.replace(0, np.nan), spread, study.attribute_words)


# What would it take to show a claim that is not shown: how many people, how many replicates?


_POWER = 0.8
_MOST_ASSESSORS = 60
_CHANCE = f"with a chance of {100 * _POWER:.0f} %"


def assessors_for_difference(materials: Materials, attribute: str, size: float, *, all_others: bool = False) -> str:
    """Return how many assessors find a true difference of this size, by the scatter of this panel."""
    numbers = materials.panel
    prototypes = numbers.prototypes(attribute)
    people, replicates = numbers.people(attribute, prototypes)
    replicates = max(replicates, 1)
    many = tuple(range(4, _MOST_ASSESSORS + 1))
    sizes = panel_sizes(
        abs(size),
        len(prototypes),
        numbers.scatter(attribute),
        assessors=many,
        replicates=(replicates,),
        power=_POWER,
        with_swap=1,
    )
    comparison = WITH_BENCHMARK if all_others else ALONE
    needed = int(sizes.needed.loc[sizes.needed["comparison"] == comparison, "assessors"].iloc[0])
    return _assessors(needed, replicates, f"a true difference of {materials.value(attribute, abs(size))}", people)


def assessors_for_estimate(
    materials: Materials, found: Estimate, people: int, limit: float, rule: str = "beyond"
) -> str:
    """Return how many assessors show what the rule asks for, if the estimate of these people is the truth.

    `beyond`: that it lies beyond a limit. `equality` within the limit, or `not worse` by it (than 0, below which is
    worse): if there is no difference; where that asks for no more people than there were, if it is as was found.
    """
    size = abs(found.estimate - limit) if rule == "beyond" else limit

    def chance(n: int, true: float = 0.0) -> float:
        error, df = _with_people(found, people, n)
        if rule == "equality":
            return float(equivalence_power(size, error, df, true))
        level = (1 + LEVEL) / 2 if rule == "beyond" else LEVEL
        return float(detection_power(size + true, error, df, float(stdtrit(df, level)))) if size + true > 0 else 0.0

    needed, if_so = _first(chance), "if there is no difference"
    if 0 < needed <= people and rule != "beyond":
        needed, if_so = _first(lambda n: chance(n, found.estimate)), "if the difference is what was found"
    words = {
        "beyond": f"a mean {materials.value('', size)} beyond {format_typed(limit)}",
        "equality": f"equality within {format_typed(limit)}, {if_so},",
        "not worse": f"not worse by {format_typed(limit)}, {if_so},",
    }[rule]
    return _assessors(needed, 0, words, people)


def people_for_share(
    share: float, bar: float, *, preferred: bool = False, do: str = "agree", did: str = "agreed"
) -> str:
    """Return how many people show a share who `do` (or prefer it) above a bar, if the observed share is the truth."""
    if share <= bar:
        how = "half preferred it." if preferred else f"{typed_share(bar)} {did}. Change the formula, or the sentence."
        return f"More people alone will not do: not more than {how}"
    if share >= 1:
        n = math.ceil(math.log(ALPHA) / math.log(bar))
        return f"About {n} people, if all of them {'prefer it' if preferred else do}."
    if preferred:
        words = f"a preference, if {cut_share(share)} of all people have it"
        return _people(lambda: share_numbers(share), words)
    words = f"more than {typed_share(bar)}, if {cut_share(share)} of all users {do}"
    return _people(lambda: share_numbers(share, bar), words)


def people_for_parity(margin: float, *, one_sided: bool = False) -> str:
    """Return how many votes show parity (or 'unsurpassed') within a margin of shares, if there is no preference."""
    words = "unsurpassed" if one_sided else "parity"
    words += f" within {format_typed(round(100 * margin, 9))} points, if nobody's taste leans"
    return _people(lambda: parity_numbers(margin, one_sided=one_sided), words)


def _people(find: Callable[[], int], words: str) -> str:
    try:
        n = find()
    except ModelError:
        return "More people than can be asked: the share lies too close to the bar."
    return f"About {n} people: that many show {words}, {_CHANCE}."


def _assessors(needed: int, replicates: int, words: str, people: int) -> str:
    """Return how many are needed in words; more than there were, who did not show it."""
    again = f" with {replicates} replicate{'' if replicates == 1 else 's'}" if replicates else ""
    if needed <= people:
        most = people if needed else max(people, _MOST_ASSESSORS)
        return f"More than {most} assessors{again} would be needed to show {words} {_CHANCE}."
    return f"About {needed} assessors{again}: that many show {words} {_CHANCE}."


def _with_people(found: Estimate, people: int, n: int) -> tuple[float, float]:
    """Return standard error and degrees of freedom with n people in place of those asked."""
    return found.std_error * math.sqrt(people / n), max(found.df * (n - 1) / max(people - 1, 1), 1.0)


def _first(chance: Callable[[int], float]) -> int:
    tried = np.arange(3, _MOST_ASSESSORS + 1)
    return next((int(n) for n in tried if chance(int(n)) >= _POWER), 0)


# How many people agreed with a sentence about a prototype? Each counts once; who does not know stays in the base.


_LEAST_AGREED = 4  # of 5: agree, agree strongly


@dataclass(frozen=True, slots=True)
class Counted:
    """How many of how many agreed; `dont_know` of them do not know, `unread` answers could not be read.

    `served` people were given the sample in those sittings, 0 where no servings are recorded.
    """

    agreed: int
    base: int
    dont_know: int
    unread: int
    repeated: int
    served: int
    sessions: tuple[str, ...]


def _count_agreed(study: Study, answers: pd.DataFrame, prototype: str, question: str) -> Counted:
    """Count the `answers` to one agreement question; each person once, the last answer counts."""
    own = answers.loc[(answers["question"] == question) & (answers["prototype"] == prototype)]
    last = own.drop_duplicates("assessor", keep="last")
    values, unknown, strange = answer_points(last["answer"], *ANSWER_ENDS["agreement"], allowed=True)
    agreed, unread = int((values >= _LEAST_AGREED).sum()), int(strange.sum())
    sessions = tuple(str(name) for name in last["session"].unique())
    servings = study.table("servings")
    given = servings.loc[(servings["prototype"] == prototype) & servings["session"].isin(sessions), "assessor"]
    served = int(given.nunique())
    return Counted(agreed, len(last), int(unknown.sum()), unread, len(own) - len(last), served, sessions)
