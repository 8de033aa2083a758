/* An answer to an invitation (RFC 5546 3.2.3): what the iCalendar text of a mail says, whoever wrote it. Nothing in it is
 * believed but that an address of ours says yes, no or perhaps to a UID of ours. */
#ifndef DAEMON_REPLY_H
#define DAEMON_REPLY_H

#include <stdint.h>

#include "daemon/calendar.h"

struct reply {
	char uid[CALENDAR_UID_SIZE];
	char attendee[256]; /* without mailto: */
	int answer; /* enum visit_answer; ANSWER_NONE: another word */
	int sequence; /* 0 when it says none */
	int64_t stamp_s; /* DTSTAMP */
};

/* Folds and line ends as they come. RC_INPUT: no REPLY with one attendee, and what it is instead. */
MUST_USE enum rc reply_read(const char *text, size_t n, struct reply *out, struct err *err);

#endif
