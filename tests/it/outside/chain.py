"""Checks a log without this program: RFC 8785 by the package `rfc8785`,
SHA-256 by `hashlib`, the file by `sqlite3`. Usage: chain.py LOG"""

import hashlib
import json
import sqlite3
import sys

import rfc8785

log = sqlite3.connect(f"file:{sys.argv[1]}?mode=ro", uri=True)
previous = "0" * 64
count = 0
for seq, job, at_ms, at_day, key, body, sha256 in log.execute(
    "select seq, job, at_ms, at_day, key, body, sha256 from entry order by seq"
):
    entry = json.loads(body)
    canonical = rfc8785.dumps(entry)
    count += 1
    for what, wanted, found in [
        ("canonical text", canonical, body.encode()),
        ("hash", hashlib.sha256(canonical).hexdigest(), sha256),
        ("number", count, seq),
        ("number in the text", count, entry["seq"]),
        ("link", previous, entry["previous"]),
        ("job", entry["job"], job),
        ("key", entry["key"], key),
        ("day", entry["at"][:10], at_day),
    ]:
        if wanted != found:
            sys.exit(f"entry {count}: {what} is {found!r} and should be {wanted!r}")
    previous = sha256
print(count, previous)
