"""How far the ballots have come, as tables and plain sentences; they count marks and never show one."""

from __future__ import annotations

import pandas as pd

from panel.views.drawing.formats import NOTHING, format_list

_MOST_NAMED = 6


def progress_table(board: pd.DataFrame) -> pd.DataFrame:
    """Return one row per assessor: samples and marks done, what could not be judged, what came early, and the state.

    Parameters
    ----------
    board
        `session assessor servings finished asked answered cannot_judge early comments stopped last_at`.
    """
    return pd.DataFrame(
        {
            "Assessor": list(board["assessor"]),
            "State": [_state(row) for row in board.to_dict("records")],
            "Samples done": [f"{row['finished']} of {row['servings']}" for row in board.to_dict("records")],
            "Marks": _marks(board),
            "Cannot judge": [f"{count}" for count in board["cannot_judge"]],
            "Too early": [f"{count}" for count in board["early"]],
            "Comments": [f"{count}" for count in board["comments"]],
            "Last sent": [_time(text) for text in board["last_at"]],
        },
        dtype="str",
    )


def samples_table(board: pd.DataFrame) -> pd.DataFrame:
    """Return one row per sample, by its code: how many of its marks are there.

    Parameters
    ----------
    board
        `session assessor position code site asked answered cannot_judge early comments opened last_at`.
    """
    return pd.DataFrame(
        {
            "Assessor": list(board["assessor"]),
            "Sample": [f"{row['position']}: {row['code']}" for row in board.to_dict("records")],
            "Site": [site or NOTHING for site in board["site"]],
            "Marks": _marks(board),
            "Too early": [f"{count}" for count in board["early"]],
            "Opened": ["yes" if opened else "not yet" for opened in board["opened"]],
            "Last sent": [_time(text) for text in board["last_at"]],
        },
        dtype="str",
    )


def who_has_answered(board: pd.DataFrame) -> str:
    """Return in one or two sentences how many assessors have finished, and who has not begun or has stopped."""
    if board.empty:
        return "Nobody is served in this session."
    states = [_state(row) for row in board.to_dict("records")]
    done = states.count("finished")
    parts = [f"{done} of {len(board)} assessors have finished."]
    for state, words in (("not begun", "Not begun"), (_STOPPED, "Stopped after a skin reaction")):
        names = [name for name, own in zip(board["assessor"], states, strict=True) if own == state]
        if names:
            more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
            shown = ", ".join(names[:_MOST_NAMED]) if more else format_list(names)
            parts.append(f"{words}: {shown}{more}.")
    return " ".join(parts)


def what_locking_did(session: str, scores: int, cannot_judge: int) -> str:
    """Return that a session is locked and what went into the study."""
    return f"Session {session} is locked: {scores} scores and {cannot_judge} times cannot judge are in the study."


def what_locking_leaves_out(board: pd.DataFrame) -> list[str]:
    """Return what is missing in a session that is about to be locked, one line per assessor; empty if nothing is."""
    lines = []
    left = board["asked"] - board["answered"] - board["cannot_judge"]
    for assessor, rows in board.assign(left=left).groupby("assessor", sort=False):
        missing = rows.loc[rows["left"] > 0]
        if len(missing):
            marks = "1 mark is" if missing["left"].sum() == 1 else f"{missing['left'].sum()} marks are"
            codes = "code" if len(missing) == 1 else "codes"
            lines.append(f"{assessor}: {marks} missing ({codes} {format_list(list(missing['code']))}).")
    return lines


_STOPPED = "stopped: skin reaction"


def _state(row: dict) -> str:
    if row["stopped"]:
        return _STOPPED
    if row["finished"] == row["servings"]:
        return "finished"
    return "under way" if row["last_at"] else "not begun"


def _marks(board: pd.DataFrame) -> list[str]:
    done = (board["answered"] + board["cannot_judge"]).tolist()
    return [f"{count} of {asked}" for count, asked in zip(done, board["asked"].tolist(), strict=True)]


def _time(text: str) -> str:
    return text[11:] if text else NOTHING
