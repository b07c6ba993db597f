"""Simulated panels with known truth for the tests of pictures and tables, and ways to look into an SVG."""

from xml.etree import ElementTree

import numpy as np
import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from panel.models.prototypes.map import PrototypeMap, _map_of_means
from panel.study.naming import Naming
from panel.study.study import Study

WORDS = {
    "PU_FIRM": ("firmness (force to compress)", "pick-up"),
    "RO_SPREAD": ("ease of spreading", "rub-out"),
    "RO_ABS": ("speed of soaking-in", "rub-out"),
    "AF_STICK": ("stickiness", "after-feel"),
    "AF_GREASE": ("greasy or oily film", "after-feel"),
    "LA_RESID": ("residue, later", "later after-feel"),
}
NAMES = Naming(
    attributes={name: words for name, (words, _) in WORDS.items()},
    stages={name: stage for name, (_, stage) in WORDS.items()},
    scale="0 to 100",
)
_SVG = "{http://www.w3.org/2000/svg}"


def panel_scores(prototypes: int = 8, assessors: int = 10, seed: int = 1) -> pd.DataFrame:
    """Scores of a panel: two true directions of difference, noise of 5 on a scale of 100."""
    rng = np.random.default_rng(seed)
    truth = 50 + rng.normal(0, 12, (prototypes, 2)) @ rng.normal(0, 0.8, (2, len(WORDS)))
    cells = pd.MultiIndex.from_product(
        [
            [f"A{number:02}" for number in range(1, assessors + 1)],
            [f"P{number}" for number in range(1, prototypes + 1)],
            list(WORDS),
            ["1", "2"],
        ],
        names=["assessor", "prototype", "attribute", "replicate"],
    )
    true = np.tile(np.repeat(truth.ravel(), 2), assessors)
    return cells.to_frame(index=False).assign(score=true + rng.normal(0, 5, len(cells)))


def panel_study(**how: int) -> Study:
    attributes = [(name, words, stage) for name, (words, stage) in WORDS.items()]
    return Study(
        tables={
            "scores": panel_scores(**how),
            "attributes": pd.DataFrame(attributes, columns=["attribute", "name", "stage"]),
        },
        facts={"scale_min": 0, "scale_max": 100},
    )


def panel_means(scores: pd.DataFrame) -> pd.DataFrame:
    means = scores.groupby(["attribute", "prototype"], sort=False)["score"].agg(["mean", "sem"]).reset_index()
    means = means.rename(columns={"mean": "estimate", "sem": "std_error"})
    return means.assign(
        ci_low=means["estimate"] - 2 * means["std_error"], ci_high=means["estimate"] + 2 * means["std_error"]
    )


def panel_map(**how: int) -> PrototypeMap:
    scores = panel_scores(**how)
    return _map_of_means(
        panel_means(scores),
        scores,
        prototypes=list(dict.fromkeys(scores["prototype"])),
        attributes=list(WORDS),
        rng=np.random.default_rng(4),
        draws=200,
    )


def differences(scores: pd.DataFrame, versus: str = "P1") -> pd.DataFrame:
    """Differences from one prototype with plain intervals, enough to be drawn and written down."""
    means = panel_means(scores)
    base = means[means["prototype"] == versus].set_index("attribute")["estimate"]
    others = means[means["prototype"] != versus]
    estimate = others["estimate"] - others["attribute"].map(base).astype("float64")
    return pd.DataFrame(
        {
            "attribute": others["attribute"],
            "prototype": others["prototype"],
            "versus": versus,
            "estimate": estimate,
            "ci_low": estimate - 4.0,
            "ci_high": estimate + 4.0,
            "p_adjusted": np.where(estimate.abs() > 4, 0.0004, 0.3),
        }
    ).reset_index(drop=True)


def svg_words(svg: str) -> list[str]:
    """Every piece of text in an SVG that was written with its words kept as text."""
    return ["".join(element.itertext()).strip() for element in ElementTree.fromstring(svg).iter(f"{_SVG}text")]


def svg_root(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def drawn_words(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every piece of text of a figure as it is drawn, with its box in pixels; unused ticks left out."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    texts = []
    for axes in figure.axes:
        texts += [*axes.texts, axes.title, axes._left_title]
        texts += axes.get_legend().get_texts() if axes.get_legend() else []
        for axis in (axes.xaxis, axes.yaxis) if axes.axison else ():
            low, high = sorted(axis.get_view_interval())
            texts += [axis.label]
            texts += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    renderer = canvas.get_renderer()
    return [(text.get_text(), text.get_window_extent(renderer)) for text in texts if text.get_text().strip()]


def words_outside(figure: Figure) -> list[str]:
    """Words that reach beyond the figure's edges by more than a point."""
    words, room = drawn_words(figure), figure.dpi / 72
    edge = figure.bbox
    return [
        text
        for text, box in words
        if box.x0 < -room or box.y0 < -room or box.x1 > edge.x1 + room or box.y1 > edge.y1 + room
    ]


def words_covering_words(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of words of a figure whose boxes overlap by more than a point either way."""
    words, room = drawn_words(figure), figure.dpi / 72
    return [
        (text, other)
        for number, (text, box) in enumerate(words)
        for other, second in words[:number]
        if min(box.x1, second.x1) - max(box.x0, second.x0) > room
        and min(box.y1, second.y1) - max(box.y0, second.y0) > room
    ]
