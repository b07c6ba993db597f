"""The scores as numbers and codes: what every check of the scores starts from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.checks.codes import Names
from panel.checks.places import told
from panel.checks.sound_study import scales
from panel.study.named_rows import why_nameless
from panel.study.scores_used import scores_used
from panel.study.study import Study
from panel.study.tables_collected import CANNOT_JUDGE


@dataclass(frozen=True, eq=False, slots=True)
class ScoreCells:
    """The rows of the scores table that say whose they are and of what, one entry each.

    Parameters
    ----------
    line
        Line of the file on which the row stands.
    score
        The score after written corrections; NaN where it is blank or was set aside.
    settled
        True where a written correction concerns the row.
    unable
        True where the assessor said that it cannot be judged.
    sitting
        The session; where no row has one, the replicate.
    sitting_word
        `session` or `replicate`: which of the two `sitting` is.
    lowest, highest
        Lowest and highest possible score of each attribute (by attribute code), NaN where unknown.
    """

    line: np.ndarray
    score: np.ndarray
    settled: np.ndarray
    unable: np.ndarray
    assessor: Names
    prototype: Names
    attribute: Names
    sitting: Names
    replicate: Names
    sitting_word: str
    position: np.ndarray
    batch: pd.Series
    recorded_at: pd.Series
    lowest: np.ndarray
    highest: np.ndarray

    def place(self, row: int) -> str:
        """Return where a row is, such as `scores, row 812: A02, session 2, P4, AF_GREASE`."""
        return f"scores, row {self.line[row]}: {self.sample(row)}, {self.attribute.of[self.attribute.code[row]]}"

    def sample(self, row: int) -> str:
        """Return whose sample of what a row belongs to, such as `A02, session 2, P4`."""
        return f"{self.turn(row)}, {self.prototype.of[self.prototype.code[row]]}"

    def turn(self, row: int) -> str:
        """Return who sat when, such as `A02, session 2`."""
        return told_turn(self, self.assessor.code[row], self.sitting.code[row])


def score_cells(study: Study) -> ScoreCells:
    """Return the scores of a sound study as codes (see `panel.checks.sound_study`)."""
    score, settled = _after_corrections(study)
    rows, named = _named(study.scores)
    session, replicate, attribute = (Names.read(rows[name]) for name in ("session", "replicate", "attribute"))
    by_session = bool((session.of != "").any())
    lowest, highest = scales(study, attribute.of)
    return ScoreCells(
        line=np.flatnonzero(named) + 2,
        score=score[named],
        settled=settled[named],
        unable=(rows["flag"].str.strip().str.casefold() == CANNOT_JUDGE).to_numpy(dtype=bool),
        assessor=Names.read(rows["assessor"]),
        prototype=Names.read(rows["prototype"]),
        attribute=attribute,
        sitting=session if by_session else replicate,
        replicate=replicate,
        sitting_word="session" if by_session else "replicate",
        position=rows["position"].to_numpy(dtype=float),
        batch=rows["batch"],
        recorded_at=rows["recorded_at"],
        lowest=lowest,
        highest=highest,
    )


def _named(scores: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """Return the rows that an analysis may use, and which rows those are."""
    named = (why_nameless(scores, "scores") == "").to_numpy(dtype=bool)
    return (scores if named.all() else scores[named]), named


def told_turn(cells: ScoreCells, assessor: int, sitting: int) -> str:
    """Return who sat when, by the codes of assessor and sitting."""
    name = cells.sitting.of[sitting]
    return f"{cells.assessor.of[assessor]}, {cells.sitting_word} {name}" if name else str(cells.assessor.of[assessor])


def told_score(score: float) -> str:
    """Return a score as the user wrote it."""
    return told(float(score))


def _after_corrections(study: Study) -> tuple[np.ndarray, np.ndarray]:
    """Return the scores after the written corrections, and which rows those concern."""
    scores = study.scores
    settled = np.zeros(len(scores), dtype=bool)
    if "corrections" not in study.tables or study.table("corrections").empty:
        return scores["score"].to_numpy(dtype=float), settled
    used = scores_used(Study(study.tables))  # without the facts: rules are the analysis's business
    settled[used.corrected["row"].to_numpy(dtype=int) - 2] = True
    settled[used.set_aside["row"].to_numpy(dtype=int) - 2] = True
    return used.frame["score"].reindex(scores.index).to_numpy(dtype=float), settled
