"""How far can differences be traced to the formulas? Rung by rung, and no further than the data carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.emollients.descriptor_links import FEWEST_FOR_LINKS, Links, find_links
from panel.models.emollients.descriptor_prediction import (
    FEWEST_FOR_PREDICTION,
    ceilings,
    predict_from_descriptors,
)
from panel.models.emollients.descriptors import BlendDescriptors, find_descriptors
from panel.models.emollients.link_columns import LinkColumns, link_columns
from panel.models.emollients.mixture_link import mixture_links, why_no_mixture
from panel.models.emollients.prediction_model import PredictionModel, model_of, swap_effects
from panel.models.emollients.prototype_level import PrototypeLevel, prototype_level
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.emollients.verdicts import attribute_verdicts
from panel.models.prototypes.differences import Differences, find_differences
from panel.stats.comparing.multiplicity import benjamini_hochberg
from panel.study.study import Study

DRAWS = 1000
RUNGS = ("moves", "swaps", "prototypes", "aliases", "descriptors", "prediction", "mixture", "ceiling")


@dataclass(frozen=True, eq=False, slots=True)
class Rung:
    """One rung: its name (one of `RUNGS`), its numbers, and why the ladder stops below it (empty where it does not)."""

    name: str
    numbers: pd.DataFrame
    stopped: str


@dataclass(frozen=True, eq=False, slots=True)
class Ladder:
    """What the data say about the formulas, rung by rung.

    Parameters
    ----------
    rungs
        Moves, swaps (assessors as the units), swaps (prototypes as the units), aliases, one descriptor at a time, all
        descriptors at once, mixture model, reliability ceiling. A rung that cannot be climbed has no numbers.
    verdicts
        `attribute verdict driver swaps doubtful running`; see `panel.models.emollients.verdicts`.
    links
        What one descriptor at a time shows, or None.
    copies
        Descriptors left out because they are copies of another in these blends.
    level, method, notes
        Confidence level, how it was done, and what to know before trusting it.
    """

    rungs: tuple[Rung, ...]
    verdicts: pd.DataFrame
    links: Links | None
    copies: dict[str, str]
    level: float
    method: str
    notes: tuple[str, ...]

    def rung(self, name: str) -> Rung:
        """Return the rung called `name`; KeyError if there is none."""
        for rung in self.rungs:
            if rung.name == name:
                return rung
        raise KeyError(name)

    @property
    def prediction(self) -> pd.DataFrame:
        """The numbers of the rung that predicts from all descriptors, without rows where it was not climbed."""
        return self.rung("prediction").numbers


def find_ladder(
    study: Study,
    *,
    rng: np.random.Generator,
    draws: int = DRAWS,
    level: float = 0.95,
    differences: Differences | None = None,
    traced: TracedSwaps | None = None,
) -> Ladder:
    """Climb the ladder as far as the data of `study` carry.

    Parameters
    ----------
    rng
        Source of the orders of the prototypes that the predictions are held against.
    draws
        How many such orders; all of them where they are no more than that.
    differences, traced
        Answers that are at hand already.

    Raises
    ------
    ModelError
        If there are no scores or fewer than two different blends of one base.
    """
    told = find_differences(study) if differences is None else differences
    swaps = trace_swaps(study, level) if traced is None else traced
    blends = prototype_level(study, told)
    descriptors = find_descriptors(study)
    columns = link_columns(blends, descriptors)
    model, why_no_model = _model(study, blends)
    made = None if model is None else _over_prototypes(model, level)
    if made is not None and made.empty:
        made, why_no_model = None, "the blends hold no swap whose effect could be told apart"
    links, links_rung = _links(blends, columns, level)
    rungs = (
        Rung("moves", swaps.moves, ""),
        Rung(
            "swaps", swaps.swaps, "" if len(swaps.swaps) else "no two prototypes differ by exactly one emollient swap"
        ),
        Rung("prototypes", pd.DataFrame() if made is None else made, why_no_model),
        Rung("aliases", swaps.aliases, ""),
        links_rung,
        _prediction(blends, columns, model, draws, rng),
        _mixture(blends),
        Rung("ceiling", ceilings(blends).rename("ceiling").rename_axis("attribute").reset_index(), ""),
    )
    return Ladder(
        rungs=rungs,
        verdicts=attribute_verdicts(blends, swaps.swaps, made, links),
        links=links,
        copies=columns.copies,
        level=level,
        method=_method(swaps, draws),
        notes=(*blends.notes, *_notes(blends, columns, descriptors), *swaps.notes),
    )


def _model(study: Study, blends: PrototypeLevel) -> tuple[PredictionModel | None, str]:
    try:
        return model_of(study, blends), ""
    except ModelError as error:
        return None, str(error).rstrip(".")


def _over_prototypes(model: PredictionModel, level: float) -> pd.DataFrame:
    effects = swap_effects(model, level)
    return effects.assign(p_adjusted=benjamini_hochberg(effects["p_value"].to_numpy()))


def _links(blends: PrototypeLevel, columns: LinkColumns, level: float) -> tuple[Links | None, Rung]:
    n = len(blends.means)
    why = ""
    if n < FEWEST_FOR_LINKS:
        why = f"{n} blends are too few to set an attribute against a property; at least {FEWEST_FOR_LINKS} are needed"
    elif not columns.is_descriptor.any():
        why = "no property of these blends is known well enough and differs between them"
    if why:
        return None, Rung("descriptors", pd.DataFrame(), why)
    links = find_links(blends, columns, level)
    return links, Rung("descriptors", links.links, "")


def _prediction(
    blends: PrototypeLevel, columns: LinkColumns, model: PredictionModel | None, draws: int, rng: np.random.Generator
) -> Rung:
    n = len(blends.means)
    why = ""
    if n < FEWEST_FOR_PREDICTION:
        why = (
            f"{n} blends are too few to predict left-out ones from several properties; at least "
            f"{FEWEST_FOR_PREDICTION} are needed"
        )
    elif not columns.is_descriptor.any():
        why = "no property of these blends is known well enough and differs between them"
    if why:
        return Rung("prediction", pd.DataFrame(), why)
    return Rung("prediction", predict_from_descriptors(blends, columns, model, draws, rng), "")


def _mixture(blends: PrototypeLevel) -> Rung:
    why = why_no_mixture(blends)
    return Rung("mixture", pd.DataFrame() if why else mixture_links(blends), why)


def _method(swaps: TracedSwaps, draws: int) -> str:
    return (
        f"{swaps.method} With prototypes as the units: least squares of the panel means on the swaps, p-values "
        "adjusted by Benjamini and Hochberg over attributes x swaps. One descriptor at a time: Pearson's correlation "
        "of the panel means over the blends, p-values adjusted by Holm over attributes x descriptors. A property is "
        "named only if its direction was said beforehand; it stands out over as many rows as the blends differ in "
        "independent ways and one more, adjusted by Holm over all pairs said beforehand; no other property or "
        "emollient explains the attribute as well (Williams' test); it moves with no other; and its slope keeps its "
        "sign without any one blend. All descriptors at once: partial least squares with one or two components, "
        f"standardised anew without the left-out prototype; its Q2 is held against {draws} other orders of the "
        "prototypes. Reliability ceiling: 1 - 1/F of the prototypes."
    )


def _notes(blends: PrototypeLevel, columns: LinkColumns, descriptors: BlendDescriptors) -> list[str]:
    notes = []
    if columns.copies:
        told = "; ".join(f"{copy} is {first}" for copy, first in columns.copies.items())
        notes.append(f"The same property in these blends, so counted once: {told}.")
    weak = [name for name in descriptors.wide.columns if name not in descriptors.sound]
    if weak:
        notes.append(f"Known for too little of the mass to be set against attributes: {', '.join(weak)}.")
    if not blends.same_total:
        notes.append(
            "The emollient total differs between the prototypes; richness and kind of emollient change together."
        )
    return notes
