"""What may be said of a difference, from its interval and the margin: does it differ, does it matter?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import stdtrit

MATTERS = "differs and matters"
MAY_MATTER = "differs, may matter"
SMALL = "differs but small"
EQUIVALENT = "equivalent within the margin"
CANNOT_TELL = "cannot tell"
DIFFERS = "differs"  # where no margin was set
EQUIVALENCE_LEVEL = 0.90  # two one-sided tests at 5 % (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657)


def difference_verdicts(differences: pd.DataFrame, margin: float | None) -> pd.DataFrame:
    """Return `differences` with a column `verdict`.

    The simultaneous interval (`ci_low ci_high`) says whether it differs: it matters if the whole interval lies
    beyond the margin, is small if the whole interval lies within it, and may matter if it reaches across. Where
    the interval holds zero it is equivalent if the 90 % interval of that difference alone lies within the margin.
    """
    low, high = differences["ci_low"].to_numpy(float), differences["ci_high"].to_numpy(float)
    apart = (low > 0) | (high < 0)
    if margin is None:
        return differences.assign(verdict=np.where(apart, DIFFERS, CANNOT_TELL))
    estimate = differences["estimate"].to_numpy(float)
    half = stdtrit(differences["df"].to_numpy(float), (1 + EQUIVALENCE_LEVEL) / 2) * differences["std_error"]
    equivalent = (estimate - half > -margin) & (estimate + half < margin)
    beyond = (low > margin) | (high < -margin)
    within = (low > -margin) & (high < margin)
    told = np.where(apart, np.where(beyond, MATTERS, np.where(within, SMALL, MAY_MATTER)), CANNOT_TELL)
    return differences.assign(verdict=np.where(~apart & equivalent, EQUIVALENT, told))
