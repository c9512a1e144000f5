// Reads a calendar with `ical.js` and prints what it found as JSON. Zones come
// from the file's own VTIMEZONE; none is registered beforehand.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";

const require = createRequire(join(process.env.CHALKHAND_OUTSIDE, "package.json"));
const loaded = require("ical.js");
const ICAL = loaded.default ?? loaded;
const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
const events = calendar.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  return {
    uid: event.uid,
    start_utc: event.startDate.toJSDate().toISOString().replace(".000Z", "Z"),
    zone: event.startDate.zone.tzid,
    own_zone: event.startDate.zone.component !== null,
    minutes: event.duration.toSeconds() / 60,
    summary: event.summary,
    location: event.location,
    description: event.description,
    sequence: event.sequence,
    status: component.getFirstPropertyValue("status"),
    alarm_minutes: component.getAllSubcomponents("valarm").map(
      (alarm) => alarm.getFirstPropertyValue("trigger").toSeconds() / 60),
  };
});
const value = (name) => calendar.getFirstPropertyValue(name);
console.log(JSON.stringify({ method: value("method"), version: value("version"), events }));
