"""Reads the tables of a collection with DuckDB: collection_duckdb.py SITE.

Every table must hold the same rows in Parquet, CSV and JSON Lines, with the types that csv-metadata.json states. What
the findings and elements add up to is printed as JSON for tests/reference_collection.rs, which compares it with what
`underlid check` says.
"""

import json
import math
import sys
from pathlib import Path

import duckdb

TYPES = {"string": "VARCHAR", "double": "DOUBLE", "integer": "BIGINT", "boolean": "BOOLEAN", "date": "DATE"}

site = Path(sys.argv[1])
db = duckdb.connect()


def rows(source):
    return db.execute(f"SELECT * FROM {source}").fetchall()


def same(one, other):
    if isinstance(one, float) and isinstance(other, float):
        return one == other or (math.isnan(one) and math.isnan(other))
    return one == other


def plain(cell):
    """A text of the CSV without the apostrophe that keeps it from being worked out as a formula."""
    guarded = isinstance(cell, str) and cell[:1] == "'" and cell[1:2] in ("=", "+", "-", "@", "\t", "\r")
    return cell[1:] if guarded else cell


def compare(name, what, one, other):
    assert len(one) == len(other), f"{name}: {len(one)} rows in Parquet, {len(other)} in {what}"
    for number, (left, right) in enumerate(zip(one, other)):
        for place, (a, b) in enumerate(zip(left, right)):
            b = plain(b) if what == "CSV" else b
            assert same(a, b), f"{name}, row {number}, column {place}: Parquet {a!r}, {what} {b!r}"


metadata = json.loads((site / "csv-metadata.json").read_text(encoding="utf-8"))
numbers = {}
for table in metadata["tables"]:
    name = table["url"].removesuffix(".csv")
    columns = {c["name"]: TYPES[c["datatype"]] for c in table["tableSchema"]["columns"]}
    described = db.execute(f"DESCRIBE SELECT * FROM '{site}/{name}.parquet'").fetchall()
    assert {row[0]: row[1] for row in described} == columns, (name, described)
    parquet = rows(f"'{site}/{name}.parquet'")
    stated = ", ".join(f"'{column}': '{kind}'" for column, kind in columns.items())
    # Empty is null; a quoted cell is text, whatever stands in it.
    csv = rows(f"read_csv('{site}/{name}.csv', header = true, columns = {{{stated}}}, nullstr = '', strict_mode = true)")
    compare(name, "CSV", parquet, csv)
    lines = rows(f"read_json('{site}/{name}.jsonl', format = 'newline_delimited', columns = {{{stated}}})")
    compare(name, "JSON Lines", parquet, lines)
    numbers[name] = len(parquet)
    # The meaning of every column travels with the file.
    notes = dict(db.execute(f"SELECT decode(key), decode(value) FROM parquet_kv_metadata('{site}/{name}.parquet')").fetchall())
    assert all(notes.get(f"column.{column}") for column in columns), f"{name}: a column without a note"

# The tables agree with each other.
wrong = db.execute(
    f"""
    WITH causes AS (
        SELECT inspection, cause,
               min(CASE grade WHEN 'critical' THEN 0 WHEN 'major' THEN 1 ELSE 2 END) AS grade
        FROM '{site}/findings.parquet' WHERE outcome = 'falls short' AND grade <> 'custom' GROUP BY inspection, cause
    ), short AS (
        SELECT inspection,
               count(*) FILTER (grade = 0) AS critical,
               count(*) FILTER (grade = 1) AS major,
               count(*) FILTER (grade = 2) AS minor
        FROM causes GROUP BY inspection
    ), rest AS (
        SELECT inspection,
               count(*) FILTER (outcome = 'not decided') AS not_decided,
               count(*) FILTER (outcome = 'meets') AS meets
        FROM '{site}/findings.parquet' WHERE grade <> 'custom' GROUP BY inspection
    ), f AS (
        SELECT inspection, coalesce(critical, 0) AS critical, coalesce(major, 0) AS major, coalesce(minor, 0) AS minor,
               not_decided, meets
        FROM rest LEFT JOIN short USING (inspection)
    )
    SELECT p.folder, p.critical, f.critical, p.major, f.major, p.minor, f.minor, p.not_decided, f.not_decided, p.meets, f.meets
    FROM '{site}/collection.parquet' p JOIN f USING (inspection)
    WHERE (p.critical, p.major, p.minor, p.not_decided, p.meets)
       IS DISTINCT FROM (f.critical, f.major, f.minor, f.not_decided, f.meets)
    """
).fetchall()
assert wrong == [], wrong
wrong = db.execute(
    f"""
    SELECT p.folder, p.weakest_permissible_current_a, e.least
    FROM '{site}/collection.parquet' p JOIN (
        SELECT inspection, min(permissible_current_a) AS least, count(*) AS elements,
               count(*) FILTER (permissible_current_a IS NULL) AS not_known
        FROM '{site}/elements.parquet' GROUP BY inspection
    ) e USING (inspection)
    -- The heat of the whole may allow less than any part alone.
    WHERE (p.weakest_permissible_current_a IS NULL AND e.least IS NOT NULL) OR p.weakest_permissible_current_a > e.least OR p.elements <> e.elements
       OR p.elements_not_known <> e.not_known
    """
).fetchall()
assert wrong == [], wrong

# Every cause is told in words, one cause of a pack in the same words, and what meets has none.
wrong = db.execute(
    f"""
    SELECT inspection, cause FROM '{site}/findings.parquet' GROUP BY inspection, cause
    HAVING count(DISTINCT said) <> CASE WHEN cause IS NULL THEN 0 ELSE 1 END
    """
).fetchall()
assert wrong == [], wrong

# Derived columns, worked out again by DuckDB.
wrong = db.execute(
    f"""
    SELECT folder FROM '{site}/collection.parquet'
    WHERE abs(margin_a - (weakest_permissible_current_a - rated_current_a)) > 1e-9
       OR abs(margin_percent - 100 * margin_a / rated_current_a) > 1e-9
       OR abs(measured_share_percent - 100 * measured_capacity_ah / claimed_capacity_ah) > 1e-9
       OR abs(claimed_wh_per_kg - claimed_energy_wh / mass_kg) > 1e-9
       OR abs(price_per_claimed_wh - price_amount / claimed_energy_wh) > 1e-9
       OR abs(price_per_measured_wh - price_amount / measured_energy_wh) > 1e-9
       OR (price_amount IS NULL) <> (price_currency IS NULL)
       OR (problem IS NOT NULL AND critical IS NOT NULL)
    """
).fetchall()
assert wrong == [], wrong

packs = db.execute(
    f"""
    SELECT p.folder, any_value(p.date)::VARCHAR, list(f.rule || ' ' || f.part || ' ' || f.outcome ORDER BY f.rule, f.part, f.outcome)
    FROM '{site}/collection.parquet' p
    JOIN (SELECT inspection, rule, coalesce(part, '') AS part, outcome FROM '{site}/findings.parquet') f USING (inspection)
    GROUP BY p.folder ORDER BY p.folder
    """
).fetchall()
print(json.dumps({"rows": numbers, "packs": [{"folder": f, "date": d, "findings": o} for f, d, o in packs]}))
