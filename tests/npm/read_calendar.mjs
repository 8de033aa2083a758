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
const TIMES = ['dtstart', 'dtend', 'due', 'dtstamp', 'created', 'last-modified'];
const HEAD = ['name', 'x-wr-calname', 'x-wr-timezone', 'color', 'refresh-interval', 'x-published-ttl', 'version',
	'method'];

function plain(component, name) {
	if (component.getAllProperties(name).length > 1)
		throw new Error(`${name} more than once`);
	return component.getFirstPropertyValue(name);
}

function moment(component, name) {
	const t = plain(component, name);
	if (t !== null && !t.isDate && t.zone !== ICAL.Timezone.utcTimezone)
		throw new Error(`${name} is not in UTC`);
	return t === null ? null : t.toString();
}

function entry(component) {
	const found = { kind: component.name.toUpperCase(), uid: plain(component, 'uid') };
	for (const name of TEXTS)
		found[name] = plain(component, name);
	found.categories = component.getAllProperties('categories').flatMap((p) => p.getValues());
	for (const name of TIMES)
		found[name] = moment(component, name);
	found.sequence = plain(component, 'sequence');
	found.priority = plain(component, 'priority');
	found.status = plain(component, 'status');
	found.completed = moment(component, 'completed');
	found['percent-complete'] = plain(component, 'percent-complete');
	found.transp = plain(component, 'transp');
	found.alarms = component.getAllSubcomponents('valarm').map((a) => [
		plain(a, 'action'), moment(a, 'trigger'), plain(a, 'description')]);
	return found;
}

const text = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(readFileSync(process.argv[2]));
const calendar = new ICAL.Component(ICAL.parse(text));
const head = {};
for (const name of HEAD)
	head[name] = plain(calendar, name)?.toString() ?? null;
head.zones = calendar.getAllSubcomponents('vtimezone').map((z) => plain(z, 'tzid'));
const lines = [head];
for (const component of calendar.getAllSubcomponents())
	if (component.name !== 'vtimezone')
		lines.push(entry(component));
process.stdout.write(lines.map((line) => JSON.stringify(line) + '\n').join(''));
