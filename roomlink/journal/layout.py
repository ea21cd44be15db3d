"""The tables of a stored journal, and the statements that more than one module uses.

entries    seq, stamp, body (JSON), sum of the chain
snapshots  seq, stamp, body (compressed JSON), the chain's sum at that entry, its own sum
damaged    entries that were cut off on opening, as they were found, and when
meta       the venue's id, when the file was made, the journal's identity, how far level chatter was made small
"""

from __future__ import annotations

from roomlink.journal import files
from roomlink.journal.rows import SPAN_BYTES

TABLES = f"""
PRAGMA application_id = {files.APPLICATION_ID};
PRAGMA user_version = {files.SCHEMA};
BEGIN;
CREATE TABLE entries (seq INTEGER PRIMARY KEY, at REAL NOT NULL, body BLOB NOT NULL, sum BLOB NOT NULL);
CREATE INDEX entries_at ON entries (at);
CREATE TABLE snapshots (
    seq INTEGER PRIMARY KEY, at REAL NOT NULL, body BLOB NOT NULL, chain BLOB NOT NULL, sum BLOB NOT NULL
);
CREATE TABLE damaged (seq INTEGER, at REAL, body BLOB, sum BLOB, cut_at TEXT NOT NULL);
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
COMMIT;
"""
ADD_ENTRY = "INSERT INTO entries (seq, at, body, sum) VALUES (?, ?, ?, ?)"
ENTRIES_BETWEEN = "SELECT seq, at, body, sum FROM entries WHERE seq > ? AND seq <= ? ORDER BY seq"
NEWEST_AT = "SELECT seq FROM entries WHERE at <= ? AND seq <= ? ORDER BY at DESC, seq DESC LIMIT 1"
NEXT_AFTER = f"SELECT seq, substr(body, 1, {SPAN_BYTES}) FROM entries WHERE seq > ? ORDER BY seq LIMIT 1"
"""With as much of its body as tells for which entries it stands."""
NEWEST = "SELECT max(seq) FROM (SELECT max(seq) AS seq FROM entries UNION SELECT max(seq) FROM snapshots)"
SUM_AT = "SELECT sum FROM entries WHERE seq = ?"
ADD_SNAPSHOT = "INSERT OR REPLACE INTO snapshots (seq, at, body, chain, sum) VALUES (?, ?, ?, ?, ?)"
SNAPSHOT_AT = "SELECT seq, at, body, chain, sum FROM snapshots WHERE seq = ?"
IDENTITY = "SELECT CAST(value AS BLOB) FROM meta WHERE key = 'identity'"
SET_IDENTITY = "INSERT OR REPLACE INTO meta VALUES ('identity', ?)"
COMPACTED = "SELECT CAST(value AS BLOB) FROM meta WHERE key = 'compacted'"
SET_COMPACTED = "INSERT OR REPLACE INTO meta VALUES ('compacted', ?)"
CUT = """
INSERT INTO damaged (seq, at, body, sum, cut_at)
SELECT seq, at, body, sum, ? FROM entries WHERE seq >= ? ORDER BY seq
"""
ANY = (1 << 63) - 1
"""Above every seq and every stamp."""
