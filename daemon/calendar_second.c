/* Method: libical shares no code with our printer and linter and knows the tables of RFC 5546, what a REQUEST or a CANCEL
 * needs. It reads our own octets only; what others wrote it is never given. */
#include <libical/ical.h>
#include <string.h>

#include "daemon/calendar_int.h"

static const char *complaint_of(icalcomponent *c)
{
	icalproperty *p = icalcomponent_get_first_property(c, ICAL_XLICERROR_PROPERTY);
	for (icalcomponent *in = icalcomponent_get_first_component(c, ICAL_ANY_COMPONENT); !p && in;
		in = icalcomponent_get_next_component(c, ICAL_ANY_COMPONENT))
		p = icalcomponent_get_first_property(in, ICAL_XLICERROR_PROPERTY);
	return p ? icalproperty_get_xlicerror(p) : "found at fault";
}

static enum rc judge(icalcomponent *c, const char *uid, struct err *err)
{
	icalcomponent *entry = icalcomponent_get_first_real_component(c);
	const char *read = entry ? icalcomponent_get_uid(entry) : NULL;
	if (icalcomponent_count_errors(c) > 0 || !icalrestriction_check(c))
		return err_set(
			err, RC_INPUT, "calendar: entry %s: libical: %.200s", uid, complaint_of(c));
	if (!read || strcmp(read, uid) != 0)
		return err_set(err, RC_INPUT, "calendar: entry %s: libical reads another: %.60s",
			uid, read ? read : "none");
	return RC_OK;
}

enum rc calendar_second_opinion(const char *bytes, const char *uid, struct err *err)
{
	icalerror_set_errors_are_fatal(0);
	icalcomponent *c = icalparser_parse_string(bytes);
	if (!c)
		return err_set(err, RC_INPUT, "calendar: entry %s: libical cannot read it", uid);
	enum rc rc = judge(c, uid, err);
	icalcomponent_free(c);
	return rc;
}

void calendar_done(void)
{
	calendar_zones_done();
	icaltimezone_free_builtin_timezones();
	free_zone_directory();
	icalmemory_free_ring();
}
