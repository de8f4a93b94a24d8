"""Prints every value of every Parquet file below a folder, decoded by DuckDB: parquet_text.py FOLDER.

The pages of a Parquet file are compressed, so what stands in it cannot be found by searching its bytes; tests/sharing.rs
searches what this prints.
"""

import sys
from pathlib import Path

import duckdb

db = duckdb.connect()
sys.stdout.reconfigure(encoding="utf-8")
for path in sorted(Path(sys.argv[1]).rglob("*.parquet")):
    source = str(path).replace("'", "''")
    for row in db.execute(f"SELECT * FROM '{source}'").fetchall():
        print(path.name, *(value for value in row if value is not None), sep="\t")
    for key, value in db.execute(f"SELECT key, value FROM parquet_kv_metadata('{source}')").fetchall():
        print(path.name, key, value, sep="\t")
