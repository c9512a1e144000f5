"""Reads a calendar with `icalendar` and `recurring-ical-events` and prints what
it found as JSON. The zone is renamed first, so that the file's own VTIMEZONE is
used and not the reader's table of zones."""

import datetime
import json
import sys

import icalendar
import recurring_ical_events

text = sys.stdin.buffer.read().decode()
calendar = icalendar.Calendar.from_ical(text)
errors = [str(e) for part in calendar.walk() for e in getattr(part, "errors", [])]
renamed = icalendar.Calendar.from_ical(text.replace("America/New_York", "Own-Zone"))
utc = datetime.timezone.utc
starts = {
    str(event["UID"]): event["DTSTART"].dt.astimezone(utc).strftime("%Y-%m-%dT%H:%M:%SZ")
    for event in renamed.walk("VEVENT")
}
events = []
for event in recurring_ical_events.of(calendar).between((2026, 1, 1), (2040, 1, 1)):
    events.append({
        "uid": str(event["UID"]),
        "start_utc": event["DTSTART"].dt.astimezone(utc).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "own_zone_utc": starts[str(event["UID"])],
        "minutes": (event["DTEND"].dt - event["DTSTART"].dt).total_seconds() / 60,
        "summary": str(event["SUMMARY"]),
        "location": str(event["LOCATION"]),
        "description": str(event["DESCRIPTION"]),
        "sequence": int(event["SEQUENCE"]),
        "status": str(event["STATUS"]),
        "alarm_minutes": [
            alarm["TRIGGER"].dt.total_seconds() / 60 for alarm in event.walk("VALARM")
        ],
    })
json.dump({
    "method": calendar.get("METHOD") and str(calendar["METHOD"]), "version": str(calendar["VERSION"]),
    "errors": errors, "events": events,
}, sys.stdout)
