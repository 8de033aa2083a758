// edit_calendar.mjs FILE JOB...: a to-do as a program on ical.js would leave it after those jobs.
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';

const require = createRequire(`${process.env.SEASOND_NODE_MODULES}/x.js`);
const { default: ICAL } = await import(pathToFileURL(require.resolve('ical.js')));

const calendar = new ICAL.Component(ICAL.parse(readFileSync(process.argv[2], 'utf8')));
const todo = calendar.getFirstSubcomponent('vtodo');
const alarm = todo.getFirstSubcomponent('valarm');
const jobs = {
	tick() {
		todo.updatePropertyWithValue('status', 'COMPLETED');
		todo.updatePropertyWithValue('completed', ICAL.Time.fromDateTimeString('2026-06-01T10:15:00Z'));
		todo.updatePropertyWithValue('percent-complete', 100);
	},
	move() {
		todo.updatePropertyWithValue('due', ICAL.Time.fromDateString('2026-07-15'));
	},
	title() {
		todo.updatePropertyWithValue('summary', 'Mine, now; really');
	},
	write() {
		todo.updatePropertyWithValue('description',
			`${todo.getFirstPropertyValue('description')}\nrelief .010\n\nkey, please; Grüße\\`);
	},
	own() {
		const category = new ICAL.Property('categories');
		category.setValues(['mine, too', 'wood']);
		todo.addProperty(category);
		todo.addPropertyWithValue('comment', 'a comment, of some length; with 中文 and more than fits on one line');
		todo.addPropertyWithValue('x-own', 'as it is');
	},
	acknowledge() {
		alarm.addPropertyWithValue('acknowledged', ICAL.Time.fromDateTimeString('2026-06-01T10:15:00Z'));
		alarm.addPropertyWithValue('uid', 'an-alarm');
	},
	ring() {
		alarm.removeAllProperties('trigger');
		alarm.addPropertyWithValue('trigger', ICAL.Duration.fromString('-PT15M')).setParameter('related', 'END');
	},
};
for (const job of process.argv.slice(3))
	jobs[job]();
process.stdout.write(`${calendar.toString()}\r\n`);
