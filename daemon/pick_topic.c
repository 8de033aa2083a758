#include <string.h>

#include "daemon/pick.h"
#include "daemon/utf8.h"

/* Method: MQTT 3.1.1 section 4.7. A filter is walked level by level beside the topic. */

enum { TOPIC_MAX = 65535 }; /* bytes; section 4.7.3 */

static bool is_utf8(const char *text, size_t n)
{
	bool valid = true;
	for (size_t i = 0; valid && i < n; i += utf8_step(text + i, n - i, &valid))
		continue;
	return valid;
}

bool pick_topic_valid(const char *filter)
{
	size_t n = strlen(filter);
	if (n == 0 || n > TOPIC_MAX || !is_utf8(filter, n))
		return false;
	for (size_t i = 0; i < n; i++) {
		bool alone = (i == 0 || filter[i - 1] == '/') &&
			     (filter[i + 1] == '/' || filter[i + 1] == '\0');
		if ((filter[i] == '+' || filter[i] == '#') && !alone)
			return false;
		if (filter[i] == '#' && filter[i + 1] != '\0')
			return false;
	}
	return true;
}

bool pick_topic_matches(const char *filter, const char *topic)
{
	const char *f = filter, *t = topic;
	if (*t == '$' && (*f == '+' || *f == '#')) /* 4.7.2 */
		return false;
	for (;;) {
		size_t in_filter = strcspn(f, "/"), in_topic = strcspn(t, "/");
		if (*f == '#')
			return true;
		if (*f != '+' && (in_filter != in_topic || memcmp(f, t, in_filter) != 0))
			return false;
		f += in_filter;
		t += in_topic;
		if (*t == '\0')
			return *f == '\0' || strcmp(f, "/#") == 0; /* # is also the parent level */
		if (*f == '\0')
			return false;
		f++;
		t++;
	}
}
