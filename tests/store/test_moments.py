from datetime import UTC, datetime, timedelta, timezone

from panel.store.database import local, now, read, written


def test_moments_are_written_in_utc_so_that_text_sorts_as_time():
    noon = datetime(2025, 3, 14, 14, 0, 10, 123456, tzinfo=timezone(timedelta(hours=1)))
    assert written(noon) == "2025-03-14T13:00:10.123+00:00"
    moments = [noon + timedelta(milliseconds=step) for step in (0, 1, 999, 60_000, 10**9)]
    texts = [written(moment) for moment in moments]
    assert texts == sorted(texts)


def test_a_moment_is_read_back():
    moment = datetime(2025, 3, 14, 13, 0, 10, 123000, tzinfo=UTC)
    assert read(written(moment)) == moment


def test_study_files_hold_the_time_of_the_wall_clock():
    moment = datetime(2025, 3, 14, 13, 0, 10, 900000).astimezone()
    assert local(written(moment)) == "2025-03-14T13:00:10"


def test_now_knows_its_distance_from_utc():
    assert now().utcoffset() == timedelta(0)
