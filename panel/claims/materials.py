"""What is computed once for all claims of a study: the fitted panel, the traced swaps, the words of the study."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from panel.checks.confounds import Confounds, find_confounds
from panel.claims.answers_counted import Counted, count_agreed
from panel.claims.claim import Claim
from panel.claims.names import Names, names_of
from panel.claims.panel_numbers import PanelNumbers, panel_numbers
from panel.claims.said import counted, listed, number
from panel.errors import ModelError
from panel.models.consumers.answers import AnswerGrid, Kind, answer_grid
from panel.models.emollients.prediction_model import model_of, prototype_level, swap_effects
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.prototypes.differences import Differences, find_differences
from panel.study.knowledge import claim_kinds
from panel.study.scores_used import scores_used
from panel.study.study import Study

PANEL_KINDS = frozenset(
    (
        *("perceived_attribute", "absolute_negative", "superiority", "parity", "unsurpassed"),
        *("ranking", "duration", "ingredient_attribution"),
    )
)
MINUTES_SLACK = 1e-9
USUAL_PANEL_BAR = 0.20
"""Share of the scale that counts as slight; a setting of ours, no source."""


@dataclass(frozen=True, eq=False)
class Materials:
    """The study and everything about it that several claims rest on; worked out when first asked for.

    `differences` and `traced` are answers that are at hand already, of the study as it stands.
    """

    study: Study
    claims: tuple[Claim, ...]
    level: float
    differences: Differences | None = None
    traced: TracedSwaps | None = None

    @property
    def alpha(self) -> float:
        """Chance of supporting a false claim that is put up with."""
        return 1 - self.level

    @cached_property
    def scores(self) -> pd.DataFrame:
        """The scores an analysis uses."""
        return scores_used(self.study).frame

    @cached_property
    def panel(self) -> PanelNumbers:
        """The panel model of every attribute that a claim is about."""
        wanted = {claim.attribute for claim in self.claims if claim.kind in PANEL_KINDS and claim.attribute}
        return panel_numbers(self.study, self.scores, wanted, self.confounds)

    @cached_property
    def confounds(self) -> Confounds:
        """What prototypes and swaps cannot be told from."""
        return find_confounds(self.study, self.scores)

    def from_one(self, attribute: str, prototype: str) -> pd.DataFrame:
        """Return the differences of all others from `prototype` on an attribute, adjusted together (Dunnett)."""
        key = (self.panel.together(attribute), prototype)
        if key not in self._from_one:
            self._from_one[key] = self.panel.from_one(attribute, prototype, self.level)
        rows = self._from_one[key]
        return rows.loc[rows["attribute"] == attribute].reset_index(drop=True)

    @cached_property
    def _from_one(self) -> dict[tuple[tuple[str, ...], str], pd.DataFrame]:
        return {}

    def agreed(self, prototype: str, question: str) -> Counted:
        """Return how many agreed with the sentence `question` about a prototype."""
        key = (prototype, question)
        if key not in self._agreed:
            self._agreed[key] = count_agreed(self.study, prototype, question)
        return self._agreed[key]

    @cached_property
    def _agreed(self) -> dict[tuple[str, str], Counted]:
        return {}

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
        if self.traced is not None and self.traced.level == self.level:
            return self.traced
        try:
            return trace_swaps(self.study, self.level)
        except ModelError as error:
            return str(error)

    @cached_property
    def swaps_over_prototypes(self) -> pd.DataFrame:
        """Swap effects with prototypes as the units; without rows where there are too few."""
        try:
            model = model_of(self.study, prototype_level(self.study, self.differences))
        except ModelError:
            return pd.DataFrame({"attribute": [], "swap": []})
        return swap_effects(model, self.level)

    @cached_property
    def names(self) -> Names:
        """What a sentence may name of the study."""
        return names_of(self.study)

    @cached_property
    def kinds(self) -> pd.DataFrame:
        """The kinds of claim, index kind."""
        return claim_kinds().set_index("kind")

    def setting(self, kind: str, name: str) -> float:
        """Return a setting of a kind of claim, NaN if it has none."""
        return float(self.kinds[name].loc[kind])

    def prototype(self, prototype: str) -> str:
        """Words for a prototype."""
        table = self.study.table("prototypes")
        names = table.loc[table["prototype"] == prototype, "name"]
        return f"{prototype} ({names.iloc[0]})" if len(names) and names.iloc[0] else prototype

    def minutes(self, attribute: str) -> float:
        """Return when an attribute is judged, in minutes after the end of rubbing; NaN if not stated."""
        table = self.study.table("attributes")
        found = table.loc[table["attribute"] == attribute, "minutes"]
        return float(found.iloc[0]) if len(found) else float("nan")

    def role(self, prototype: str) -> str:
        """Return the role of a prototype; empty if it is not listed."""
        table = self.study.table("prototypes")
        found = table.loc[table["prototype"] == prototype, "role"]
        return str(found.iloc[0]) if len(found) else ""

    def when(self, attribute: str) -> str:
        """Return the moment of judging in words, with a comma before it; empty if not stated."""
        minutes = self.minutes(attribute)
        return f", {number(minutes)} min after rubbing in" if minutes > 0 else ""

    def margin(self, claim: Claim) -> float:
        """Return the margin of the claim, else that of the study, else NaN."""
        return claim.margin if claim.margin > 0 else self.margin_of_study

    @property
    def margin_of_study(self) -> float:
        """The smallest difference that matters, as the study states it; NaN if it does not."""
        stated = self.study.facts.get("margin")
        return float(stated) if isinstance(stated, int | float) else float("nan")

    def panel_missing(self, claim: Claim, *others: str) -> list[str]:
        """Return what keeps the panel from saying something about the claim's prototype and these others."""
        found = [self.panel.why_not(claim.attribute, (claim.prototype, *others))]
        for other in others:
            rows = self.confounds.untold(claim.attribute, claim.prototype, other)
            found += [f"{row['because']}. {row['advice']}" for row in rows.to_dict("records")]
        judged = self.minutes(claim.attribute)
        if claim.minutes > judged + MINUTES_SLACK or claim.minutes < judged - MINUTES_SLACK:
            found.append(
                f"The sentence is about {number(claim.minutes)} min, and {claim.attribute} was judged at "
                f"{number(judged)} min. Judge it at the time the sentence speaks of."
            )
        return [words for words in found if words]

    def who_scored(self, claim: Claim, *others: str) -> str:
        """Return how many assessors scored the claim's prototype and these others, and how often."""
        names = (claim.prototype, *others)
        people, _ = self.panel.people(claim.attribute, names)
        return f"{counted(people, 'assessor')}, {self.panel.scores_each(claim.attribute, names)} each"

    def in_these_batches(self, claim: Claim) -> bool:
        """Return whether the panel speaks for the batches that were scored alone: one of each, and no spread known."""
        names = [name for name in (claim.prototype, claim.versus, *claim.competitors) if name]
        return self.confounds.one_batch(*names) and np.isnan(self.panel.spread.of(claim.attribute))

    def batch_words(self, claim: Claim) -> str:
        """Return how the spread between batches enters the claim's standard error; empty where it does not."""
        held = claim.attribute in self.panel.fits and self.panel.has_batches(claim.attribute)
        return "" if held else self.panel.spread.words(claim.attribute)

    def one_batch(self, claim: Claim) -> str:
        """Return that one batch of each prototype was scored, where that is so; empty where it is not, or not known."""
        own = self.scores.loc[(self.scores["attribute"] == claim.attribute) & (self.scores["batch"] != "")]
        names = [name for name in (claim.prototype, claim.versus) if name]
        batches = [list(own.loc[own["prototype"] == name, "batch"].unique()) for name in names]
        if not names or any(len(each) != 1 for each in batches):
            return ""
        of_what = f"each prototype ({listed([each[0] for each in batches])})" if len(names) > 1 else f"{names[0]}"
        return (
            f"One batch of {of_what} was scored: what the batch did cannot be told from what the formula did, and "
            "another batch may differ."
        )

    def few(self, claim: Claim, assessors: int, replicates: int) -> list[str]:
        """Return what the panel lacks in people and replicates for this kind of claim."""
        least, again = (self.setting(claim.kind, name) for name in ("least_assessors", "least_replicates"))
        found = []
        if assessors < least:
            found.append(f"{assessors} assessors scored it; a claim of this kind needs {number(least)} or more.")
        if replicates < again:
            found.append(
                f"Each assessor scored it {counted(replicates, 'time')}; a claim of this kind needs {number(again)} "
                "or more."
            )
        return found
