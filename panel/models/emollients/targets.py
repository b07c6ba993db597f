"""What is wanted of each attribute: the window of the target profile, and the direction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from panel.study.study import Study


@dataclass(frozen=True, slots=True)
class Targets:
    """Target windows by attribute: lowest and highest wanted mean, NaN where there is no limit on that side."""

    limits: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @classmethod
    def none(cls) -> Targets:
        """Return a target profile that wants nothing."""
        return cls()

    def windows(self, attributes: Sequence[str]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the lower and upper ends for these attributes, NaN where nothing is wanted."""
        nothing = (float("nan"), float("nan"))
        ends = np.array([self.limits.get(name, nothing) for name in attributes], dtype=float).reshape(-1, 2)
        return ends[:, 0], ends[:, 1]


def study_targets(study: Study) -> Targets:
    """Return the windows of the study's attributes table; attributes without a limit are left out."""
    attributes = study.table("attributes")
    ends = attributes[["target_low", "target_high"]].to_numpy(dtype=float)
    stated = np.isfinite(ends).any(axis=1)
    names = attributes["attribute"].to_numpy()[stated]
    return Targets(
        {str(name): (float(low), float(high)) for name, (low, high) in zip(names, ends[stated], strict=True)}
    )
