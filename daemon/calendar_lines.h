/* Lines of descriptions compared as people see them: blanks at their ends and how many stand together do not count, as
 * programs that show a description may tidy them. */
#ifndef DAEMON_CALENDAR_LINES_H
#define DAEMON_CALENDAR_LINES_H

#include <stdbool.h>
#include <stddef.h>

struct words_line {
	const char *p; /* trimmed */
	size_t n; /* 0: nothing on it */
	const char *next; /* where the next line begins, or the final NUL */
};

struct words_line words_line(const char *text);

/* True when text has that line. */
bool words_have(const char *text, struct words_line line);

/* Appends the lines of theirs that are neither in sent nor in ours to out, which begins with ours, behind an empty line;
 * one that an empty line parted from what stood above it stays parted. out has room for 2 * strlen(theirs) + 3 octets
 * more. */
void words_append(char *out, const char *sent, const char *theirs, const char *ours);

#endif
