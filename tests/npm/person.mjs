// person.mjs URL USER PASSWORD CALENDAR JOB UID: a person whose program finds the account's calendars by itself (tsdav) and
// does one job with the entry of that UID in the calendar of that name: tick, delete, or only list all UIDs.
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';

const require = createRequire(`${process.env.SEASOND_NODE_MODULES}/x.js`);
const { createDAVClient } = await import(pathToFileURL(require.resolve('tsdav')));

const [url, username, password, name, job, uid] = process.argv.slice(2);
const client = await createDAVClient({
	serverUrl: url, credentials: { username, password }, authMethod: 'Basic', defaultAccountType: 'caldav',
});
const calendars = await client.fetchCalendars();
const calendar = calendars.find((c) => c.url.replace(/\/$/, '').endsWith(`/${name}`));
const todos = [{ 'comp-filter': { _attributes: { name: 'VCALENDAR' }, 'comp-filter': { _attributes: { name: 'VTODO' } } } }];
const entries = await client.fetchCalendarObjects({ calendar, filters: todos });
const entry = entries.find((e) => e.data.includes(`UID:${uid}`));
let answer = { status: 207 };
if (job === 'tick') {
	const now = new Date().toISOString().replace(/[-:]|\.\d+/g, '');
	const data = entry.data.replace(/^(STATUS|COMPLETED|PERCENT-COMPLETE):.*\r?\n/gm, '')
		.replace('END:VTODO', `STATUS:COMPLETED\r\nCOMPLETED:${now}\r\nPERCENT-COMPLETE:100\r\nEND:VTODO`);
	answer = await client.updateCalendarObject({ calendarObject: { ...entry, data } });
} else if (job === 'delete') {
	answer = await client.deleteCalendarObject({ calendarObject: entry });
} else {
	for (const e of entries)
		console.log(e.data.match(/^UID:(.*?)\r?$/m)[1]);
}
if (answer.status >= 300)
	throw new Error(`${job}: status ${answer.status}`);
