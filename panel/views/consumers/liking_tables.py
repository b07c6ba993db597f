"""Liking as tables a person reads: means and top of the scale, differences, tests, and what each method uses."""

from __future__ import annotations

import pandas as pd

from panel.models.consumers.liking import Liking
from panel.models.consumers.liking_model import CORRECTED
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_p, format_share
from panel.views.drawing.naming import Naming

_DIGITS = 2


def liking_table(result: Liking, names: Naming) -> pd.DataFrame:
    """Return one row per prototype, best liked first: mean, interval, letters, top 2 and top 3 with their bases."""
    means = result.means.sort_values("estimate", ascending=False, kind="stable")
    boxes = {box: rows.set_index("prototype") for box, rows in result.boxes.groupby("box", sort=False)}
    rows = []
    for row in means.to_dict("records"):
        name = str(row["prototype"])
        rows.append(
            [
                names.prototype(name),
                f"{row['n']:.0f}",
                format_number(row["estimate"], _DIGITS),
                format_interval(row["ci_low"], row["ci_high"], _DIGITS),
                row["letters"],
                *(_box(own.loc[[name]].iloc[0]) for own in boxes.values()),
            ]
        )
    heading = ["Prototype", "Consumers", "Mean liking (1 to 9)", f"{100 * result.level:g} % interval"]
    tops = [f"{'8 or 9' if box == 'top 2' else '7, 8 or 9'} ({100 * result.level:g} % interval)" for box in boxes]
    return pd.DataFrame(rows, columns=[*heading, "Cannot be separated if they share a letter", *tops], dtype="str")


def liking_pairs_table(pairs: pd.DataFrame, result: Liking) -> pd.DataFrame:
    """Return one row per difference, with the paired test of that pair alone beside the adjusted one."""
    return pd.DataFrame(
        {
            "Prototype": list(pairs["prototype"]),
            "Compared with": list(pairs["versus"]),
            "Difference (points)": [format_change(value, _DIGITS) for value in pairs["estimate"]],
            f"{100 * result.level:g} % interval": [
                format_interval(low, high, _DIGITS) for low, high in zip(pairs["ci_low"], pairs["ci_high"], strict=True)
            ],
            "p, adjusted": [format_p(value) for value in pairs["p_adjusted"]],
            "p of this pair alone": [format_p(value) for value in pairs["paired_p_value"]],
            "In words": [
                "cannot be separated" if verdict == "cannot tell" else verdict for verdict in pairs["verdict"]
            ],
        },
        dtype="str",
    )


def liking_tests_table(result: Liking) -> pd.DataFrame:
    """Return one row per test that no prototype is liked better, with what it uses and loses."""
    lost = result.lost.set_index("method")
    rows = []
    for row in result.tests.to_dict("records"):
        own = lost.loc[row["test"]]
        df = format_number(row["df"], 1 if row["test"] == CORRECTED else 0)
        rows.append(
            [
                row["test"],
                format_number(row["statistic"], 2),
                df if pd.isna(row["df_error"]) else f"{df}; {format_number(row['df_error'], 1)}",
                format_p(row["p_value"]),
                f"{own['consumers']} ({own['answers']} answers)",
                f"{own['consumers_lost']} ({own['answers_lost']} answers)" if own["consumers_lost"] else NOTHING,
                own["why"] or NOTHING,
            ]
        )
    columns = ["Test", "Statistic", "Degrees of freedom", "p", "Consumers used", "Lost", "Because they"]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def _box(row: pd.Series) -> str:
    return (
        f"{row['count']:.0f} of {row['base']:.0f}: {format_share(row['share'])} "
        f"({format_share(row['ci_low'])} to {format_share(row['ci_high'])})"
    )
