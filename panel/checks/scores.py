"""May the scores be trusted as they were entered: possible, complete, given with care, in the right place and time?"""

from __future__ import annotations

import numpy as np

from panel.checks.exchanged_profiles import exchanged_profiles
from panel.checks.finding import Finding
from panel.checks.score_cells import score_cells
from panel.checks.score_entries import blank, cannot_judge, given_twice, outside_scale
from panel.checks.score_gaps import score_gaps
from panel.checks.score_patterns import few_steps, piled_at_end, straight_lines
from panel.checks.score_times import score_times
from panel.checks.serving_order import serving_order
from panel.checks.sound_study import sound_study
from panel.checks.unread import unread_rows
from panel.study.study import Study


def check_scores(study: Study) -> list[Finding]:
    """Return what is peculiar about the scores; nothing where there are none (`check_structure` reports that).

    Scores that a written correction changed or set aside are looked at as they are after it.
    """
    sound = sound_study(study)
    cells = score_cells(sound)
    if not np.isfinite(cells.score).any():
        return []
    return [
        *outside_scale(cells),
        *blank(cells, unread_rows(study).get(("scores", "score"), np.empty(0, dtype=int)) + 2),
        *cannot_judge(cells),
        *given_twice(cells),
        *straight_lines(cells),
        *score_gaps(sound, cells),
        *serving_order(sound, cells),
        *score_times(sound, cells),
        *few_steps(cells),
        *piled_at_end(cells),
        *exchanged_profiles(cells),
    ]
