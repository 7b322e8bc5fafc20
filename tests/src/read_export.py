"""Reads an export with an engine that is not ours, and prints it as JSON lines.

    python read_export.py FOLDER csv|parquet

A line a table: its name, its columns with the engine's types, and its rows, each value as text or null, instants as
milliseconds since 1970. CSV is read as text alone, so that the text itself is what is compared; what the engine takes
the columns for stands beside it.
"""

import json
import pathlib
import sys

import duckdb

INSTANT = "TIMESTAMP WITH TIME ZONE"


def types(relation):
    return {row[0]: row[1] for row in duckdb.sql(f"DESCRIBE SELECT * FROM {relation}").fetchall()}


def text(value):
    if value is None:
        return None
    return str(value).lower() if isinstance(value, bool) else repr(value) if isinstance(value, float) else str(value)


def rows(relation, columns):
    names = [f'epoch_ms("{name}")' if kind == INSTANT else f'"{name}"' for name, kind in columns.items()]
    found = duckdb.sql(f"SELECT {', '.join(names)} FROM {relation}").fetchall()
    return [dict(zip(columns, map(text, row))) for row in found]


def tell(table, relation, shown):
    columns = types(relation)
    print(json.dumps({"table": table, "types": shown or columns, "rows": rows(relation, columns)}))


def main(folder, form):
    duckdb.sql("SET TimeZone = 'Pacific/Chatham'")
    for path in sorted(pathlib.Path(folder).iterdir()):
        if form == "csv":
            taken_for = types(f"read_csv('{path}', header = true)")
            tell(path.stem, f"read_csv('{path}', header = true, all_varchar = true)", taken_for)
        else:
            tell(path.name, f"read_parquet('{path}/*/*/*.parquet', hive_partitioning = true)", None)


main(*sys.argv[1:])
