"""The table of timings: a ratio lost by more than a third fails the run."""

import numpy as np
import pytest

from benchmarks import __main__ as timings
from benchmarks.panels import SESSIONS, trained, with_sessions
from panel.models.prototypes.differences import find_differences


@pytest.mark.parametrize(("ratio", "lost"), [(30.0, 0), (20.1, 0), (19.9, 1)])
def test_a_ratio_lost_by_more_than_a_third_is_counted(monkeypatch, capsys, ratio, lost):
    row = timings.Row("task", "other", 0.1, 0.1 * ratio, 30.0)
    monkeypatch.setattr(timings, "rows_of", lambda *, quick: [lambda: row])
    assert timings.main() == lost
    assert ("LOST" in capsys.readouterr().out) is bool(lost)


def test_a_panel_of_the_timings_is_the_study_a_user_would_have():
    panel = with_sessions(6, 0.10, SESSIONS)
    study = timings.study_of(panel)
    assert study.scores["score"].to_numpy().reshape(panel.scores.shape) == pytest.approx(panel.scores)
    assert set(study.scores["session"]) == {"0", "1", "2"}
    found = find_differences(timings.study_of(trained(1, 0.0)))
    assert len(found.pairs) == 28 * 20
    assert np.isfinite(found.pairs["p_adjusted"]).all()
