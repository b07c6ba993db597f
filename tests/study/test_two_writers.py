"""Two writers, one as a page and one as a command: what both were told is on record is there, once."""

from benchmarks.writers import write_together

ROWS = 20  # more by `python -m benchmarks.writers`


def test_everything_that_two_writers_were_told_is_kept(tmp_path):
    found = write_together(tmp_path / "s", 2, ROWS)
    assert (found.acknowledged, found.kept, found.twice, found.faults) == (ROWS, ROWS, 0, 0)
