"""Command about the choice: hold the prototypes against the target profile and the gates."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, study_argument
from panel.errors import ModelError, StudyError

if TYPE_CHECKING:
    from panel.models.consumers.segments import Segments
    from panel.study.study import Study


@click.command()
@study_argument
@click.option("--weight", multiple=True, metavar="ATTRIBUTE=NUMBER", help="Weight of an attribute; may be repeated.")
@click.option("--seed", type=int, default=1, help="Seed of the draws.")
@json_option
def decide(study: Path, weight: tuple[str, ...], seed: int, as_json: bool) -> None:
    """Hold the prototypes against the target profile: chances, ranking, gates, and who cannot be separated."""
    import numpy as np

    from panel.models.decision.decide import decide as hold_against_targets

    opened = open_path(study)
    rng = np.random.default_rng(seed)
    result = hold_against_targets(opened, rng, weights=_weights(opened, weight), segments=_segments(opened, seed))
    if as_json:
        frames = ("ranking", "unmet", "gates", "pairs", "front", "windows", "divided")
        content: dict[str, Any] = {name: getattr(result, name) for name in frames}
        content |= {"weight_changes": result.weights.changes, "weight_shares": result.weights.shares}
        content |= {"choice": result.choice, "contenders": result.contenders, "benchmark": result.benchmark}
        content |= {"decisions": opened.table("decisions"), "level": result.level, "seed": seed}
        print_json(content | {"method": result.method, "notes": result.notes})
        return
    from panel.views.decision.decision_tables import gates_table, pairs_decision_table, ranking_table, windows_table
    from panel.views.decision.decision_words import (
        decision_headline,
        what_the_decision_cannot_show,
        what_the_decision_shows,
    )
    from panel.views.drawing.naming import naming

    names = naming(opened)
    print_lines(decision_headline(result), "", *what_the_decision_shows(result, names), "")
    print_table(ranking_table(result, names))
    if len(result.gates):
        print_table(gates_table(result))
    if len(result.unmet):
        print_table(windows_table(result.unmet, names, result.level))
    print_table(pairs_decision_table(result))
    print_lines(result.method, f"Seed {seed}.", *result.notes, *what_the_decision_cannot_show())


def _weights(study: Study, typed: tuple[str, ...]) -> dict[str, float] | None:
    """Return the weights typed in over those of the study, None if none were."""
    if not typed:
        return None
    from panel.models.decision.profile import target_profile
    from panel.study.typed_number import typed_number

    wanted = target_profile(study).wanted
    weights = dict(zip(wanted["attribute"].astype(str), wanted["weight"].astype(float), strict=True))
    for text in typed:
        name, sign, number = text.partition("=")
        value = typed_number(number, f"The weight of {name.strip()}") if sign else None
        if value is None:
            raise StudyError(f"The weight {text!r} is not understood. Write it like AF_GREASE=2.")
        weights[name.strip()] = value
    return weights


def _segments(study: Study, seed: int) -> Segments | None:
    """Return the groups of consumers, None where they cannot be looked for."""
    import numpy as np

    from panel.models.consumers.segments import find_segments

    try:
        return find_segments(study, np.random.default_rng(seed))
    except ModelError:
        return None
