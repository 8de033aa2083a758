#include "daemon/gate.h"

#include <stdio.h>
#include <string.h>

enum { MINUTE_MS = 60000 };

int64_t gate_wait_s(struct gate *g)
{
	const struct clock *clock = g->feed->owner.app->clock;
	int64_t now_ms = clock->mono(clock).ms;
	if (g->used == 0 || now_ms - g->minute_ms >= MINUTE_MS) {
		g->minute_ms = now_ms;
		g->used = 0;
	}
	if (g->used >= g->feed->source->rate_limit)
		return (MINUTE_MS - (now_ms - g->minute_ms) + 999) / 1000;
	g->used++;
	return 0;
}

/* What pick says may quote the payload. */
static void make_harmless(char *words)
{
	for (; *words; words++)
		if (*words < ' ' || *words > '~')
			*words = '?';
}

static bool is_theirs(enum rc rc)
{
	return rc == RC_INPUT || rc == RC_ASK || rc == RC_UNKNOWN;
}

enum rc gate_take(struct gate *g, const char *bytes, size_t n, const char *who, int64_t now_s,
	char words[GATE_WORDS_SIZE])
{
	const char *name = g->feed->source->name;
	struct err err = { 0 };
	struct pick_result found;
	enum rc rc = feed_payload(g->feed, g->pick, NULL, bytes, n, now_s, NULL, &found, &err);
	if (rc == RC_OK) {
		(void)snprintf(words, GATE_WORDS_SIZE, "ok %zu", found.n);
		return RC_OK;
	}
	log_line(g->feed->owner.app->log, LEVEL_WARNING, name, "source \"%s\": from %s: %s", name,
		who, err.text);
	feed_failed(g->feed, err.text, now_s);
	if (is_theirs(rc))
		(void)snprintf(words, GATE_WORDS_SIZE, "error: %.240s", err.text);
	else
		(void)snprintf(words, GATE_WORDS_SIZE, "error: can't be stored now: again in %d s",
			GATE_RETRY_S);
	make_harmless(words);
	return is_theirs(rc) ? RC_INPUT : RC_BUSY;
}

/* One byte; whether the payload ends with it. */
static bool ends(struct gate_frame *f, char c)
{
	if (c == '\n' && (f->text || f->depth == 0))
		return true;
	if (!f->json)
		return false;
	if (f->text) {
		f->text = f->escaped || c != '"';
		f->escaped = !f->escaped && c == '\\';
		return false;
	}
	f->text = c == '"';
	if (c == '{' || c == '[')
		f->depth++;
	else if ((c == '}' || c == ']') && f->depth > 0)
		f->depth--;
	return false;
}

size_t gate_frame_next(struct gate_frame *f, const char *bytes, size_t n)
{
	while (f->seen < n) {
		if (!ends(f, bytes[f->seen++]))
			continue;
		size_t length = f->seen;
		*f = (struct gate_frame){ .json = f->json };
		return length;
	}
	return 0;
}
