"""Canonicalises one JSON text a line with `rfc8785`; prints one a line."""

import json
import sys

import rfc8785

for line in sys.stdin.buffer.read().decode().split("\n"):
    if line:
        # RFC 8785 numbers are doubles: whole numbers are read as such too.
        value = json.loads(line, parse_int=float)
        sys.stdout.buffer.write(rfc8785.dumps(value) + b"\n")
