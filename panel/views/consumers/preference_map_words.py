"""Towards which sensations liking rises, in plain sentences and tables, and what so few prototypes cannot show."""

from __future__ import annotations

import pandas as pd

from panel.models.consumers.preference_map import PreferenceMap
from panel.models.consumers.segments import Segments
from panel.views.consumers.segment_words import segment_name
from panel.views.drawing.formats import format_interval, format_list, format_number, format_p, format_share, p_words
from panel.views.drawing.naming import Naming

_MOST = 3  # sensations named on either side
_CLEAR = 0.05


def preferences_headline(result: PreferenceMap, segments: Segments, names: Naming) -> str:
    """Return the answer in one sentence."""
    own = result.directions.loc[result.directions["segment"] > 0]
    judged = own if len(own) else result.directions
    clear = judged.loc[judged["p_value"] < _CLEAR]
    if clear.empty:
        return "No direction on the panel's map goes clearly with liking."
    parts = [
        f"for {segment_name(segments, int(row['segment']))} {_towards(result, int(row['segment']), names)}"
        for row in clear.to_dict("records")
    ]
    return f"Liking rises {'; '.join(parts)}."


def what_the_preferences_show(result: PreferenceMap, segments: Segments, names: Naming) -> list[str]:
    """Return one line per group: how well the map describes its liking, and whether a best place shows."""
    lines = []
    for way, ideal in zip(result.directions.to_dict("records"), result.ideals.to_dict("records"), strict=True):
        name = segment_name(segments, int(way["segment"]))
        fits = (
            f"{name[0].upper()}{name[1:]}: the map describes {format_share(way['share'])} of the differences in liking"
        )
        best = _best_place(ideal)
        lines.append(f"{fits} ({p_words(way['p_value'])}, {len(result.places)} prototypes). {best}")
    if len(result.shares):
        top, low = result.shares["share"].max(), result.shares["share"].min()
        lines.append(
            f"Wherever one goes among the prototypes, between {format_share(low)} and {format_share(top)} of the "
            "consumers are expected to like it better than their own mean: no place pleases everybody."
        )
    return lines


def what_the_preferences_cannot_show(result: PreferenceMap) -> tuple[str, ...]:
    """Return what a reader must not take from the map."""
    return (
        f"{len(result.places)} prototypes are very few for a map of preferences: it is for finding ideas, not for "
        "proving one. Make the prototype it points to and test it.",
        "A sensation that goes with liking need not be its cause: sensations change together when an emollient is "
        "swapped.",
        "Nothing is known beyond the outermost prototypes; directions must not be followed outside the map.",
    )


def sensations_table(result: PreferenceMap, segments: Segments, names: Naming) -> pd.DataFrame:
    """Return one row per attribute, and for each group the correlation of its mean liking with the panel's mean."""
    groups = list(dict.fromkeys(result.sensations["segment"]))
    attributes = list(dict.fromkeys(result.sensations["attribute"]))
    table = {"Attribute": [names.attribute(str(name)) for name in attributes]}
    for group in groups:
        rows = result.sensations.loc[result.sensations["segment"] == group].set_index("attribute").loc[attributes]
        table[f"r, {segment_name(segments, int(group))}"] = [
            f"{format_number(row['estimate'], 2)}{' *' if row['beyond'] else ''} "
            f"({format_interval(row['ci_low'], row['ci_high'], 2)})"
            for row in rows.to_dict("records")
        ]
    return pd.DataFrame(table, dtype="str")


def sensations_caption(result: PreferenceMap) -> str:
    """Return what the stars mean."""
    return (
        f"* beyond {format_number(result.limit, 2)}, which a single pair chosen beforehand needs with "
        f"{len(result.places)} prototypes. With so many pairs some pass it by chance."
    )


def directions_table(result: PreferenceMap, segments: Segments) -> pd.DataFrame:
    """Return one row per group: direction, interval, share described, and the ideal point where there is one."""
    rows = result.directions.merge(result.ideals, on="segment", suffixes=("", "_ideal"))
    return pd.DataFrame(
        {
            "Consumers": [segment_name(segments, int(segment)) for segment in rows["segment"]],
            "Direction (degrees)": [format_number(value, 0) for value in rows["angle"]],
            f"{100 * result.level:g} % interval": [
                format_interval(low, high, 0) for low, high in zip(rows["angle_low"], rows["angle_high"], strict=True)
            ],
            "Described, vector": [format_share(value) for value in rows["share"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "Described, ideal point": [format_share(value) for value in rows["share_ideal"]],
            "p of the peak": [format_p(value) for value in rows["curvature_p_value"]],
            "Peak": [_best_place(row) for row in rows.to_dict("records")],
        },
        dtype="str",
    )


def preferences_alt_text(result: PreferenceMap, segments: Segments, names: Naming) -> str:
    """Return what the picture shows, for those who do not see it."""
    lines = [preferences_headline(result, segments, names), *what_the_preferences_show(result, segments, names)]
    return f"The panel's map with arrows towards more liking. {' '.join(lines)}"


def _towards(result: PreferenceMap, segment: int, names: Naming) -> str:
    rows = result.sensations.loc[(result.sensations["segment"] == segment) & result.sensations["beyond"]]
    ordered = rows.reindex(rows["estimate"].abs().sort_values(ascending=False).index)
    more = [_quoted(names.attribute(str(name))) for name in ordered.loc[ordered["estimate"] > 0, "attribute"]][:_MOST]
    less = [_quoted(names.attribute(str(name))) for name in ordered.loc[ordered["estimate"] < 0, "attribute"]][:_MOST]
    parts = [f"with more {format_list(more)}"] if more else []
    parts += [f"with less {format_list(less)}"] if less else []
    return " and ".join(parts) or "in a direction that no single sensation describes"


def _quoted(words: str) -> str:
    """Words with a comma in them would read as two things in a list."""
    return f"“{words}”" if "," in words else words


def _best_place(ideal: dict[str, object] | dict[object, object]) -> str:
    row = {str(name): value for name, value in ideal.items()}
    if not row["peak"] or float(str(row["curvature_p_value"])) >= _CLEAR:
        return "No best place shows; a direction describes it as well."
    return "Its best place lies among the prototypes." if row["inside"] else "Its best place would lie outside the map."
