"""Imports a calendar into `khal`, with a configuration and a home of its own,
and prints what it then lists for 2027: one line an event."""

import os
import pathlib
import subprocess
import sys
import tempfile

CONFIG = """[calendars]
[[dates]]
path = {home}/dates
[sqlite]
path = {home}/khal.db
[locale]
local_timezone = America/New_York
default_timezone = America/New_York
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
"""

with tempfile.TemporaryDirectory() as folder:
    home = pathlib.Path(folder)
    (home / "dates").mkdir()
    config = home / "config"
    config.write_text(CONFIG.format(home=home))
    ics = home / "in.ics"
    ics.write_bytes(sys.stdin.buffer.read())
    environment = {
        "HOME": folder, "PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8", "LANG": "C.UTF-8",
        "XDG_CONFIG_HOME": folder, "XDG_DATA_HOME": folder, "XDG_CACHE_HOME": folder,
    }

    def khal(*words):
        done = subprocess.run(
            ["khal", "-c", str(config), *words],
            env=environment, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            print(done.stdout, done.stderr)
            sys.exit(1)
        return done.stdout

    khal("import", "--batch", str(ics))
    listed = khal("list", "--day-format", "", "--format",
                  "{start} {duration} {uid} {status}", "2027-01-01", "365d")
    print("\n".join(sorted({line.strip() for line in listed.splitlines() if line.strip()})))
