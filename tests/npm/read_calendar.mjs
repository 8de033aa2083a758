// read_calendar.mjs FILE: what ical.js finds in a calendar, one JSON object a line.
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';

// the modules are not beside this file: SEASOND_NODE_MODULES is where `npm ci` put them
const require = createRequire(`${process.env.SEASOND_NODE_MODULES}/x.js`);
const { default: ICAL } = await import(pathToFileURL(require.resolve('ical.js')));

// RFC 7986 5.1: TEXT; ical.js 2.2.1 does not know the property and leaves its escapes
ICAL.design.icalendar.property.name = { defaultType: 'text' };

const TEXTS = ['summary', 'description', 'location', 'contact'];
const LATER = ['due', 'dtstamp', 'created', 'last-modified'];
const HEAD = ['name', 'x-wr-calname', 'x-wr-timezone', 'color', 'refresh-interval', 'x-published-ttl', 'version',
	'method'];
const WEEKS = 54;

function plain(component, name) {
	if (component.getAllProperties(name).length > 1)
		throw new Error(`${name} more than once`);
	return component.getFirstPropertyValue(name);
}

// a date, or an instant by UTC or by a VTIMEZONE of the same calendar
function instant(t) {
	if (t.isDate)
		return t.toString();
	if (t.zone === ICAL.Timezone.localTimezone || !t.zone)
		throw new Error(`${t} is floating`);
	return t.convertToZone(ICAL.Timezone.utcTimezone).toString();
}

function moment(component, name) {
	const t = plain(component, name);
	if (t !== null && !t.isDate && t.zone !== ICAL.Timezone.utcTimezone)
		throw new Error(`${name} is not in UTC`);
	return t === null ? null : t.toString();
}

function later(t, duration) {
	const utc = t.convertToZone(ICAL.Timezone.utcTimezone);
	utc.addDuration(duration);
	return utc.toString();
}

function end(component) {
	const duration = plain(component, 'duration');
	return duration ? later(plain(component, 'dtstart'), duration) : moment(component, 'dtend');
}

function weekly(component) {
	if (!plain(component, 'rrule'))
		return [];
	const found = [];
	const iterator = new ICAL.Event(component).iterator();
	while (found.length < WEEKS)
		found.push(instant(iterator.next()));
	return found;
}

function alarm(component, item) {
	const trigger = plain(component, 'trigger');
	const at = trigger instanceof ICAL.Duration ? later(plain(item, 'dtstart'), trigger) : moment(component, 'trigger');
	return [plain(component, 'action'), at, plain(component, 'description')];
}

function people(component) {
	const found = [...component.getAllProperties('organizer'), ...component.getAllProperties('attendee')];
	return found.map((p) => [p.getFirstValue(),
		...['cn', 'role', 'partstat', 'rsvp'].map((name) => p.getParameter(name) ?? null)]);
}

function entry(component) {
	const found = { kind: component.name.toUpperCase(), uid: plain(component, 'uid') };
	for (const name of TEXTS)
		found[name] = plain(component, name);
	found.categories = component.getAllProperties('categories').flatMap((p) => p.getValues());
	const start = plain(component, 'dtstart');
	found.dtstart = start ? instant(start) : null;
	found.dtend = end(component);
	found.zone = component.getFirstProperty('dtstart')?.getParameter('tzid') ?? null;
	found.weekly = weekly(component);
	for (const name of LATER)
		found[name] = moment(component, name);
	found.sequence = plain(component, 'sequence');
	found.priority = plain(component, 'priority');
	found.class = plain(component, 'class');
	found.status = plain(component, 'status');
	found.completed = moment(component, 'completed');
	found['percent-complete'] = plain(component, 'percent-complete');
	found.transp = plain(component, 'transp');
	found.alarms = component.getAllSubcomponents('valarm').map((a) => alarm(a, component));
	found.people = people(component);
	return found;
}

const text = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(readFileSync(process.argv[2]));
const parsed = ICAL.parse(text);
const lines = [];
for (const one of typeof parsed[0] === 'string' ? [parsed] : parsed) {
	const calendar = new ICAL.Component(one);
	const head = {};
	for (const name of HEAD)
		head[name] = plain(calendar, name)?.toString() ?? null;
	head.zones = calendar.getAllSubcomponents('vtimezone').map((z) => plain(z, 'tzid')).sort();
	lines.push(head);
	for (const component of calendar.getAllSubcomponents())
		if (component.name !== 'vtimezone')
			lines.push(entry(component));
}
process.stdout.write(lines.map((line) => JSON.stringify(line) + '\n').join(''));
