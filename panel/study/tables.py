"""Which tables a study has, which columns each table has, and what a row of it is."""

from __future__ import annotations

from types import MappingProxyType

from panel.study.columns import Column, Table
from panel.study.tables_collected import COLLECTED
from panel.study.tables_prepared import PREPARED
from panel.study.tables_recorded import RECORDED

TABLES = MappingProxyType({table.name: table for table in (*PREPARED, *COLLECTED, *RECORDED)})

__all__ = ["TABLES", "Column", "Table"]
