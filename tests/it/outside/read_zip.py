"""Reads a ZIP file with Python's zipfile: its path in, names and what is odd out."""
import json, sys, zipfile

with zipfile.ZipFile(sys.stdin.read()) as archive:
    files = archive.infolist()
    print(json.dumps({
        "bad": archive.testzip(),
        "names": [file.filename for file in files],
        "times": sorted({file.date_time for file in files}),
    }))
