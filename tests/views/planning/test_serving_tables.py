"""Serving plans as tables: what is shown, what is hidden, in which order."""

import numpy as np
import pytest

from panel.plan.orders import plan_servings
from panel.plan.protocol import PANEL_LEADER, servings_seen
from panel.views.planning.plan import (
    balance_table,
    carry_over_table,
    gaps_table,
    key_table,
    places_table,
    servings_table,
    sites_table,
    together_table,
    tray_table,
)
from tests.plan.test_gaps import forbid

NAMES = [f"P{number}" for number in range(1, 12)]
PLAN = plan_servings(
    NAMES, ["A1", "A2", "A3"], np.random.default_rng(1), per_session=6, warm_up="start", forbidden=forbid(("A1", "P3"))
)


def test_one_row_per_serving():
    table = servings_table(PLAN.servings, "start")
    assert len(table) == len(PLAN.servings)
    assert table["Position"].iloc[0] == "1"
    assert (table.loc[table["Prototype"] == "start", "Remark"] == "warm-up, not analysed").all()
    assert (table.loc[table["Prototype"] != "start", "Remark"] == "").all()


def test_the_panel_leader_sees_no_prototypes():
    table = servings_table(servings_seen(PLAN.servings, PANEL_LEADER, locked=False), "start")
    assert "Prototype" not in table
    assert "Remark" not in table  # it would tell which code is the warm-up
    assert not set(NAMES) & set(table.to_numpy().ravel())


def test_a_tray_holds_the_codes_from_first_to_last_and_no_prototype():
    table = tray_table(PLAN.servings, "1")
    assert table["Assessor"].tolist() == ["A1", "A2", "A3"]
    rows = PLAN.servings.query("session == '1' and assessor == 'A2'").sort_values("position")
    shown = [cell.split(" ")[0] for cell in table.loc[1].tolist()[1:]]
    assert shown[: len(rows)] == rows["code"].tolist()
    assert not any(name in cell for cell in table.to_numpy().ravel() for name in NAMES)


def test_the_key_has_every_code_and_puts_2_before_10():
    table = key_table(PLAN.servings)
    assert table["Prototype"].tolist() == [*NAMES, "start"]
    assert set(table.columns) == {"Prototype", "Code in session 1", "Code in session 2"}
    shown = set(table.iloc[:, 1:].to_numpy().ravel()) - {"–"}
    assert shown == set(PLAN.servings["code"])


def test_counts_are_those_of_the_balance():
    balance = PLAN.balance
    assert places_table(balance).iloc[:, 1:].astype(int).to_numpy().sum() == balance.positions["count"].sum()
    assert sites_table(balance).iloc[:, 1:].astype(int).to_numpy().sum() == balance.sites["count"].sum()
    table = carry_over_table(balance)
    assert table.columns.tolist() == ["Prototype", *(f"After {name}" for name in NAMES)]
    assert [table.iloc[n, n + 1] for n in range(len(NAMES))] == ["–"] * len(NAMES)
    assert sites_table(balance).columns.tolist()[1:] == sorted(sites_table(balance).columns.tolist()[1:])


def test_the_balance_says_in_words_what_was_counted():
    table = balance_table(PLAN.balance)
    assert len(table) == len(PLAN.balance.summary)
    assert table["In words"].tolist() == PLAN.balance.summary["verdict"].tolist()
    assert table["Where"].iloc[0] == "all sessions"


def test_precision_is_never_rounded_up():
    table = together_table(PLAN.balance)
    shares = PLAN.balance.together["share"]
    shown = table["Precision, of the complete plan"].str.removesuffix(" %").astype(float)
    assert (shown <= 100 * shares + 1e-9).all()
    assert (shown > 100 * shares - 1).all()


def test_gaps_say_who_does_not_get_what_and_why():
    assert gaps_table(PLAN.gaps).to_numpy().tolist() == [["A1", "P3", "avoids nuts"]]


@pytest.mark.parametrize("make", [places_table, carry_over_table, sites_table, together_table, balance_table])
def test_every_cell_is_text(make):
    assert all(str(dtype) == "str" for dtype in make(PLAN.balance).dtypes)


def test_without_sites_there_is_no_table_of_sites():
    plan = plan_servings(NAMES[:3], ["A1"], np.random.default_rng(1), sites=())
    assert sites_table(plan.balance).empty
    assert (servings_table(plan.servings)["Site"] == "–").all()
