"""Does each assessor separate the prototypes, repeat, agree with the others, use the scale like them?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from panel.errors import ModelError
from panel.models.assessors.check_tables import assessor_rows, mean_rows, panel_rows, people_rows
from panel.models.assessors.duplicates import duplicate_distances
from panel.models.assessors.leave_one_out import refitted_tests
from panel.models.assessors.panel_numbers import FEWEST_ASSESSORS, PanelNumbers, panel_numbers
from panel.models.assessors.patterns import find_patterns, judgements, qualities_of
from panel.models.prototypes.differences import LEVEL, fit_panel
from panel.study.scores_used import scores_used
from panel.study.study import Study


@dataclass(frozen=True, eq=False, slots=True)
class PanelCheck:
    """How each assessor works, beside the others; all frames tidy and unrounded.

    Parameters
    ----------
    assessors
        One row per assessor and attribute. Separates: `statistic df df_error p_value` of the person's own table.
        Repeats: `repeat_sd`, its `repeat_ratio` to the others', `k` to the whole panel's. Agrees, where `judged`:
        `correlation slope ci_low ci_high` on the others' means, `slope_expected` of somebody who feels what they
        feel. `interaction_share` of all that is seen differently, `level` less the panel's and `h` in standard
        deviations of levels, `drift` per session. `*_p_adjusted` by Holm over persons and attributes.
    panel
        One row per attribute: `statistic df df_error p_value p_adjusted differ` of the panel's model, `reliability`
        (1 - 1/F), `repeatability` and `reproducibility` as standard deviations, `interaction_*`, intraclass
        correlations of the means, `n_separating` of the `n_repeated` of `n_assessors` who scored some prototype twice,
        limits of h and k, `reversal_noticed`: about how likely a scale used backwards would have been noticed.
    people
        One row per assessor: `judgement` (none, look again, retrain), `scale` with its interval, `repeat_ratio`,
        `level_share` of the scale, `n_judged` of `n_attributes`; `n_repeated` of these by the person;
        `n_separated` of the `n_tested` that were judged and repeated. What needs repeats is NaN where there are none.
    patterns
        What was found: `assessor pattern attribute quality estimate ci_low ci_high p_adjusted action`.
    means
        `assessor attribute prototype estimate others`: the person's mean and the others', less their average over the
        prototypes that both scored.
    without
        `attribute assessor statistic df df_error p_value`: the panel's test with everybody (empty) and without each.
    duplicates
        `assessor attribute n_pairs distance others_distance ratio`.
    """

    assessors: pd.DataFrame
    panel: pd.DataFrame
    people: pd.DataFrame
    patterns: pd.DataFrame
    means: pd.DataFrame
    without: pd.DataFrame
    duplicates: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def check_panel(study: Study, *, level: float = LEVEL) -> PanelCheck:
    """Check every assessor of `study` on every attribute.

    Parameters
    ----------
    level
        Level of intervals; agreement is judged where the other assessors tell the prototypes apart at 1 - `level`.

    Raises
    ------
    ModelError
        If there are no scores, fewer than two prototypes or assessors, or no attribute can be compared.
    """
    scores = scores_used(study).frame
    _ask(scores)
    fits, left_out = fit_panel(study, scores)
    if not fits:
        raise ModelError(
            f"No attribute can be checked: {'; '.join(f'{name} ({why})' for name, why in left_out)}. "
            "Check the scores on the Study page."
        )
    scores = scores.loc[~scores["attribute"].isin([name for name, _ in left_out])]
    without = refitted_tests(fits)
    numbers = panel_numbers(study, scores, without, level)
    assessors = assessor_rows(numbers, level)
    people = people_rows(numbers, _scale_lengths(study, scores), level)
    words = {name: study.attribute_words(name) for name in numbers.attributes}
    patterns = find_patterns(assessors, people, qualities_of(words))
    order = {name: place for place, name in enumerate(numbers.attributes)}
    return PanelCheck(
        assessors=assessors,
        panel=panel_rows(numbers, fits, level),
        people=people.assign(judgement=judgements(people, patterns)),
        patterns=patterns,
        means=mean_rows(numbers),
        without=without.sort_values("attribute", key=lambda n: n.map(order), kind="stable", ignore_index=True),
        duplicates=duplicate_distances(study, scores),
        level=level,
        method=_method(numbers, level),
        notes=tuple(_notes(numbers, left_out)),
    )


def _ask(scores: pd.DataFrame) -> None:
    """Refuse what cannot be answered at all."""
    if scores.empty:
        raise ModelError("The study has no scores. Import a table of scores on the Study page.")
    if scores["assessor"].nunique() < 2:
        raise ModelError(
            "All scores come from one assessor, so there is no panel to check this person against. "
            "Ask at least two more assessors."
        )
    if scores["prototype"].nunique() < 2:
        raise ModelError("Only one prototype was scored, so nobody can tell prototypes apart. Score a second one.")


def _scale_lengths(study: Study, scores: pd.DataFrame) -> dict[str, float]:
    """Return how long the scale of each attribute is; the range of its scores where the study does not say."""
    used = scores.groupby("attribute")["score"].agg(lambda values: values.max() - values.min())
    lengths = {}
    for name, length in used.items():
        ends = study.scale(str(name))
        lengths[str(name)] = ends[1] - ends[0] if ends is not None else float(length) or 1.0
    return lengths


def _method(numbers: PanelNumbers, level: float) -> str:
    session = " with session taken out" if len(numbers.sessions) > 1 else ""
    return (
        f"Each assessor's own analysis of variance{session}; own scatter against the other assessors' (F, the test "
        "of Cochran and of ASTM E691); correlation with, and slope on, the mean of the other assessors. Agreement is "
        f"judged only where the others, without this person, tell the prototypes apart at {100 * (1 - level):g} %, "
        "against the slope of somebody who feels what they feel, given how weakly the attribute differs; adjusted "
        "by Holm for the number of persons and attributes. How differently honest people see the prototypes is "
        "estimated for each attribute and drawn towards what the attributes have in common (Smyth 2004)."
    )


def _notes(numbers: PanelNumbers, left_out: list[tuple[str, str]]) -> Iterator[str]:
    for name, why in left_out:
        yield f"{name} is not checked: {why}."
    if len(numbers.assessors) < FEWEST_ASSESSORS:
        yield "With two assessors agreement is not judged: nobody can say which of them departs from the other."
    yield from _notes_on_repeats(numbers)
    if numbers.own.means.shape[2] < 3:
        yield "With two prototypes agreement is not judged: two points always lie on a line."
    unjudged = [name for name, row in zip(numbers.attributes, numbers.judged, strict=True) if not row.any()]
    if unjudged and len(numbers.assessors) >= FEWEST_ASSESSORS:
        yield f"Agreement is not judged on {', '.join(unjudged)}: the prototypes are not told apart there."


def _notes_on_repeats(numbers: PanelNumbers) -> Iterator[str]:
    """Say of whom it cannot be told whether they separate the prototypes alone, and repeat."""
    scored = (numbers.own.counts.sum(axis=2) > 0).any(axis=0)
    once = scored & ~(numbers.own.df_error > 0).any(axis=0)
    if not once.any():
        return
    if once.sum() == scored.sum():
        yield (
            "Nobody scored a prototype twice: whether a person separates the prototypes alone, and repeats, can't be "
            "told with one repeat, and a reversed scale cannot be told from chance."
        )
        return
    names = ", ".join(name for name, alone in zip(numbers.assessors, once, strict=True) if alone)
    yield (
        f"{names} scored no prototype twice: whether they separate the prototypes alone, and repeat, can't be told "
        "with one repeat."
    )
