"""What a reader must know before trusting a comparison of prototypes with a target profile."""

from __future__ import annotations

from panel.models.decision.gate_limits import GateLimits
from panel.models.decision.liking import LikingDraws
from panel.models.decision.panel_draws import PanelDraws
from panel.models.decision.profile import BENCHMARK_LEVELS, Profile


def decision_method(draws: int, level: float, liking: LikingDraws | None) -> str:
    """Return how it was computed, in sentences."""
    people = (
        ""
        if liking is None
        else (
            f" Mean liking ({liking.question}) is adjusted for who rated what; its draws take whole consumers anew, "
            f"{liking.n_consumers} of them."
        )
    )
    return (
        "Means, their standard errors and degrees of freedom are those of the mixed model of each attribute. "
        f"{draws} draws of the true means give the chances: people's level and what they see in a prototype vary as "
        "the model says, tied over the attributes as the assessors' own means are. Each mean gets a desirability, 1 "
        "inside its window, falling in a straight line outside (Derringer and Suich, 1980); the overall desirability "
        f"is their weighted geometric mean.{people} Two prototypes count as told apart by the panel if the "
        f"{100 * level:g} % interval of the difference of their desirabilities, for all pairs at once, leaves out "
        "zero; by consumers, if that of their liking does; overall, only if every kind of evidence there is says the "
        "same. A choice is named only if one prototype is ahead of all others, passes all gates and meets all "
        f"windows at once with a chance of {100 * level:g} % or more."
    )


def decision_notes(
    profile: Profile, drawn: PanelDraws, limits: GateLimits, benchmark: str | None, more: tuple[str, ...]
) -> tuple[str, ...]:
    """Return the notes."""
    notes = list(profile.notes)
    notes += [
        f"{name} has a target window but does not count: {why}. Whether its window is met is not known."
        for name, why in drawn.not_estimated
    ]
    notes += _gaps(drawn)
    notes.append(
        "A chance of meeting a window holds for this panel on these days. A panel's level drifts, and the draws cannot "
        "know that: the difference from the benchmark, judged by the same people on the same days, is stronger "
        "evidence."
    )
    notes += _benchmark(profile, drawn, benchmark)
    if not (limits.limits or limits.free_of or limits.stability_needed):
        notes.append("The study states no gates, so pH, stability, cost and contents were not looked at.")
    notes.append("The ranking rests on one batch of each prototype unless more were made; another batch may differ.")
    return (*notes, *(note for note in more if note))


def _gaps(drawn: PanelDraws) -> list[str]:
    told = []
    for row, attribute in enumerate(drawn.attributes):
        absent = [name for name, df in zip(drawn.prototypes, drawn.df[row], strict=True) if not df > 0]
        if absent:
            told.append(f"{attribute} was not scored for {', '.join(absent)}, which therefore cannot be ranked.")
    return told


def _benchmark(profile: Profile, drawn: PanelDraws, benchmark: str | None) -> list[str]:
    if benchmark is None or benchmark not in drawn.prototypes:
        return ["No benchmark was scored, so nothing is shown as a difference from one."]
    levels = profile.wanted.set_index("attribute")["benchmark_level"].loc[list(drawn.attributes)]
    without = [str(name) for name in levels.index[levels.isna()]]
    if len(without) == len(levels):
        return [
            f"Nobody stated where {benchmark} stood when the windows were set (fact {BENCHMARK_LEVELS!r}), so "
            f"windows are read as differences from where this panel puts {benchmark}."
        ]
    stated = f"Windows are read as differences from the level of {benchmark} stated when they were set."
    return [stated + (f" Not stated, so taken from this panel: {', '.join(without)}." if without else "")]
