"""The differences looked at in other ways, for the command `compare --beside`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from panel.models.prototypes.differences import Differences
    from panel.study.study import Study
    from panel.views.drawing.naming import Naming

SEED = 1  # of the simulated reference behind the tests of what the model assumes


def beside_as_data(study: Study, result: Differences) -> dict[str, Any]:
    """Return the frames of the ranks, the scaling model, the smallest differences and the assumptions."""
    import numpy as np

    from panel.models.prototypes.assumptions import look_at_assumptions
    from panel.models.prototypes.rank_sums import compare_ranks
    from panel.models.prototypes.scale_use import find_scale_use
    from panel.models.prototypes.sensitivity import smallest_difference

    assumptions = look_at_assumptions(study, rng=np.random.default_rng(SEED))
    scale_use = find_scale_use(study)
    return {
        "ranks": compare_ranks(study, result).attributes,
        "scale_use": scale_use.attributes,
        "scale_factors": scale_use.factors,
        "smallest_differences": smallest_difference(result).medians,
        "assumptions": assumptions.tests,
        "scale_ends": assumptions.ends,
        "influence": assumptions.influence,
        "seed": SEED,
    }


def beside_in_words(study: Study, result: Differences, names: Naming) -> Iterator[str]:
    """Yield what the other ways of looking say."""
    import numpy as np

    from panel.models.prototypes.assumptions import look_at_assumptions
    from panel.models.prototypes.rank_sums import compare_ranks
    from panel.models.prototypes.scale_use import find_scale_use
    from panel.models.prototypes.sensitivity import smallest_difference
    from panel.views.assessors.scale_use_words import scale_use_headline, what_scale_use_shows
    from panel.views.prototypes.assumption_words import what_the_assumptions_show, what_to_do
    from panel.views.prototypes.rank_words import do_both_agree
    from panel.views.prototypes.sensitivity_tables import what_could_have_been_seen

    yield what_could_have_been_seen(smallest_difference(result), names)
    yield do_both_agree(compare_ranks(study, result), names)
    scale_use = find_scale_use(study)
    yield scale_use_headline(scale_use, names)
    yield from what_scale_use_shows(scale_use, names)
    assumptions = look_at_assumptions(study, rng=np.random.default_rng(SEED))
    yield from what_the_assumptions_show(assumptions, names)
    yield from (f"{kind}: {advice}" for kind, advice in what_to_do(assumptions))
