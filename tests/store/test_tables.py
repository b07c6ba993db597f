from panel.store.tables import _METADATA, EVENT, FROZEN_KINDS, SCORE, SCORE_KINDS, SKIN_KINDS


def test_each_kind_of_event_is_either_closed_by_the_lock_or_may_come_later():
    assert set(SCORE_KINDS) <= set(FROZEN_KINDS)
    assert not set(FROZEN_KINDS) & set(SKIN_KINDS)  # a reaction in the evening must never be refused


def test_no_table_has_a_place_for_what_a_sample_is():
    names = {column.name for table in _METADATA.tables.values() for column in table.columns}
    assert not names & {"prototype", "ingredient", "formula", "batch", "token"}


def test_the_view_of_scores_has_the_columns_of_the_events():
    assert [column.name for column in SCORE.columns] == [column.name for column in EVENT.columns]
    assert SCORE.name not in _METADATA.tables


def test_every_event_says_whether_it_was_rehearsed():
    assert not EVENT.c.rehearsal.nullable
