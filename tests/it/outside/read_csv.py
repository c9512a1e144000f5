"""Reads tables with Python's csv: a JSON object of texts in, of rows out."""
import csv, io, json, sys

tables = json.load(sys.stdin)
rows = {name: list(csv.DictReader(io.StringIO(text, newline=""), strict=True)) for name, text in tables.items()}
print(json.dumps(rows))
