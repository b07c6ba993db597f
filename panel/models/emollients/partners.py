"""Which instrument measure goes with which attribute: pairs declared beforehand first, then a screening list."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.models.emollients.reading_means import bare_measure
from panel.stats.comparing.multiplicity import benjamini_hochberg, holm
from panel.stats.maps.correlation import correlations, needed_correlation
from panel.study.knowledge import lexicon
from panel.study.study import Study

IN_STUDY, IN_LEXICON = "the attributes table", "the lexicon"
AS_EXPECTED, AGAINST, LINKED, CANNOT_TELL = "as expected", "against expectation", "linked", "cannot tell"
_PAIR = ["attribute", "measure", "expected", "source", "declared"]


def declared_pairs(study: Study, measures: pd.Series) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the pairs of attribute and measure declared before the readings were compared, and those not measured.

    The partner in the study's attributes table comes before the usual one of the lexicon; several are separated by
    `;`. The expected direction (`same`, `opposite` or, not known, empty) and its source are the lexicon's.
    """
    usual = {str(row["attribute"]): row for row in lexicon().to_dict("records")}
    own = study.table("attributes").drop_duplicates("attribute").set_index("attribute")["partner"]
    present = {bare_measure(str(name)): str(name) for name in measures}
    rows: list[tuple[str, str, str, str, str]] = []
    absent: list[tuple[str, str]] = []
    for attribute in study.attributes:
        stated = str(own.get(attribute, ""))
        known = usual.get(attribute, {"partner": "", "partner_direction": "", "partner_source": ""})
        partners = stated or str(known["partner"])
        for partner in filter(None, (name.strip() for name in partners.split(";"))):
            measure = present.get(bare_measure(partner))
            if measure is None:
                absent += [(attribute, partner)] if stated else []
                continue
            same = bare_measure(str(known["partner"])) == bare_measure(partner)
            expected, source = (str(known[f"partner_{what}"]) if same else "" for what in ("direction", "source"))
            rows.append((attribute, measure, expected, source, IN_STUDY if stated else IN_LEXICON))
    return pd.DataFrame(rows, columns=_PAIR, dtype="str"), pd.DataFrame(
        absent, columns=["attribute", "measure"], dtype="str"
    )


def all_links(panel: pd.DataFrame, instruments: pd.DataFrame, level: float) -> pd.DataFrame:
    """Correlate every attribute with every measure: `attribute measure estimate ci_low ci_high n p_value`.

    Both tables have one row per prototype; pairs that cannot be correlated are left out.
    """
    together = instruments.reindex(panel.index)
    found = correlations(panel.to_numpy(dtype=float), together.to_numpy(dtype=float), level)
    p, q = found.estimate.shape
    frame = pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(np.asarray(panel.columns, dtype=object), q), dtype="str"),
            "measure": pd.Series(np.tile(np.asarray(together.columns, dtype=object), p), dtype="str"),
            "estimate": found.estimate.ravel(),
            "ci_low": found.ci_low.ravel(),
            "ci_high": found.ci_high.ravel(),
            "n": found.n.ravel(),
            "p_value": found.p_value.ravel(),
        }
    )
    return frame.loc[frame["estimate"].notna()].reset_index(drop=True)


def partner_links(links: pd.DataFrame, pairs: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return the declared pairs with their correlation and what it says of the expectation.

    Columns `attribute measure expected source declared estimate ci_low ci_high n p_value p_adjusted needed verdict`.
    Each pair was chosen beforehand and asks its own question, so the verdict rests on its own p-value; `p_adjusted`
    (Holm) says what remains when all declared pairs are counted as one family. `needed` is the |r| for p < 1 - level.
    """
    found = pairs.merge(links, on=["attribute", "measure"], how="inner")
    found["p_adjusted"] = holm(found["p_value"])
    found["needed"] = needed_correlation(found["n"], level)
    found["verdict"] = pd.Series(
        [_verdict(row["estimate"], row["p_value"], row["expected"], level) for row in found.to_dict("records")],
        dtype="str",
    )
    return found


def screening_list(links: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Return all pairs that were not declared, the smallest p-value first, under Benjamini and Hochberg."""
    declared = pd.MultiIndex.from_frame(pairs[["attribute", "measure"]])
    others = links.loc[~pd.MultiIndex.from_frame(links[["attribute", "measure"]]).isin(declared)]
    others = others.assign(p_adjusted=benjamini_hochberg(others["p_value"]))
    return others.sort_values("p_value", kind="stable", ignore_index=True)


def _verdict(estimate: float, p_value: float, expected: str, level: float) -> str:
    if not p_value < 1 - level:
        return CANNOT_TELL
    if not expected:
        return LINKED
    return AS_EXPECTED if (estimate > 0) == (expected == "same") else AGAINST
