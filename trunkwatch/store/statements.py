"""The statements that make the tables of the store and their indexes, from the words of the vineyard."""

from trunkwatch.vineyard.tables import Table

__all__ = ["index_sql", "table_sql"]


def table_sql(table: Table) -> str:
    """Return the statement that makes a table: a running number and every column."""
    columns = ["number INTEGER PRIMARY KEY"]
    for column in table.columns:
        kind = "REAL" if column.is_number else "TEXT NOT NULL DEFAULT ''"
        columns.append(f'"{column.name}" {kind}')
    return f'CREATE TABLE "{table.name}" ({", ".join(columns)}) STRICT'


def index_sql(table: Table) -> dict[str, str]:
    """Return the statements that make the indexes of a table, by name: each id once, corrections, records by block."""
    made = {f"{table.name}_id": f'CREATE UNIQUE INDEX "{table.name}_id" ON "{table.name}" (id)'}
    made[f"{table.name}_corrects"] = (
        f'CREATE INDEX "{table.name}_corrects" ON "{table.name}" (corrects) WHERE corrects <> \'\''
    )
    if "block" in table.names:
        listed = "block, row" if "row" in table.names else "block"
        made[f"{table.name}_block"] = f'CREATE INDEX "{table.name}_block" ON "{table.name}" ({listed})'
    return made
