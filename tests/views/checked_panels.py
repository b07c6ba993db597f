"""A checked panel with known truth, and the same with patterns put in by hand, for the tests of words and pictures."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd

from panel.models.assessors.performance import _COLUMNS, PanelCheck, _judgements, check_panel
from panel.study.naming import Naming, naming
from tests.simulated_panels import STRONG, simulated_panel


@cache
def checked() -> tuple[PanelCheck, Naming]:
    """Six people, six prototypes, three replicates; A01 reverses a strong attribute."""
    study = simulated_panel(
        np.random.default_rng(2), assessors=6, prototypes=6, replicates=3, scale={(STRONG, 0): -1.0}
    )
    return check_panel(study), naming(study)


def with_patterns(result: PanelCheck, rows: list[tuple[str, str, str, str]]) -> PanelCheck:
    """Return the result with these patterns (assessor, pattern, attribute, action) in place of its own."""
    full = [(who, pattern, attribute, "", 1.2, 0.7, 1.7, 0.004, action) for who, pattern, attribute, action in rows]
    patterns = pd.DataFrame(full, columns=_COLUMNS).astype(dict(result.patterns.dtypes))
    return replace(
        result, patterns=patterns, people=result.people.assign(judgement=_judgements(result.people, patterns))
    )
