#include "daemon/log.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/hash.h"

static const struct {
	const char *priority; /* syslog(3) numbers, as sd-daemon(3) reads them */
	const char *word;
} levels[] = {
	[LEVEL_ERROR] = { "<3>", "error: " },
	[LEVEL_WARNING] = { "<4>", "warning: " },
	[LEVEL_NOTICE] = { "<5>", "" },
	[LEVEL_INFO] = { "<6>", "" },
};

/* systemd.exec(5): JOURNAL_STREAM is DEVICE:INODE of what the manager connected; it may have been
 * inherited by a program whose standard error went elsewhere since. */
static bool is_journal(int fd)
{
	const char *stream = getenv("JOURNAL_STREAM");
	struct stat st;
	char here[64];
	if (!stream || fstat(fd, &st) != 0)
		return false;
	(void)snprintf(here, sizeof here, "%ju:%ju", (uintmax_t)st.st_dev, (uintmax_t)st.st_ino);
	return strcmp(here, stream) == 0;
}

void log_init(struct log *l, int fd, const struct clock *clock)
{
	*l = (struct log){ .fd = fd, .journal = is_journal(fd), .clock = clock };
}

/* The key's entry; a new key takes a free one or the one that began longest ago. */
static struct log_key *entry_ref(struct log *l, uint64_t hash)
{
	struct log_key *oldest = &l->keys[0];
	for (size_t i = 0; i < LOG_KEYS; i++) {
		struct log_key *k = &l->keys[i];
		if (k->hash == hash)
			return k;
		if (oldest->hash && (!k->hash || k->since_ms < oldest->since_ms))
			oldest = k;
	}
	*oldest = (struct log_key){ .hash = hash };
	return oldest;
}

/* False when the line is to be held back. *held: lines held back before this one. */
static bool admit(struct log *l, uint64_t hash, int64_t *held)
{
	struct log_key *k = entry_ref(l, hash);
	int64_t now_ms = l->clock->mono(l->clock).ms;
	*held = 0;
	if (k->lines == 0 || now_ms - k->since_ms >= LOG_WINDOW_MS) {
		*held = k->lines > LOG_BURST ? k->lines - LOG_BURST : 0;
		k->since_ms = now_ms;
		k->lines = 0;
	}
	return ++k->lines <= LOG_BURST;
}

/* Puts the text and its line end out in one write, so that lines of other processes don't mix in.
 */
static void put(const struct log *l, enum log_level level, const char *text, int64_t held)
{
	char line[LOG_LINE_MAX];
	char more[64] = "";
	if (held > 0)
		(void)snprintf(
			more, sizeof more, " (%" PRId64 " lines like this were held back)", held);
	const char *word = levels[level].word;
	int room = (int)(sizeof line - strlen(more) - 32);
	int n = snprintf(line, sizeof line, "%s%s%.*s%s",
		l->journal ? levels[level].priority : "seasond: ", word, room, text, more);
	for (int i = 0; i < n; i++)
		if ((unsigned char)line[i] < ' ' || line[i] == 0x7f)
			line[i] = '?';
	line[n] = '\n';
	(void)!write(l->fd, line, (size_t)n + 1);
}

void log_line(struct log *l, enum log_level level, const char *key, const char *fmt, ...)
{
	uint64_t hash = hash_text(hash_text(HASH_START, fmt), key ? key : "");
	int64_t held;
	if (!admit(l, hash ? hash : 1, &held))
		return;
	char text[LOG_LINE_MAX];
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(text, sizeof text, fmt, ap);
	va_end(ap);
	put(l, level, text, held);
}
