"""'k in T over all pairs' by an outside analytical engine, on the same file. Prints seconds and what it found."""
import pathlib
import sys
import time

import duckdb
import duckdb_extension_sqlite_scanner as scanner

book, k, days = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
extension = next(pathlib.Path(next(iter(scanner.__path__))).rglob("sqlite_scanner.duckdb_extension"))
db = duckdb.connect(config={"allow_unsigned_extensions": "true"})
db.execute(f"LOAD '{extension}'")
db.execute(f"ATTACH '{book}' AS book (TYPE sqlite, READ_ONLY)")
SQL = f"""
    SELECT count(*), count(DISTINCT (unit, device)) FROM (
        SELECT unit, device, "at", lag("at", {k - 1}) OVER (PARTITION BY unit, device ORDER BY "at") AS first
        FROM book.entry WHERE device IS NOT NULL)
    WHERE "at" - first <= {days} * 86400000000"""
for _ in range(3):
    began = time.perf_counter()
    lines, pairs = db.execute(SQL).fetchone()
    print(f"{time.perf_counter() - began:.3f} {lines} {pairs} duckdb {duckdb.__version__}", flush=True)
