"""Asks a collection in shares real questions, by two engines: collection_shares.py SHARES SITE.

SHARES holds part=K-of-N/ folders of `underlid collection --part K/N`, SITE the same inspections built in one piece. DuckDB
and Dask (pandas and pyarrow beneath it) read the Parquet files of all shares as one dataset; what they answer must be what
the JSON Lines of the whole add up to in plain Python. Prints what it was asked, as JSON.

The questions, by maker and year of the inspection: of how many packs is it decided whether the fuse interrupts the fault
current, and how many of those cannot; what current the packs carry, and what a permissible ampere costs, by currency.
"""

import json
import math
import sys
from collections import defaultdict
from pathlib import Path

import dask.dataframe as dd
import duckdb

RULE = "fuse-interrupting-rating"
shares, site = Path(sys.argv[1]), Path(sys.argv[2])


def lines(table):
    with open(site / f"{table}.jsonl", encoding="utf-8") as file:
        return [json.loads(line) for line in file]


def by_hand():
    packs = {row["inspection"]: row for row in lines("collection") if row["problem"] is None}
    outcomes = defaultdict(set)
    for row in lines("findings"):
        if row["rule"] == RULE:
            outcomes[row["inspection"]].add(row["outcome"])
    fuses, prices = defaultdict(lambda: [0, 0]), defaultdict(list)
    for key, row in packs.items():
        group = (row["maker"], int(row["date"][:4]) if row["date"] else None)
        if outcomes[key] & {"falls short", "meets"}:
            fuses[group][0] += 1
            fuses[group][1] += "falls short" in outcomes[key]
        current, price = row["weakest_permissible_current_a"], row["price_amount"]
        if current and price is not None:
            prices[(*group, row["price_currency"])].append((current, price / current))
    return {group: tuple(numbers) for group, numbers in fuses.items()}, {
        group: (len(some), *(math.fsum(x) / len(some) for x in zip(*some))) for group, some in prices.items()
    }


def by_duckdb():
    db = duckdb.connect()
    read = "read_parquet('{}/part=*/{}.parquet', hive_partitioning = true)"
    packs, findings = (read.format(shares, table) for table in ("collection", "findings"))
    fuses = db.execute(
        f"""
        WITH decided AS (
            SELECT inspection, bool_or(outcome = 'falls short') AS short FROM {findings}
            WHERE rule = '{RULE}' AND outcome <> 'not decided' GROUP BY inspection
        )
        SELECT maker, year(date), count(*), count(*) FILTER (short) FROM {packs} JOIN decided USING (inspection)
        WHERE problem IS NULL GROUP BY ALL
        """
    ).fetchall()
    prices = db.execute(
        f"""
        SELECT maker, year(date), price_currency, count(*), avg(weakest_permissible_current_a),
               avg(price_amount / weakest_permissible_current_a)
        FROM {packs} WHERE weakest_permissible_current_a > 0 AND price_amount IS NOT NULL GROUP BY ALL
        """
    ).fetchall()
    parts = db.execute(f"SELECT count(DISTINCT part), count(*) FROM {packs}").fetchone()
    return {row[:2]: row[2:] for row in fuses}, {row[:3]: row[3:] for row in prices}, parts


def by_dask():
    def read(table, columns):
        files = sorted(str(path) for path in shares.glob(f"part=*/{table}.parquet"))
        return dd.read_parquet(files, columns=columns)

    columns = ["inspection", "maker", "date", "price_amount", "price_currency", "weakest_permissible_current_a"]
    packs = read("collection", columns)
    packs["year"] = dd.to_datetime(packs["date"]).dt.year
    findings = read("findings", ["inspection", "rule", "outcome"])
    decided = findings[(findings["rule"] == RULE) & (findings["outcome"] != "not decided")]
    decided = decided.assign(short=(decided["outcome"] == "falls short").astype("int64"))
    decided = decided.groupby("inspection")["short"].max().reset_index()
    joined = packs.merge(decided, on="inspection").groupby(["maker", "year"])["short"].agg(["count", "sum"])
    fuses = {group: (int(row["count"]), int(row["sum"])) for group, row in joined.compute().iterrows()}
    known = packs[(packs["weakest_permissible_current_a"] > 0) & packs["price_amount"].notnull()]
    known = known.assign(each=known["price_amount"] / known["weakest_permissible_current_a"])
    grouped = known.groupby(["maker", "year", "price_currency"])
    means = grouped[["weakest_permissible_current_a", "each"]].mean().compute()
    numbers = grouped["each"].count().compute()
    return fuses, {group: (int(numbers[group]), *row) for group, row in zip(means.index, means.to_numpy())}


def same(one, other):
    assert one.keys() == other.keys(), (one.keys(), other.keys())
    for group, numbers in one.items():
        assert all(math.isclose(a, b, rel_tol=1e-12) for a, b in zip(numbers, other[group], strict=True)), group


fuses, prices = by_hand()
duck_fuses, duck_prices, (parts, packs) = by_duckdb()
same(fuses, duck_fuses)
same(prices, duck_prices)
dask_fuses, dask_prices = by_dask()
same(fuses, dask_fuses)
same(prices, dask_prices)
assert packs == len(lines("collection")), packs
decided, short = (sum(numbers[k] for numbers in fuses.values()) for k in (0, 1))
print(json.dumps({"parts": parts, "packs": packs, "groups": len(prices), "decided": decided, "short": short}))
