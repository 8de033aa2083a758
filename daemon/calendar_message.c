/* Messages about events: who is invited by whom. */
#include <stdio.h>
#include <string.h>

#include "daemon/calendar_int.h"
#include "daemon/text.h"
#include "daemon/utf8.h"

enum {
	NAME_OCTETS = 256,
	ADDRESS_OCTETS = 254,
	PERSON_SIZE = 2 * NAME_OCTETS + 3 * ADDRESS_OCTETS + 100
};

/* One address of a mailbox without its name; NULL: it is one. */
static const char *address_fault(const char *address)
{
	if (!address || !*address)
		return "there is none";
	const char *at = strchr(address, '@');
	size_t n = strlen(address);
	if (n > ADDRESS_OCTETS) /* RFC 5321 4.5.3.1.3 */
		return "longer than 254 characters";
	for (const char *p = address; *p; p++)
		if (*p <= ' ' || *p > '~')
			return "blanks, controls and letters beyond ASCII have no place in it";
	if (address[strcspn(address, "<>\"\\,:;()[]")])
		return "one address without name, quotes and brackets is wanted";
	if (!at || at == address || !at[1] || strchr(at + 1, '@'))
		return "no name and host with one @ between them";
	return NULL;
}

/* Adds :mailto: and the address, with marks that mean something in a URI as %XX (RFC 6068 2). */
static void add_address(char *line, size_t size, const char *address)
{
	text_add(line, size, ":mailto:");
	for (const char *p = address; *p; p++)
		text_add(line, size, strchr("%/?#&=^`{|}", *p) ? "%%%02X" : "%c", *p);
}

/* Adds ;CN="name", marks that quotes cannot hold by RFC 6868 3. */
static void add_name(char *line, size_t size, const char *name)
{
	char clean[NAME_OCTETS];
	if (!*utf8_clean(name, clean, sizeof clean))
		return;
	text_add(line, size, ";CN=\"");
	for (const char *p = clean; *p; p++) {
		const char *code = *p == '\n' ? "^n" : *p == '^' ? "^^" : *p == '"' ? "^'" : NULL;
		if (code)
			text_add(line, size, "%s", code);
		else
			text_add(line, size, "%c", *p);
	}
	text_add(line, size, "\"");
}

static enum rc check_address(
	const struct calendar_entry *e, const char *who, const char *address, struct err *err)
{
	const char *fault = address_fault(address);
	return fault ? err_set(err, RC_INPUT, "calendar: entry %s: address of the %s: %.60s: %s",
			       e->uid, who, address ? address : "", fault)
		     : RC_OK;
}

static enum rc check(enum calendar_method method, const struct calendar_entry *e, struct err *err)
{
	char clean[16];
	enum rc rc = calendar_check(e, 0, err);
	if (rc != RC_OK)
		return rc;
	if (method == METHOD_REQUEST && e->status != ENTRY_OPEN)
		return err_set(err, RC_INPUT,
			"calendar: entry %s: only what is open can be asked for", e->uid);
	if (!*utf8_clean(e->summary, clean, sizeof clean))
		return err_set(
			err, RC_INPUT, "calendar: entry %s: a message needs a summary", e->uid);
	return RC_OK;
}

enum rc calendar_message(enum calendar_method method, const struct calendar_entry *entry,
	const char *organizer, const char *organizer_name, const char *attendee,
	const char *attendee_name, char **bytes, size_t *len, struct err *err)
{
	bool cancel = method == METHOD_CANCEL;
	enum rc rc = check(method, entry, err);
	if (rc == RC_OK)
		rc = check_address(entry, "organizer", organizer, err);
	if (rc == RC_OK)
		rc = check_address(entry, "attendee", attendee, err);
	if (rc != RC_OK)
		return rc;
	char from[PERSON_SIZE] = "ORGANIZER";
	add_name(from, sizeof from, organizer_name);
	add_address(from, sizeof from, organizer);
	char to[PERSON_SIZE] = "ATTENDEE";
	add_name(to, sizeof to, attendee_name);
	if (!cancel)
		text_add(to, sizeof to, ";ROLE=REQ-PARTICIPANT;PARTSTAT=NEEDS-ACTION;RSVP=TRUE");
	add_address(to, sizeof to, attendee);
	const struct calendar_sheet sheet = { CALENDAR_EVENTS, NULL, entry, 1,
		cancel ? "CANCEL" : "REQUEST", from, to };
	return calendar_sheet_build(&sheet, bytes, len, err);
}
