/* Where the clock hung: by offsets in the values, the layout, the heading of the time, or a line
 * above the header that speaks of a zone. */
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "daemon/guess.h"

enum { TOKEN_MAX = 48 };

/* What a text says about zones. */
struct named {
	char zone[TOKEN_MAX]; /* an IANA name */
	bool has_offset;
	int32_t offset_s;
	size_t others; /* words that are neither */
};

/* A word of a text: its end, NULL when there is no more. */
static const char *next_token(const char *p, char *token)
{
	static const char gaps[] = " \t,;()[]=\"";
	p += strspn(p, gaps);
	size_t n = strcspn(p, gaps);
	if (n == 0)
		return NULL;
	size_t keep = n < TOKEN_MAX ? n : TOKEN_MAX - 1;
	memcpy(token, p, keep);
	token[keep] = '\0';
	while (keep > 0 && token[keep - 1] == ':')
		token[--keep] = '\0';
	return p + n;
}

/* Names with a slash only: EST or CET alone mean different things to different people. */
static bool is_zone(const char *token)
{
	struct zone *z = NULL;
	if (!strchr(token, '/') || zone_new(token, &z, NULL) != RC_OK)
		return false;
	zone_free(z);
	return true;
}

static bool is_offset(const char *token, int32_t *offset_s)
{
	struct zone *z = NULL;
	bool form = strncasecmp(token, "UTC", 3) == 0 || strncasecmp(token, "GMT", 3) == 0 ||
		    *token == '+' || *token == '-';
	if (!form || zone_new(token, &z, NULL) != RC_OK)
		return false;
	*offset_s = zone_offset_s(z, 0);
	zone_free(z);
	return true;
}

static void read_names(const char *text, struct named *out)
{
	static const char *const fillers[] = { "time", "zone", "timezone", "zeitzone", "offset",
		"tz", "date", "clock", "of", "the", "utc", "gmt", "-", "from" };
	char token[TOKEN_MAX];
	for (const char *p = text; (p = next_token(p, token));) {
		bool filler = *token == '\0';
		int32_t offset_s;
		for (size_t i = 0; i < sizeof fillers / sizeof fillers[0]; i++)
			filler = filler || strcasecmp(token, fillers[i]) == 0;
		if (is_zone(token)) {
			(void)snprintf(out->zone, sizeof out->zone, "%s", token);
		} else if (is_offset(token, &offset_s)) {
			bool bare = strcasecmp(token, "utc") == 0 || strcasecmp(token, "gmt") == 0;
			if (!bare || !out->has_offset)
				out->offset_s = offset_s;
			out->has_offset = true;
		} else {
			out->others += !filler;
		}
	}
}

static void read_heading(const struct guess *g, int column, struct named *out)
{
	const char *text = g->s->heads[column].text;
	read_names(text, out);
	if (when_named_offset(text, &out->offset_s))
		out->has_offset = true;
}

/* Lines above the header that speak of a zone and name one, with no other words: a list of cities
 * behind an offset means that the offset changes with the season. */
static bool read_preamble(const struct guess *g, struct named *out, int64_t *line)
{
	size_t end = g->s->data - g->s->header_rows;
	for (size_t row = 0; row < end; row++) {
		char text[256] = "", cell[96];
		for (size_t i = 0; i < g->s->rows[row].n && strlen(text) < 120; i++) {
			cell_text(sample_cell(g->s, row, i), g->s->latin1, cell, sizeof cell);
			(void)snprintf(
				text + strlen(text), sizeof text - strlen(text), " %s", cell);
		}
		struct named found = { 0 };
		if (!strcasestr(text, "zone"))
			continue;
		read_names(text[1] == '#' ? text + 2 : text, &found);
		if (found.others > 0 || !(found.has_offset || found.zone[0]))
			continue;
		*out = found;
		*line = g->s->rows[row].line;
		return true;
	}
	return false;
}

static void print_offset(int32_t offset_s, char *buf, size_t n)
{
	int size = offset_s < 0 ? -offset_s : offset_s;
	if (size == 0)
		(void)snprintf(buf, n, "UTC");
	else
		(void)snprintf(buf, n, "%c%02d:%02d", offset_s < 0 ? '-' : '+', size / 3600 % 100,
			size / 60 % 60);
}

static enum rc take_named(struct guess *g, const struct named *named, const char *where)
{
	char name[TOKEN_MAX];
	print_offset(named->offset_s, name, sizeof name);
	if (named->has_offset && named->zone[0])
		return err_set(g->err, RC_ASK,
			"%s: %s names both %s and %s: which did the clock follow? zone = \"%s\" or "
			"zone = \"%s\" "
			"in the layout, or --zone",
			g->path, where, named->zone, name, named->zone, name);
	if (named->zone[0])
		(void)snprintf(name, sizeof name, "%s", named->zone);
	guess_tell(g->sink, "time zone: %s, from %s", name, where);
	return zone_new(name, &g->plan->zone, g->err);
}

static bool offsets_in_values(const struct guess *g)
{
	const struct plan *plan = g->plan;
	size_t filled = g->look[plan->time].filled, with = g->look[plan->time].offsets;
	if (plan->clock != PLAN_NONE && g->look[plan->clock].offsets > with)
		with = g->look[plan->clock].offsets;
	if (plan->form.kind == TIME_PATTERN)
		return strstr(plan->form.pattern, "%z") != NULL;
	return plan->form.kind == TIME_TEXT && with * 10 >= filled * 8 && with > 0;
}

/* Does the heading name another zone or offset than z has? */
static bool differs(const struct zone *z, const struct named *heading)
{
	if (heading->zone[0])
		return strcmp(heading->zone, zone_name_ref(z)) != 0;
	return heading->has_offset && heading->offset_s != zone_offset_s(z, 0);
}

enum rc guess_zone(struct guess *g)
{
	struct plan *plan = g->plan;
	struct named heading = { 0 }, preamble = { 0 };
	char where[HEADING_TEXT + 32];
	int64_t line = 0;
	if (plan->form.kind == TIME_EPOCH || plan->form.kind == TIME_EPOCH_MS)
		return RC_OK;
	read_heading(g, plan->time, &heading);
	int column = plan->time;
	if (plan->clock != PLAN_NONE && !heading.has_offset && !heading.zone[0]) {
		column = plan->clock;
		read_heading(g, column, &heading);
	}
	if (offsets_in_values(g))
		guess_tell(g->sink, "time zone: the times carry their offset");
	if (g->known->zone[0]) {
		enum rc rc = zone_new(g->known->zone, &plan->zone, g->err);
		if (rc == RC_OK && differs(plan->zone, &heading))
			guess_tell(g->sink, "time zone: %s as set, though the heading is \"%s\"",
				g->known->zone, g->s->heads[column].text);
		return rc;
	}
	if (offsets_in_values(g))
		return RC_OK;
	(void)snprintf(where, sizeof where, "the heading \"%s\"", g->s->heads[column].text);
	if (heading.has_offset || heading.zone[0])
		return take_named(g, &heading, where);
	if (read_preamble(g, &preamble, &line)) {
		(void)snprintf(where, sizeof where, "line %lld", (long long)line);
		return take_named(g, &preamble, where);
	}
	return err_set(g->err, RC_ASK,
		"%s: its times name no zone: where did the clock hang? zone = \"Europe/Berlin\" "
		"(or an offset, "
		"\"+01:00\") in the layout, or --zone Europe/Berlin",
		g->path);
}
