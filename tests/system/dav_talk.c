/* dav_talk [--ca FILE] [--user NAME --credential FILE] [--limit SECONDS] URL COMMAND [then COMMAND]...
 * Calls dav.h, one call after the other in one session, each begun where the last one ended; a line of JSON for each:
 *
 *	find events|todos NAME TITLE DESCRIPTION      changes COLLECTION TOKEN      get COLLECTION HREF...
 *	put HREF ETAG|none FILE                       delete HREF ETAG              elsewhere COLLECTION UID */
#include <json-c/json.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/dav.h"

struct talk {
	const char *but; /* the calendar not to look through */
	struct loop *loop;
	struct dav *dav;
	char **words;
	int n, at;
	char *text; /* that is put */
};

static void fail(const char *what)
{
	(void)fprintf(stderr, "dav_talk: %s\n", what);
	exit(2);
}

static char *whole_file(const char *path)
{
	FILE *f = fopen(path, "rb");
	char *text = mem_new(1 << 24, 1);
	if (!f || !text)
		fail(path);
	size_t n = fread(text, 1, (1 << 24) - 1, f);
	text[n] = '\0';
	(void)fclose(f);
	return text;
}

static void add_text(struct json_object *to, const char *name, const char *text)
{
	(void)json_object_object_add(to, name, json_object_new_string(text ? text : ""));
}

static void print(const struct dav_result *r)
{
	static const char *const verdicts[] = { "OK", "UNREACHED", "REFUSED", "GONE", "CHANGED",
		"TAKEN", "FULL", "ODD" };
	struct json_object *o = json_object_new_object(), *list = json_object_new_array();
	for (size_t i = 0; i < r->n; i++) {
		struct json_object *e = json_object_new_object();
		add_text(e, "href", r->entries[i].href);
		add_text(e, "etag", r->entries[i].etag);
		(void)json_object_object_add(
			e, "gone", json_object_new_boolean(r->entries[i].gone));
		if (r->entries[i].text)
			(void)json_object_object_add(e, "text",
				json_object_new_string_len(
					r->entries[i].text, (int)r->entries[i].n));
		(void)json_object_array_add(list, e);
	}
	add_text(o, "verdict", verdicts[r->verdict]);
	add_text(o, "why", r->why);
	add_text(o, "url", r->url);
	add_text(o, "token", r->token);
	(void)json_object_object_add(o, "retry", json_object_new_int64(r->retry_after_s));
	(void)json_object_object_add(o, "made", json_object_new_boolean(r->made));
	(void)json_object_object_add(o, "whole", json_object_new_boolean(r->whole));
	(void)json_object_object_add(o, "entries", list);
	(void)puts(json_object_to_json_string_ext(o, JSON_C_TO_STRING_PLAIN));
	(void)json_object_put(o);
}

static void next(struct talk *t);

static void done(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct talk *t = arg;
	(void)now_s;
	print(r);
	mem_free(t->text);
	t->text = NULL;
	if (t->at == t->n)
		loop_stop(t->loop);
	else
		next(t);
}

static const char *word(struct talk *t)
{
	if (t->at == t->n)
		fail("too few words");
	return t->words[t->at++];
}

static void find(struct talk *t)
{
	static struct calendar_head head;
	const char *kind = word(t), *name = word(t);
	head = (struct calendar_head){ .title = word(t), .description = word(t) };
	dav_find(t->dav, strcmp(kind, "todos") == 0 ? CALENDAR_TODOS : CALENDAR_EVENTS, name, &head,
		done, t);
}

static void get(struct talk *t)
{
	static const char *hrefs[DAV_GET_MAX];
	const char *collection = word(t);
	size_t n = 0;
	while (t->at < t->n && strcmp(t->words[t->at], "then") != 0 && n < DAV_GET_MAX)
		hrefs[n++] = word(t);
	dav_get(t->dav, collection, hrefs, n, done, t);
}

static void put(struct talk *t)
{
	const char *href = word(t), *etag = word(t);
	t->text = whole_file(word(t));
	dav_put(t->dav, href, strcmp(etag, "none") == 0 ? NULL : etag, t->text, done, t);
}

static void next(struct talk *t)
{
	const char *what = word(t), *a;
	if (strcmp(what, "then") == 0)
		what = word(t);
	if (strcmp(what, "find") == 0)
		find(t);
	else if (strcmp(what, "get") == 0)
		get(t);
	else if (strcmp(what, "put") == 0)
		put(t);
	else if (a = word(t), strcmp(what, "changes") == 0)
		dav_changes(t->dav, a, word(t), done, t);
	else if (strcmp(what, "delete") == 0)
		dav_delete(t->dav, a, word(t), done, t);
	else if (strcmp(what, "elsewhere") == 0) {
		t->but = a;
		dav_elsewhere(t->dav, &t->but, 1, word(t), done, t);
	} else
		fail(what);
}

int main(int argc, char **argv)
{
	struct dav_at at = { .ca_file = "", .user = "", .credential = "", .limit_s = 20 };
	struct talk t = { .words = argv, .n = argc, .at = 1 };
	struct clock clock = clock_real();
	struct transfers *transfers = NULL;
	struct fetch *fetch = NULL;
	struct err err = { 0 };
	while (t.at + 1 < argc && argv[t.at][0] == '-') {
		const char *option = word(&t), *value = word(&t);
		if (strcmp(option, "--ca") == 0)
			at.ca_file = value;
		else if (strcmp(option, "--user") == 0)
			at.user = value;
		else if (strcmp(option, "--credential") == 0)
			at.credential = value;
		else
			at.limit_s = strtol(value, NULL, 10);
	}
	at.auth = at.credential[0] ? AUTH_BASIC : AUTH_NONE;
	at.url = word(&t);
	enum rc rc = loop_new(&clock, &t.loop, &err);
	if (rc == RC_OK)
		rc = transfers_new(t.loop, &transfers, &err);
	if (rc == RC_OK)
		rc = fetch_new(transfers, &fetch, &err);
	if (rc == RC_OK)
		rc = dav_new(fetch, &at, &t.dav, &err);
	if (rc == RC_OK) {
		next(&t);
		rc = loop_run(t.loop, 0, &err);
	}
	dav_free(t.dav);
	dav_end();
	fetch_free(fetch);
	transfers_free(transfers);
	loop_free(t.loop);
	if (rc != RC_OK)
		fail(err.text);
	return 0;
}
