"""Starts the calendar server `radicale` on a free port of the loopback address,
puts each of the calendars given as JSON under one name in turn, and prints what
the server gives back after each, read by `icalendar`."""

import http.client
import json
import os
import pathlib
import socket
import subprocess
import sys
import tempfile
import time

import icalendar

texts = json.load(sys.stdin)
with socket.socket() as probe:
    probe.bind(("127.0.0.1", 0))
    port = probe.getsockname()[1]


def ask(method, path, body=None, **headers):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request(method, path, body and body.encode(), {
        "Authorization": "Basic YWxsOg==", **{k.replace("_", "-"): v for k, v in headers.items()}})
    answer = connection.getresponse()
    text = answer.read().decode()
    if answer.status >= 300:
        print(method, path, answer.status, text)
        sys.exit(1)
    return text


with tempfile.TemporaryDirectory() as folder:
    config = pathlib.Path(folder) / "config"
    config.write_text(
        f"[server]\nhosts = 127.0.0.1:{port}\n[auth]\ntype = none\n[rights]\ntype = authenticated\n"
        f"[storage]\nfilesystem_folder = {folder}/store\n[web]\ntype = none\n")
    environment = {**os.environ, "HOME": folder, "XDG_CONFIG_HOME": folder}
    server = subprocess.Popen(
        [sys.executable, "-m", "radicale", "--config", str(config)],
        env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(200):
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                time.sleep(0.05)
        ask("MKCALENDAR", "/all/dates/")
        found = []
        for text in texts:
            ask("PUT", "/all/dates/one.ics", text, Content_Type="text/calendar; charset=utf-8")
            back = icalendar.Calendar.from_ical(ask("GET", "/all/dates/one.ics"))
            sent = icalendar.Calendar.from_ical(text)
            plain = lambda event: sorted(
                (name, value.to_ical().decode()) for name, value in event.property_items()
                if name not in ("BEGIN", "END"))
            event, = back.walk("VEVENT")
            own, = sent.walk("VEVENT")
            found.append({
                "same": plain(event) == plain(own),
                "zones": [str(zone["TZID"]) for zone in back.walk("VTIMEZONE")],
                "uid": str(event["UID"]), "sequence": int(event["SEQUENCE"]),
                "status": str(event["STATUS"]),
                "start": event["DTSTART"].dt.isoformat(),
            })
        listed = ask("PROPFIND", "/all/dates/", Depth="1")
        json.dump({"found": found, "files": listed.count("one.ics")}, sys.stdout)
    finally:
        server.terminate()
        server.wait(20)
