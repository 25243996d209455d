// Read iCalendar from standard input with ical.js, the module at argv[2]; write its events as JSON, instants in UTC.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const { default: ICAL } = await import(pathToFileURL(process.argv[2]).href);
const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
const iso = (time) => time.toJSDate().toISOString().replace(".000Z", "Z");
const told = calendar.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  const rings = component.getAllSubcomponents("valarm").map((alarm) => {
    const at = event.startDate.clone();
    at.addDuration(alarm.getFirstPropertyValue("trigger"));
    return iso(at);
  });
  return {
    uid: event.uid, start: iso(event.startDate), end: iso(event.endDate), sequence: event.sequence,
    status: component.getFirstPropertyValue("status"), stamp: iso(component.getFirstPropertyValue("dtstamp")),
    summary: event.summary, description: event.description, place: event.location, rings,
  };
});
process.stdout.write(JSON.stringify(told));
