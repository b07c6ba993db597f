"""How often does tracing differences to the formulas say something false, and how often does it find what is true?

Run: python -m benchmarks.composition_truth [--studies N]. Prints a Markdown table. Panels of ten assessors and three
sessions are drawn around known true means of prototypes of known formulas, with the program's own rules applied to
them: swap effects with assessors and with prototypes as the units, one property at a time with the rule for naming, and
predictions of prototypes that were held out. Everything is seeded.

Truths: `nothing`: all prototypes alike. `batches`: prototypes scatter with a standard deviation of 3 points that has
nothing to do with their formulas. `swaps`: each emollient has an effect of its own; the demo design takes the true
effects of the demo study. `property`: seven attributes follow one property each, as said beforehand, with a standard
deviation of 8 points over the prototypes; the others follow nothing. Both of the latter with batches (1.5 points).
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np
import pandas as pd
from scipy.special import fdtrc

from data_demo import scenario as story
from panel.errors import ModelError
from panel.models.emollients.descriptors import find_descriptors
from panel.models.emollients.ladder import JOIN, _find_links, attribute_verdicts
from panel.models.emollients.prediction_model import (
    _FEWEST_SPARE,
    LinkColumns,
    PredictionModel,
    PrototypeLevel,
    link_columns,
    model_of,
    swap_effects,
)
from panel.stats.arrays import Array
from panel.stats.comparing.group_means import paired_contrasts
from panel.stats.comparing.multiplicity import benjamini_hochberg, holm
from panel.stats.formulas.mixtures import fit_linear, pooled_variance, predict_rows
from panel.study.formulas import emollient_percents, matched_pairs
from panel.study.study import Study

SEED = 20250311
ASSESSORS, SESSIONS = 10, 3
SD_INTERACTION, SD_RESIDUAL, SD_BATCH = 4.5, 8.0, 1.5
BATCHES_ALONE, PROPERTY_SD, SWAP_SD = 3.0, 8.0, 8.0
ATTRIBUTES = tuple(story.EFFECTS)
# What each of seven attributes follows under the truth `property`; all were said beforehand.
FOLLOWS = {
    "RO_SPREAD": ("log10_viscosity_liquids", -1),
    "RO_ABS": ("volatile_share", 1),
    "AF_GREASE": ("log10_viscosity_liquids", 1),
    "AF_STICK": ("triglyceride_share", 1),
    "PU_FIRM": ("solid_share", 1),
    "RO_THICK": ("solid_share", 1),
    "LA_RESID": ("solid_share", 1),
}
TRUTHS = ("nothing", "batches", "swaps", "property")
# Choices for the three slots (per cent of the formula) of the designs with many emollients.
SLOTS = (
    (6.0, ("Dicaprylyl Carbonate", "C13-15 Alkane", "Isohexadecane", "Coco-Caprylate")),
    (5.0, ("Caprylic/Capric Triglyceride", "Isopropyl Isostearate", "Decyl Oleate", "Octyldodecanol")),
    (
        4.0,
        (
            "Prunus Amygdalus Dulcis (Sweet Almond) Oil",
            "Butyrospermum Parkii (Shea) Butter",
            "Ricinus Communis (Castor) Seed Oil",
            "Squalane",
        ),
    ),
)


@dataclass(frozen=True, eq=False, slots=True)
class Design:
    """Prototypes to simulate: a study of formulas alone, its matched pairs, and what its blends are like."""

    name: str
    study: Study
    amounts: pd.DataFrame
    pairs: pd.DataFrame
    columns: LinkColumns
    descriptors: pd.DataFrame


@dataclass(frozen=True, eq=False, slots=True)
class Simulated:
    """One simulated study: what the formulas make of the means, SD of batches, the level and means of the panel.

    `cells` is assessors x attributes x prototypes.
    """

    systematic: Array
    luck: float
    level: Array
    cells: Array


def demo_design() -> Design:
    """Every combination of the three swaps of the demo study."""
    runs = {
        name: [slot[1 + made] for slot, made in zip(story.SLOTS, run, strict=True)] for name, run in story.SWAPS.items()
    }
    return _design("demo, 2^3", runs, [slot[0] for slot in story.SLOTS])


def slot_design(n: int, choices: tuple[int, int, int], seed: int = 3) -> Design:
    """`n` prototypes with some of the emollients of each slot: of 300 random choices that which tells effects best."""
    rng = np.random.default_rng(seed)
    every = np.array(list(product(*(range(count) for count in choices))))
    model = np.column_stack(
        [np.ones(len(every)), *(every[:, slot] == k for slot, count in enumerate(choices) for k in range(1, count))]
    )
    drawn = [np.r_[0, 1 + rng.choice(len(every) - 1, n - 1, replace=False)] for _ in range(300)]
    best = max(drawn, key=lambda rows: float(np.linalg.det(model[rows].T @ model[rows])))
    runs = {
        f"P{number}": [names[pick] for (_, names), pick in zip(SLOTS, run, strict=True)]
        for number, run in enumerate(every[np.sort(best)], start=1)
    }
    return _design(f"{n} prototypes, {sum(choices) - 3} moves", runs, [slot[0] for slot in SLOTS])


def _design(name: str, runs: dict[str, list[str]], percent: Sequence[float]) -> Design:
    rest = [(ingredient, amount, kind) for ingredient, amount, _, kind in story.BASE]
    rows = [
        (prototype, ingredient, amount, "", kind)
        for prototype, emollients in runs.items()
        for ingredient, amount, kind in [
            *rest,
            *((one, mass, "emollient") for one, mass in zip(emollients, percent, strict=True)),
        ]
    ]
    formulas = pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "phase", "kind"])
    listed = pd.DataFrame({"prototype": list(runs), "name": "", "role": "prototype", "note": ""})
    study = Study({"prototypes": listed, "formulas": formulas})
    amounts = emollient_percents(study)
    described = find_descriptors(study)
    blank = _level(amounts, np.zeros((ASSESSORS, len(ATTRIBUTES), len(amounts))) + np.arange(len(amounts)))
    columns = link_columns(blank, described)
    return Design(name, study, amounts, matched_pairs(study), columns, described.wide)


def simulate(design: Design, truth: str, rng: np.random.Generator) -> Simulated:
    """Draw true means and a panel around them."""
    n, q = len(design.amounts), len(ATTRIBUTES)
    made = {"nothing": _nothing, "batches": _nothing, "swaps": _swaps, "property": _property}[truth](design, rng)
    luck = {"nothing": 0.0, "batches": BATCHES_ALONE}.get(truth, SD_BATCH)
    means = 50 + made + rng.normal(0, 1, (q, n)) * luck
    spread = np.sqrt(SD_INTERACTION**2 + SD_RESIDUAL**2 / SESSIONS)
    level = rng.normal(0, 6, (ASSESSORS, q, 1))
    cells = means + level + rng.normal(0, 1, (ASSESSORS, q, n)) * spread
    return Simulated(made, luck, 50 + level.mean(axis=(0, 2)), cells)


def _nothing(design: Design, rng: np.random.Generator) -> Array:
    return np.zeros((len(ATTRIBUTES), len(design.amounts)))


def _swaps(design: Design, rng: np.random.Generator) -> Array:
    """Effects of the demo study in its own design, else an effect of each emollient drawn anew."""
    if design.name.startswith("demo"):
        runs = np.array(list(story.SWAPS.values()))
        rows = []
        for _, a, b, c, pair, extra, _, _ in story.EFFECTS.values():
            both = runs[:, ["ABC".index(letter) for letter in pair]].all(axis=1) if pair else np.zeros(8)
            rows.append(runs @ np.array([a, b, c]) + extra * both)
        return np.array(rows, dtype=float)
    held = design.amounts.to_numpy(dtype=float) > 0
    return rng.normal(0, SWAP_SD / np.sqrt(3), (len(ATTRIBUTES), held.shape[1])) @ held.T


def _property(design: Design, rng: np.random.Generator) -> Array:
    rows = _nothing(design, rng)
    for attribute, (descriptor, sign) in FOLLOWS.items():
        values = design.descriptors[descriptor].to_numpy(dtype=float)
        spread = values.std()
        if spread > 1e-9:
            rows[ATTRIBUTES.index(attribute)] = sign * PROPERTY_SD * (values - values.mean()) / spread
    return rows


def _level(amounts: pd.DataFrame, cells: Array) -> PrototypeLevel:
    """Return the prototypes' means with the panel's error, as the balanced mixed model gives them."""
    people, _, n = cells.shape
    means = cells.mean(axis=0)
    left = cells - cells.mean(axis=2, keepdims=True) - means + means.mean(axis=1, keepdims=True)
    df = (people - 1) * (n - 1)
    mean_square = (left**2).sum(axis=(0, 2)) / df
    between = people * ((means - means.mean(axis=1, keepdims=True)) ** 2).sum(axis=1) / (n - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = between / mean_square
    attributes = pd.Index(ATTRIBUTES, name="attribute", dtype="str")
    frame = pd.DataFrame(means.T, index=amounts.index, columns=attributes)
    error = pd.DataFrame(
        {
            "variance": mean_square / people,
            "df": float(df),
            "statistic": statistic,
            "p_adjusted": holm(fdtrc(n - 1, df, statistic)),
        },
        index=attributes,
    )
    label = pd.Series(list(amounts.index), index=amounts.index, dtype="str")
    return PrototypeLevel(amounts, frame, error, str(amounts.index[0]), True, frame, label, ())


def pair_contrasts(design: Design, means: Array) -> tuple[list[str], Array]:
    """Return the swaps, and (..., swaps) the mean over matched pairs of with minus without; prototypes come last."""
    place = pd.Index(design.amounts.index)
    labels = list(dict.fromkeys(design.pairs["swap"]))
    contrasts = np.empty((*means.shape[:-1], len(labels)))
    for number, swap in enumerate(labels):
        part = design.pairs.loc[design.pairs["swap"] == swap]
        with_swap, without = (place.get_indexer(part[name]) for name in ("prototype", "versus"))
        contrasts[..., number] = (means[..., with_swap] - means[..., without]).mean(axis=-1)
    return labels, contrasts


def judged_swaps(design: Design, drawn: Simulated) -> pd.DataFrame:
    """Return the swap effects over the assessors, as balanced matched pairs give them, and whether they are real."""
    labels, contrasts = pair_contrasts(design, drawn.cells)
    tests = paired_contrasts(contrasts)
    real = np.abs(pair_contrasts(design, drawn.systematic)[1]) > 1e-9
    return pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(ATTRIBUTES, len(labels)), dtype="str"),
            "swap": pd.Series(labels * len(ATTRIBUTES), dtype="str"),
            "real": real.ravel(),
            "p_adjusted": benjamini_hochberg(tests.p_value.ravel()),
        }
    )


@dataclass(slots=True)
class Tally:
    """Counts over simulated studies of one design and truth; `heard` by the assessors, `both` also by prototypes."""

    studies: int = 0
    null: int = 0
    null_heard: int = 0
    null_both: int = 0
    real: int = 0
    real_heard: int = 0
    real_both: int = 0
    any_null_both: int = 0
    any_property: int = 0
    any_false: int = 0
    named_false: int = 0
    named_true: int = 0
    may_be_named: int = 0
    covered: int = 0
    held_out: int = 0
    inside_covered: int = 0
    inside: int = 0


def run(design: Design, truth: str, studies: int, seed: int = SEED) -> Tally:
    """Simulate and count."""
    rng = np.random.default_rng([seed, TRUTHS.index(truth), len(design.amounts)])
    first = _level(design.amounts, simulate(design, truth, rng).cells)
    try:
        model: PredictionModel | None = model_of(design.study, first)
    except ModelError:  # too few prototypes for their moves: that rung is not climbed
        model = None
    tally = Tally()
    for _ in range(studies):
        drawn = simulate(design, truth, rng)
        level = _level(design.amounts, drawn.cells)
        refitted = None if model is None else _refit(model, level)
        _count(design, truth, drawn, level, refitted, tally)
        if refitted is not None:
            _count_coverage(refitted, drawn, rng, tally)
    return tally


def _refit(model: PredictionModel, level: PrototypeLevel) -> PredictionModel:
    fit = fit_linear(model.rows(level.amounts.to_numpy(dtype=float)), level.means.to_numpy(dtype=float))
    variance, df = pooled_variance(fit, level.panel_variance, level.panel_df)
    return replace(model, level=level, fit=fit, variance=variance, df=df)


def _seen(effects: pd.DataFrame, apart: pd.Series) -> pd.DataFrame:
    """Return effects with whether each is seen: clear itself, on an attribute where the prototypes are told apart."""
    return effects.assign(seen=(effects["p_adjusted"] < 0.05) & effects["attribute"].map(apart).astype(bool))


def _count(
    design: Design, truth: str, drawn: Simulated, level: PrototypeLevel, model: PredictionModel | None, tally: Tally
) -> None:
    apart = level.error["p_adjusted"] < 0.05
    judged = _seen(judged_swaps(design, drawn), apart)
    made = None
    if model is not None:
        made = swap_effects(model)
        made = _seen(made.assign(p_adjusted=benjamini_hochberg(made["p_value"].to_numpy())), apart)
    _, running, named, _ = _find_links(level, design.columns)
    verdicts = attribute_verdicts(level, judged, made, named, running)
    heard, real = judged["seen"].to_numpy(), judged["real"].to_numpy(dtype=bool)
    seen = dict(zip(verdicts["attribute"], verdicts["swaps"].str.split(JOIN), strict=True))
    both = np.array([swap in seen[name] for name, swap in zip(judged["attribute"], judged["swap"], strict=True)], bool)
    tally.studies += 1
    for kind, rows in (("null", ~real), ("real", real)):
        setattr(tally, kind, getattr(tally, kind) + int(rows.sum()))
        setattr(tally, f"{kind}_heard", getattr(tally, f"{kind}_heard") + int((heard & rows).sum()))
        setattr(tally, f"{kind}_both", getattr(tally, f"{kind}_both") + int((both & rows).sum()))
    false_swap = bool((both & ~real).any())
    wrong = _count_names(design, truth, verdicts, tally)
    tally.any_null_both += false_swap
    tally.any_false += false_swap or wrong


def _count_names(design: Design, truth: str, verdicts: pd.DataFrame, tally: Tally) -> bool:
    """Count the properties that were named; return whether one was named that is null or has an alias."""
    named = verdicts.loc[verdicts["driver"] != ""]
    tally.any_property += len(named) > 0
    wrong = 0
    for row in named.to_dict("records"):
        follows = FOLLOWS.get(row["attribute"], ("", 0))[0] if truth == "property" else ""
        right = design.columns.copies.get(follows, follows) == row["driver"]
        wrong += not right or bool(design.columns.aliased[design.columns.names.index(row["driver"])])
    tally.named_true += len(named) - wrong
    tally.named_false += wrong
    if truth == "property":
        tally.may_be_named += sum(_may_be_named(design, follows) for follows, _ in FOLLOWS.values())
    return wrong > 0


def _may_be_named(design: Design, descriptor: str) -> bool:
    """Return whether the property varies in these blends and moves with no other."""
    names = design.columns.names
    return descriptor in names and not design.columns.aliased[names.index(descriptor)]


def _count_coverage(model: PredictionModel, drawn: Simulated, rng: np.random.Generator, tally: Tally) -> None:
    """Hold out each prototype in turn and predict the mean the panel gave it; then predict new blends inside."""
    Y = model.level.means.to_numpy(dtype=float)
    X = model.rows(model.level.amounts.to_numpy(dtype=float))
    variance, df = model.level.panel_variance, model.level.panel_df
    for row in range(len(X)):
        kept = np.arange(len(X)) != row
        if np.linalg.matrix_rank(X[kept]) < X.shape[1] or kept.sum() - X.shape[1] < _FEWEST_SPARE[model.terms]:
            continue
        fit = fit_linear(X[kept], Y[kept])
        found = predict_rows(fit, X[[row]], *pooled_variance(fit, variance, df))
        low, high = found.interval(0.95)
        tally.covered += int(((Y[row] >= low[0]) & (Y[row] <= high[0])).sum())
        tally.held_out += Y.shape[1]
    if model.terms == "swaps alone":
        _count_inside(model, drawn, rng, tally)


def _count_inside(model: PredictionModel, drawn: Simulated, rng: np.random.Generator, tally: Tally) -> None:
    """Predict the equal blend of two prototypes; its truth is their mean, and batch and panel add their own error."""
    tested = model.level.amounts.to_numpy(dtype=float)
    one, other = rng.choice(len(tested), 2, replace=False)
    truth = drawn.level + drawn.systematic[:, [one, other]].mean(axis=1)
    spread = np.sqrt((SD_INTERACTION**2 + SD_RESIDUAL**2 / SESSIONS) / ASSESSORS + drawn.luck**2)
    outcome = truth + rng.normal(0, 1, truth.size) * spread
    found = predict_rows(model.fit, model.rows((tested[one] + tested[other]) / 2), model.variance, model.df)
    low, high = found.interval(0.95)
    tally.inside_covered += int(((outcome >= low[0]) & (outcome <= high[0])).sum())
    tally.inside += truth.size


def table(rows: list[tuple[Design, str, Tally]]) -> str:
    """Return the counts as a Markdown table."""
    head = (
        "design",
        "truth",
        "null swap effects heard",
        "and by prototypes",
        "real ones heard",
        "and by prototypes",
        "studies that name a null swap",
        "a property",
        "anything false",
        "properties named, of those that can be",
        "named wrongly or in an alias group",
        "held-out means in their 95 % interval",
        "new blends inside",
    )
    lines = [f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    for design, truth, tally in rows:
        cells = (
            design.name,
            truth,
            _share(tally.null_heard, tally.null),
            _share(tally.null_both, tally.null),
            _share(tally.real_heard, tally.real),
            _share(tally.real_both, tally.real),
            _share(tally.any_null_both, tally.studies if tally.null else 0),
            _share(tally.any_property, tally.studies),
            _share(tally.any_false, tally.studies),
            _share(tally.named_true, tally.may_be_named),
            str(tally.named_false),
            _share(tally.covered, tally.held_out),
            _share(tally.inside_covered, tally.inside),
        )
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def _share(count: int, base: int) -> str:
    return f"{100 * count / base:.1f} %" if base else "–"


def designs() -> list[Callable[[], Design]]:
    """Return the designs of the table."""
    sizes = ((6, (2, 2, 2)), (8, (3, 2, 2)), (8, (4, 3, 3)), (12, (3, 3, 3)), (12, (4, 4, 3)))
    return [demo_design, *(partial(slot_design, n, choices) for n, choices in sizes)]


def main() -> None:
    """Print the table."""
    studies = int(sys.argv[sys.argv.index("--studies") + 1]) if "--studies" in sys.argv else 1000
    rows = []
    for make in designs():
        design = make()
        rows += [(design, truth, run(design, truth, studies)) for truth in TRUTHS]
    print(f"{studies} simulated studies a line, {ASSESSORS} assessors, {SESSIONS} sessions, seed {SEED}.\n")
    print(table(rows))


if __name__ == "__main__":
    main()
