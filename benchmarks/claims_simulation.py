"""Is a false claim of each kind supported in at most 5 % of studies, and a true one as often as the plan promised?

Run: python -m benchmarks.claims_simulation [STUDIES [families]].
Simulated studies at the border of what makes each kind of claim false, and studies in which it is true by the effect
that was planned with. Every attribute of a simulated study is a study of its own: attributes are drawn independently,
carry one claim each, and are adjusted for nothing, so that they are judged together and fast; families of claims come
after. Scatter: level 6, own view of a prototype 5, residual 8 (the planning values). Agreement and preference are
enumerated exactly in the tests and not drawn here.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.claims.claim import Evidence, read_claims
from panel.claims.evidence_panel import PANEL
from panel.claims.judge import _find_evidence
from panel.claims.materials import Materials
from panel.claims.verdict import _is_shown, adjust_together
from panel.plan.sample_size import panel_sizes
from panel.stats.answers.binomial import power_above, upper_tail
from panel.stats.comparing.power import detection_power, equivalence_power
from panel.study.study import Study, empty_table
from tests.formula_studies import ALKANE, formulas_table, hand_cream_formulas

SEED = 20250311
LEVEL_SD, OWN_VIEW_SD, SCATTER_SD = 6.0, 5.0, 8.0
ALPHA = 0.05
AT_ONCE = 50  # attributes in one simulated study
EMOLLIENTS = {name: "emollient" for cream in hand_cream_formulas().values() for name in cream}


@dataclass(frozen=True)
class Case:
    """One kind of claim with one truth: what is claimed, the true means, and what to expect of it.

    `expected` is the chance the plan promises; None at the border of the null, where at most 5 % may be supported.
    """

    name: str
    kind: str
    claim: Mapping[str, Any]
    means: Mapping[str, float]
    expected: float | None = None
    assessors: int = 10
    replicates: int = 3
    roles: Mapping[str, str] = field(default_factory=dict)
    sittings: Sequence[Mapping[str, float]] = ()
    agreed: tuple[int, float] = (0, 0.0)  # consumers, share who agree
    slow_share: float = 0.0  # of people who need longer than the bar
    weaker: bool = False  # judge the weaker sentence, such as 'more than half'
    formulas: bool = False


def _filled(name: str, columns: Mapping[str, Any]) -> pd.DataFrame:
    """Return a study table with all its columns from some of them."""
    n = len(next(iter(columns.values())))
    blank = {
        column: np.full(n, np.nan) if dtype == "float64" else np.full(n, "", dtype=object)
        for column, dtype in empty_table(name).dtypes.items()
    }
    frame = pd.DataFrame(blank | dict(columns))
    return frame.astype({column: "str" for column, dtype in empty_table(name).dtypes.items() if dtype != "float64"})


def _scores(case: Case, rng: np.random.Generator, names: list[str]) -> pd.DataFrame:
    """Return the scores of all attributes: attributes x sittings x assessors x prototypes x replicates."""
    sittings = list(case.sittings) or [case.means]
    prototypes = list(sittings[0])
    q, s, a, p, r = len(names), len(sittings), case.assessors, len(prototypes), case.replicates
    truth = np.array([[means[name] for name in prototypes] for means in sittings])
    score = truth[None, :, None, :, None] + rng.normal(0, LEVEL_SD, (q, 1, a, 1, 1))
    score = score + rng.normal(0, OWN_VIEW_SD, (q, 1, a, p, 1)) + rng.normal(0, SCATTER_SD, (q, s, a, p, r))
    attribute, sitting, assessor, prototype, replicate = (grid.ravel() for grid in np.indices(score.shape))
    return _filled(
        "scores",
        {
            "assessor": np.array([f"A{number:02d}" for number in range(a)], dtype=object)[assessor],
            "prototype": np.array(prototypes, dtype=object)[prototype],
            "attribute": np.array(names, dtype=object)[attribute],
            "score": score.ravel(),
            "session": np.array([f"s{number}" for number in range(s)] if case.sittings else [""], dtype=object)[
                sitting
            ],
            "replicate": np.array([str(number) for number in range(r)], dtype=object)[replicate],
        },
    )


def _times(case: Case, rng: np.random.Generator, names: list[str]) -> pd.DataFrame:
    """Return seconds of people: a share `slow_share` of them need longer than the bar of 60 s."""
    q, n = len(names), case.assessors
    slow = rng.random((q, n)) < case.slow_share
    seconds = np.where(slow, 60 + rng.exponential(30, (q, n)), 60 * rng.random((q, n)))
    attribute, person = (grid.ravel() for grid in np.indices((q, n)))
    return _filled(
        "scores",
        {
            "assessor": np.array([f"C{number:04d}" for number in range(n)], dtype=object)[person],
            "prototype": np.full(q * n, "P1", dtype=object),
            "attribute": np.array(names, dtype=object)[attribute],
            "score": seconds.ravel(),
        },
    )


def _answers(case: Case, rng: np.random.Generator, names: list[str]) -> pd.DataFrame:
    n, share = case.agreed
    q = len(names)
    question, person = (grid.ravel() for grid in np.indices((q, n)))
    return _filled(
        "answers",
        {
            "assessor": np.array([f"C{number:04d}" for number in range(n)], dtype=object)[person],
            "prototype": np.full(q * n, "P1", dtype=object),
            "question": np.array(names, dtype=object)[question],
            "kind": np.full(q * n, "agreement", dtype=object),
            "answer": np.where(rng.random(q * n) < share, "4", "2").astype(object),
        },
    )


def simulated_study(case: Case, rng: np.random.Generator, attributes: int) -> Study:
    """Return a study with as many independent attributes, each with one claim."""
    names = [f"T{number:03d}" for number in range(attributes)]
    timed = case.kind == "time"
    scores = _times(case, rng, names) if timed else _scores(case, rng, names)
    direction = case.claim.get("direction", "less")
    described = {
        "attribute": names,
        "direction": [direction] * attributes,
        "minutes": [case.claim.get("minutes", 2.0)] * attributes,
        "unit": ["s" if timed else ""] * attributes,
    }
    claims: dict[str, Any] = {"claim": ["said"] * attributes, "kind": [case.kind] * attributes}
    claims |= {"prototype": ["P1"] * attributes} | {name: [value] * attributes for name, value in case.claim.items()}
    claims |= {"attribute": names, "question": names if case.agreed[0] else [""] * attributes}
    prototypes = list(dict.fromkeys(scores["prototype"]))
    tables = {
        "prototypes": _filled(
            "prototypes",
            {"prototype": prototypes, "role": [case.roles.get(name, "prototype") for name in prototypes]},
        ),
        "attributes": _filled("attributes", described),
        "scores": scores,
        "claims": _filled("claims", claims),
    }
    if case.agreed[0]:
        tables["answers"] = _answers(case, rng, names)
    if case.formulas:
        tables["formulas"] = formulas_table(hand_cream_formulas(), EMOLLIENTS)
    return Study(tables, {"scale_min": 0, "scale_max": 100})


def supported(case: Case, rng: np.random.Generator, studies: int, at_once: int = AT_ONCE) -> int:
    """Return in how many of `studies` simulated studies the numbers show the claim."""
    found = 0
    for start in range(0, studies, at_once):
        study = simulated_study(case, rng, min(at_once, studies - start))
        claims = read_claims(study)
        materials = Materials(study, claims)
        for claim in claims:
            if claim.problems:
                raise ValueError(f"{case.name}: {claim.problems}")
            evidence = _find_evidence(claim, materials)
            if evidence.missing:
                raise ValueError(f"{case.name}: {evidence.missing}")
            p_value = evidence.weaker.p_value if case.weaker and evidence.weaker else evidence.p_value
            found += p_value <= ALPHA if case.weaker else _is_shown(evidence, p_value)
    return int(found)


def _alike(prototypes: int, first: float = 50.0) -> dict[str, float]:
    return {"P1": first} | {f"P{number}": 50.0 for number in range(2, prototypes + 1)}


def _std_error(assessors: int, replicates: int) -> float:
    return float(np.sqrt(2 * (OWN_VIEW_SD**2 / assessors + SCATTER_SD**2 / (assessors * replicates))))


def _planned(difference: float, prototypes: int, assessors: int, replicates: int) -> float:
    """Return the chance the plan promises to find a difference by one planned comparison."""
    sizes = panel_sizes(difference, prototypes, assessors=(assessors,), replicates=(replicates,))
    return float(sizes.sizes["power"].iloc[0])


def _creams(effect: float) -> dict[str, float]:
    return {name: 50.0 + effect * (number & 1) for number, name in enumerate(hand_cream_formulas())}


def _changes(extra: float) -> tuple[dict[str, float], dict[str, float]]:
    return {"P1": 40.0, "P2": 40.0}, {"P1": 45.0 + extra, "P2": 45.0}


LESS = {"versus": "P2", "direction": "less"}
CREDIT = {"direction": "less", "prototype": "P2", "versus": "P1", "ingredient": ALKANE}
LASTS = {"versus": "P2", "direction": "more", "minutes": 480.0}
ALIKE = {"versus": "P2", "margin": 12.0}
NONE_BETTER = {"competitors": "P2; P3", "margin": 10.0, "direction": "less"}
CHANGED = {"versus": "P2", "direction": "more", "session_before": "s0", "session_after": "s1"}
ABSENT = {"bar": 50.0, "bar_panel": 20.0, "minutes": 2.0}


def at_the_border() -> tuple[Case, ...]:
    """Return the cases in which the claim is only just false."""
    return (
        Case("superiority, two-sided: no difference", "superiority", LESS, _alike(8)),
        Case("superiority, one-sided: no difference", "superiority", LESS | {"sides": "one"}, _alike(8)),
        Case("parity: difference at the margin", "parity", ALIKE, _alike(8, 62.0)),
        Case("unsurpassed: worse than one of two by the margin", "unsurpassed", NONE_BETTER,
             {"P1": 60.0, "P2": 50.0, "P3": 90.0}),
        Case("ranking: level with one of seven, far ahead of the others", "ranking", {"direction": "less"},
             {"P1": 20.0, "P2": 20.0} | {f"P{n}": 60.0 for n in range(3, 9)}),
        Case("perceived attribute: mean at the bar", "perceived_attribute", {"bar": 50.0}, _alike(8)),
        Case("absolute negative: panel at the bar, users agree", "absolute_negative", ABSENT,
             {"P1": 20.0, "P2": 50.0}, agreed=(100, 0.9)),
        Case("absolute negative: half of the users agree", "absolute_negative", ABSENT,
             {"P1": 2.0, "P2": 50.0}, agreed=(100, 0.5)),
        Case("time: one in ten needs longer", "time", {"bar": 60.0}, {}, assessors=60, slow_share=0.1),
        Case("time, weaker sentence: half need longer", "time", {"bar": 60.0}, {}, assessors=60, slow_share=0.5,
             weaker=True),
        Case("duration: as untreated skin", "duration", LASTS, _alike(2), roles={"P2": "untreated"}),
        Case("change over time: as untreated skin", "change_over_time", CHANGED, {}, roles={"P2": "untreated"},
             sittings=_changes(0.0), replicates=2),
        Case("ingredient: the swap does nothing", "ingredient_attribution", CREDIT, _creams(0.0), formulas=True),
    )  # fmt: skip


def as_planned() -> tuple[Case, ...]:
    """Return the cases in which the claim is true by the effect the study was planned with."""
    parity_chance = float(equivalence_power(12.0, _std_error(10, 3), 9 * 7))
    one_worse = _planned_not_worse(10.0)
    return (
        Case("superiority: 8.7 less, 10 x 3, 8 prototypes", "superiority", LESS, _alike(8, 41.3),
             _planned(8.7, 8, 10, 3)),
        Case("superiority: 12.6 less, 6 x 2, 8 prototypes", "superiority", LESS, _alike(8, 37.4),
             _planned(12.6, 8, 6, 2), assessors=6, replicates=2),
        Case("superiority: 8 less, 12 x 2, 3 prototypes", "superiority", LESS, _alike(3, 42.0),
             _planned(8.0, 3, 12, 2), assessors=12, replicates=2),
        Case("parity: no difference, margin 12", "parity", ALIKE, _alike(8), parity_chance),
        Case("unsurpassed: one competitor alike, margin 10", "unsurpassed", NONE_BETTER | {"competitors": "P2"},
             _alike(8), one_worse),
        Case("time: all but 1 in 50 within the bar, 60 people", "time", {"bar": 60.0}, {},
             float(power_above(60, 0.9, 0.98)), assessors=60, slow_share=0.02),
        Case("duration: 8.7 more, 10 x 3", "duration", LASTS, {"P1": 58.7} | _others(8), _planned(8.7, 8, 10, 3),
             roles={"P2": "untreated"}),
    )  # fmt: skip


def _others(prototypes: int) -> dict[str, float]:
    return {f"P{number}": 50.0 for number in range(2, prototypes + 1)}


def _planned_not_worse(margin: float) -> float:
    """Return the chance of one one-sided test at 5 % when there is no difference (noncentral t)."""
    error, df = _std_error(10, 3), 9 * 7
    return float(detection_power(margin, error, df, float(stdtrit(df, 1 - ALPHA))))


def too_often(found: int, studies: int, share: float = ALPHA) -> float:
    """Return the chance to see so many supported, or more, if the true share is `share`."""
    return float(upper_tail(found, studies, share))


def families(rng: np.random.Generator, studies: int, attributes: int, effect: float = 0.0) -> tuple[int, int]:
    """Return in how many studies some false claim is supported, and in how many the true one; 10 x 8 x 3.

    Seven prototypes are each claimed to have less than the eighth on every attribute, all fixed beforehand. All eight
    are alike, but that the first has less on the first attribute by `effect`.
    """
    some_false = found_true = 0
    for start in range(0, studies, AT_ONCE // attributes):
        n = min(AT_ONCE // attributes, studies - start)
        study = simulated_study(Case("families", "superiority", LESS, _alike(8)), rng, n * attributes)
        scores, firsts = study.scores, [f"T{number:03d}" for number in range(0, n * attributes, attributes)]
        better = (scores["prototype"] == "P1") & scores["attribute"].isin(firsts)
        table, own = study.table("claims"), [f"P{number}" for number in range(1, 8)]
        claims = pd.concat([table.assign(prototype=name, versus="P8") for name in own], ignore_index=True)
        scores = scores.assign(score=scores["score"] - effect * better)
        made = Study({**study.tables, "scores": scores, "claims": claims}, study.facts)
        read = read_claims(made)
        materials = Materials(made, read, 1 - ALPHA)
        for each in range(n):
            names = {f"T{number:03d}" for number in range(each * attributes, (each + 1) * attributes)}
            together = [claim for claim in read if claim.attribute in names]
            found = [materials.panel.difference(claim.attribute, claim.prototype, "P8") for claim in together]
            evidence = [  # as that of superiority, without its words
                Evidence(PANEL, p_value=min(1.0, 2 - 2 * one.p_above(0.0)), against=one.estimate >= 0) for one in found
            ]
            adjusted = adjust_together(together, evidence, [True] * len(together))
            shown = [_is_shown(one, p_adjusted) for one, (_, _, p_adjusted, _) in zip(evidence, adjusted, strict=True)]
            true = [effect > 0 and claim.prototype == "P1" and claim.attribute in firsts for claim in together]
            some_false += any(yes and not so for yes, so in zip(shown, true, strict=True))
            found_true += any(yes and so for yes, so in zip(shown, true, strict=True))
    return some_false, found_true


def run_families(studies: int, say: Callable[[str], None] = print) -> None:
    """Print what families of claims do."""
    rng = np.random.default_rng(SEED)
    say("| claims of one family | some false one supported, % | true one of 16 found, % |\n|---|---|---|")
    for attributes in (1, 3):
        some, _ = families(rng, studies, attributes)
        _, found = families(rng, studies, attributes, 2 * SCATTER_SD)
        shares = (f"{100 * x / studies:.1f} ({100 * np.sqrt(x / studies * (1 - x / studies) / studies):.1f})"
                  for x in (some, found))  # fmt: skip
        say(f"| 7 prototypes x {attributes} | {' | '.join(shares)} |")


def run(studies: int, say: Callable[[str], None] = print) -> None:
    """Print the table."""
    rng = np.random.default_rng(SEED)
    say("| truth | supported, % | promised, % |\n|---|---|---|")
    for case in (*at_the_border(), *as_planned()):
        share = 100 * supported(case, rng, studies) / studies
        promised = "at most 5" if case.expected is None else f"{100 * case.expected:.1f}"
        say(f"| {case.name} | {share:.1f} | {promised} |")


if __name__ == "__main__":
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    if "families" not in sys.argv:
        run(many)
    run_families(min(many, 2000))
