/* MQTT topic filters: a filter, a line end and a topic. Held against a second matcher written after the text of MQTT 3.1.1
 * section 4.7, level by level over copies. */
#include <string.h>

#include "daemon/pick.h"
#include "tests/fuzz/fuzz.h"

enum { TEXT_MAX = 512, LEVELS_MAX = TEXT_MAX };

/* Parts text at its slashes; returns the number of levels. */
static size_t part(char *text, char *level[LEVELS_MAX])
{
	size_t n = 0;
	level[n++] = text;
	for (char *p = text; *p; p++) {
		if (*p == '/') {
			*p = '\0';
			level[n++] = p + 1;
		}
	}
	return n;
}

static bool matches(const char *filter, const char *topic)
{
	char f[TEXT_MAX], t[TEXT_MAX];
	char *in_filter[LEVELS_MAX], *in_topic[LEVELS_MAX];
	(void)snprintf(f, sizeof f, "%s", filter);
	(void)snprintf(t, sizeof t, "%s", topic);
	size_t n_filter = part(f, in_filter), n_topic = part(t, in_topic);
	bool wild = strcmp(in_filter[n_filter - 1], "#") == 0;
	if (topic[0] == '$' && (filter[0] == '+' || filter[0] == '#'))
		return false;
	n_filter -= wild;
	if (n_topic < n_filter || (!wild && n_topic > n_filter))
		return false;
	for (size_t i = 0; i < n_filter; i++)
		if (strcmp(in_filter[i], "+") != 0 && strcmp(in_filter[i], in_topic[i]) != 0)
			return false;
	return true;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	char filter[TEXT_MAX], topic[TEXT_MAX];
	const uint8_t *end = n > 0 ? memchr(bytes, '\n', n) : NULL;
	size_t first = end ? (size_t)(end - bytes) : n;
	if (first >= TEXT_MAX || n - first > TEXT_MAX)
		return -1;
	memcpy(filter, bytes, first);
	filter[first] = '\0';
	size_t second = end ? n - first - 1 : 0;
	if (second > 0)
		memcpy(topic, end + 1, second);
	topic[second] = '\0';
	bool plain = strcspn(filter, "+#") == strlen(filter);
	bool valid = pick_topic_valid(filter);
	bool fits = pick_topic_matches(filter, topic);
	HOLDS(!plain || fits == (strcmp(filter, topic) == 0));
	if (valid)
		HOLDS(fits == matches(filter, topic));
	return 0;
}
