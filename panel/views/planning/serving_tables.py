"""Serving plans as tables a person reads: who gets what, the codes, how even it is, what is left out."""

from __future__ import annotations

import pandas as pd

from panel.plan.balance import ServingBalance
from panel.views.drawing.formats import NOTHING, format_number, format_share

_WHAT = {
    "place": "How often each prototype stands at each position",
    "carry-over": "How often each prototype comes straight after each other one",
    "site": "How often each prototype goes to each site",
}


def servings_table(servings: pd.DataFrame, warm_up: str = "") -> pd.DataFrame:
    """Return one row per serving in the order of serving; prototypes and codes only where the frame has them."""
    columns = {"session": "Session", "assessor": "Assessor", "position": "Position"}
    columns |= {"code": "Code", "prototype": "Prototype", "site": "Site"}
    shown = servings[[name for name in columns if name in servings]].rename(columns=columns)
    shown["Position"] = [format_number(value, 0) for value in shown["Position"]]
    if "Site" in shown:
        shown["Site"] = [site or NOTHING for site in shown["Site"]]
    if warm_up and "prototype" in servings:
        shown["Remark"] = ["warm-up, not analysed" if name == warm_up else "" for name in servings["prototype"]]
    return shown.astype("str").reset_index(drop=True)


def tray_table(servings: pd.DataFrame, session: str) -> pd.DataFrame:
    """Return what stands on each assessor's tray in a session: one row each, the codes from first to last."""
    rows = servings.loc[servings["session"] == session].sort_values(["assessor", "position"], kind="stable")
    label = [f"{code} ({site})" if site else code for code, site in zip(rows["code"], rows["site"], strict=True)]
    wide = rows.assign(label=label).pivot_table(index="assessor", columns="position", values="label", aggfunc="first")
    wide = wide.fillna(NOTHING)
    wide.columns = [f"Position {format_number(float(place), 0)}" for place in wide.columns]
    return wide.rename_axis("Assessor").reset_index().astype("str")


def key_table(servings: pd.DataFrame) -> pd.DataFrame:
    """Return one row per prototype and one column per session: its code. Whoever sees it is no longer blind."""
    key = servings[["session", "prototype", "code"]].drop_duplicates()
    wide = key.pivot_table(index="prototype", columns="session", values="code", aggfunc="first").fillna(NOTHING)
    wide = wide[list(dict.fromkeys(key["session"]))].reindex(sorted(wide.index, key=_by_number))
    wide.columns = [f"Code in session {session}" for session in wide.columns]
    return wide.rename_axis("Prototype").reset_index().astype("str")


def balance_table(balance: ServingBalance) -> pd.DataFrame:
    """Return one row per thing that should be even: smallest and largest count, and how even that is."""
    rows = balance.summary
    return pd.DataFrame(
        {
            "What was counted": [_WHAT[what] for what in rows["what"]],
            "Where": [f"session {session}" if session else "all sessions" for session in rows["session"]],
            "Smallest": [f"{count:d}" for count in rows["smallest"]],
            "Largest": [f"{count:d}" for count in rows["largest"]],
            "In words": list(rows["verdict"]),
        },
        dtype="str",
    )


def places_table(balance: ServingBalance) -> pd.DataFrame:
    """Return how often each prototype (row) stands at each position of the order (column)."""
    counts = balance.positions.assign(
        position=[f"Position {format_number(p, 0)}" for p in balance.positions["position"]]
    )
    return _wide(counts, "position")


def carry_over_table(balance: ServingBalance) -> pd.DataFrame:
    """Return how often each prototype (row) comes straight after each other one (column)."""
    rows = balance.carry_over
    wide = _wide(rows.assign(after="After " + rows["after"]), "after")
    return wide[["Prototype", *(f"After {name}" for name in dict.fromkeys(rows["prototype"]))]]


def sites_table(balance: ServingBalance) -> pd.DataFrame:
    """Return how often each prototype (row) goes to each site (column)."""
    return _wide(balance.sites, "site")


def together_table(balance: ServingBalance) -> pd.DataFrame:
    """Return one row per two prototypes: who tries both, how often in one session, how precise their difference is."""
    rows = balance.together
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Assessors who try both": [f"{count:d}" for count in rows["assessors"]],
            "Sittings with both": [f"{count:d}" for count in rows["sessions"]],
            "Precision, of the complete plan": [format_share(min(share, 1.0)) for share in rows["share"]],
        },
        dtype="str",
    )


def gaps_table(gaps: pd.DataFrame) -> pd.DataFrame:
    """Return one row per assessor and prototype that must not meet, and why."""
    columns = {"assessor": "Assessor", "prototype": "Does not get", "reason": "Why"}
    return gaps[list(columns)].rename(columns=columns).astype("str").reset_index(drop=True)


def _wide(counts: pd.DataFrame, across: str) -> pd.DataFrame:
    """Return counts with one row per prototype and one column per value, in the order they come."""
    if counts.empty:
        return pd.DataFrame({"Prototype": pd.Series(dtype="str")})
    wide = counts.pivot_table(index="prototype", columns=across, values="count", aggfunc="sum", sort=False)
    wide = wide.reindex(columns=list(dict.fromkeys(counts[across])))
    text = wide.map(lambda count: NOTHING if pd.isna(count) else f"{count:.0f}")
    text.columns = [str(name) for name in text.columns]
    return text.rename_axis("Prototype").reset_index().astype("str")


def _by_number(name: str) -> tuple[str, int]:
    """Return a key that puts P2 before P10."""
    digits = "".join(character for character in name if character.isdigit())
    return name.rstrip("0123456789"), int(digits or 0)
