"""Command about the emollients: trace what they did, and what to make next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, study_argument
from panel.errors import ModelError

if TYPE_CHECKING:
    from panel.models.emollients.next_prototype import NextPrototypes
    from panel.models.prototypes.differences import Differences
    from panel.study.study import Study


@click.command()
@study_argument
@click.option("--seed", type=int, default=1, help="Seed of the permutations.")
@json_option
def trace(study: Path, seed: int, as_json: bool) -> None:
    """Trace the differences back to the emollients, and say what to make next."""
    import numpy as np

    from panel.models.emollients.descriptors import find_descriptors
    from panel.models.emollients.ladder import find_ladder
    from panel.models.emollients.swaps import trace_swaps
    from panel.models.prototypes.differences import find_differences

    opened = open_path(study)
    result, described = trace_swaps(opened), find_descriptors(opened)
    differences = find_differences(opened)
    ladder = find_ladder(opened, rng=np.random.default_rng(seed), differences=differences, traced=result)
    following, why_not = _next(opened, differences)
    if as_json:
        frames = ("aliases", "swaps", "joint", "interactions", "pairs", "unpaired")
        content: dict[str, Any] = {"moves": result.n_moves, "singular_values": result.moves}
        content |= {name: getattr(result, name) for name in frames} | {"descriptors": described.values}
        content |= {"verdicts": ladder.verdicts, "prediction": ladder.prediction, "seed": seed}
        content |= {"next": [] if following is None else following.blends}
        notes = (*result.notes, *described.notes, *ladder.notes, *([why_not] if why_not else []))
        print_json(content | {"method": f"{result.method} {ladder.method}", "notes": notes})
        return
    from panel.views.drawing.naming import naming
    from panel.views.emollients.ladder_words import ladder_headline, verdict_sentences, what_the_ladder_cannot_show
    from panel.views.emollients.next_words import next_headline, proposals_table
    from panel.views.emollients.swap_words import alias_sentences, what_the_swaps_cannot_show, what_the_swaps_show

    names = naming(opened)
    print_lines(*what_the_swaps_show(result, names), "", *alias_sentences(result), "")
    print_lines(ladder_headline(ladder), *verdict_sentences(ladder, names), "")
    if following is None:
        print_lines(why_not)
    else:
        print_lines(next_headline(following))
        print_table(proposals_table(following))
    print_lines(result.method, ladder.method, *result.notes, *described.notes, *ladder.notes)
    print_lines(*what_the_swaps_cannot_show(), *what_the_ladder_cannot_show())


def _next(study: Study, differences: Differences) -> tuple[NextPrototypes | None, str]:
    """Return what to make next, or why nothing can be proposed."""
    from panel.models.emollients.next_prototype import propose_next

    try:
        return propose_next(study, differences=differences), ""
    except ModelError as error:
        return None, f"Nothing is proposed: {error}"
