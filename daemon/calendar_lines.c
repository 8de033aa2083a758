#include "daemon/calendar_lines.h"

#include <string.h>

static bool is_blank(char c)
{
	return c == ' ' || c == '\t' || c == '\r';
}

struct words_line words_line(const char *text)
{
	size_t n = strcspn(text, "\n");
	struct words_line at = { text, n, text + n + (text[n] == '\n') };
	while (at.n > 0 && is_blank(at.p[at.n - 1]))
		at.n--;
	while (at.n > 0 && is_blank(*at.p)) {
		at.p++;
		at.n--;
	}
	return at;
}

static bool same(struct words_line a, struct words_line b)
{
	size_t i = 0, k = 0;
	while (i < a.n && k < b.n) {
		if (is_blank(a.p[i]) && is_blank(b.p[k])) {
			while (is_blank(a.p[i]))
				i++;
			while (is_blank(b.p[k]))
				k++;
		} else if (a.p[i++] != b.p[k++]) {
			return false;
		}
	}
	return i == a.n && k == b.n;
}

bool words_have(const char *text, struct words_line line)
{
	for (const char *p = text; *p;) {
		struct words_line at = words_line(p);
		if (same(at, line))
			return true;
		p = at.next;
	}
	return line.n == 0;
}

void words_append(char *out, const char *sent, const char *theirs, const char *ours)
{
	bool gap = false, any = false;
	char *end = out + strlen(out);
	for (const char *p = theirs; *p;) {
		struct words_line at = words_line(p);
		p = at.next;
		bool foreign = at.n > 0 && !words_have(sent, at) && !words_have(ours, at);
		if (foreign) {
			const char *before = end == out ? "" : !any || gap ? "\n\n" : "\n";
			end = stpcpy(end, before);
			memcpy(end, at.p, at.n);
			end += at.n;
			*end = '\0';
		}
		any = any || foreign;
		gap = at.n == 0 ? any : false;
	}
}
