"""Prints what a calendar takes in 2026 and 2027, as `recurring-ical-events`
reads it: pairs of seconds since 1970. Days and times without a zone are New
York's."""

import datetime
import json
import sys
import zoneinfo

import icalendar
import recurring_ical_events

calendar = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
here = zoneinfo.ZoneInfo("America/New_York")


def seconds(at):
    if not isinstance(at, datetime.datetime):
        at = datetime.datetime.combine(at, datetime.time())
    if at.tzinfo is None:
        at = at.replace(tzinfo=here)
    return int(at.timestamp())


taken = []
for event in recurring_ical_events.of(calendar).between((2025, 12, 30), (2028, 1, 3)):
    free = event.get("TRANSP") == "TRANSPARENT" or event.get("STATUS") == "CANCELLED"
    if not free:
        taken.append((seconds(event["DTSTART"].dt), seconds(event["DTEND"].dt)))
json.dump(sorted(taken), sys.stdout)
