#include "daemon/edition.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/text.h"

/* What an output with `each` is made for: one client or one place. */
struct subject_name {
	const char *name, *title;
};

struct list {
	const struct settings *set;
	struct edition *at;
	size_t n, room;
};

static int by_name(const void *a, const void *b)
{
	return strcmp(
		((const struct subject_name *)a)->name, ((const struct subject_name *)b)->name);
}

static enum bench_units units_of(const struct settings *set, const struct output *o)
{
	switch ((enum output_units)o->units) {
	case OUTPUT_UNITS_INCH:
		return BENCH_INCH;
	case OUTPUT_UNITS_MM:
		return BENCH_MM;
	case OUTPUT_UNITS_OWN:
		break;
	}
	return set->units;
}

static enum rc add(
	struct list *l, const struct output *o, const struct subject_name *each, struct err *err)
{
	if (l->n == EDITIONS_MAX)
		return err_set(err, RC_CONFIG,
			"output \"%s\": more than %d calendars in all: fewer outputs with each",
			o->name, EDITIONS_MAX);
	if (l->n == l->room) {
		size_t room = l->room ? 2 * l->room : OUTPUTS_MAX;
		struct edition *more = mem_grow(l->at, room, sizeof *more);
		if (!more)
			return err_set(err, RC_MEM, "calendars: out of memory");
		l->at = more;
		l->room = room;
	}
	struct edition *e = &l->at[l->n++];
	const char *title = text_or(o->title, o->name);
	*e = (struct edition){ .output = o,
		.zone = o->zone[0] ? o->zone : l->set->zone,
		.units = units_of(l->set, o) };
	(void)snprintf(e->client, sizeof e->client, "%s",
		each && o->each == EACH_CLIENT ? each->name : o->client);
	(void)snprintf(e->place, sizeof e->place, "%s",
		each && o->each == EACH_PLACE ? each->name : o->place);
	(void)snprintf(e->name, sizeof e->name, "%s%s%s", o->name, each ? "-" : "",
		each ? each->name : "");
	(void)snprintf(e->title, sizeof e->title, "%s%s%s", title, each ? ": " : "",
		each ? each->title : "");
	return RC_OK;
}

static enum rc add_each(struct list *l, const struct output *o, struct subject_name *each, size_t n,
	struct err *err)
{
	enum rc rc = RC_OK;
	qsort(each, n, sizeof *each, by_name);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		rc = add(l, o, &each[i], err);
	return rc;
}

static bool is_there(const struct client *clients, size_t n, const char *name)
{
	for (size_t i = 0; i < n; i++)
		if (strcmp(clients[i].name, name) == 0)
			return true;
	return false;
}

static enum rc add_output(struct list *l, const struct output *o, const struct client *clients,
	size_t n_clients, struct subject_name *each, struct err *err)
{
	const struct place *places = l->set->places;
	if (o->client[0] && !is_there(clients, n_clients, o->client))
		return RC_OK;
	switch ((enum output_each)o->each) {
	case EACH_NONE:
		break;
	case EACH_CLIENT:
		for (size_t i = 0; i < n_clients; i++)
			each[i] = (struct subject_name){ clients[i].name,
				text_or(clients[i].title, clients[i].name) };
		return add_each(l, o, each, n_clients, err);
	case EACH_PLACE:
		for (size_t i = 0; i < l->set->n_places; i++)
			each[i] = (struct subject_name){ places[i].name,
				text_or(places[i].title, places[i].name) };
		return add_each(l, o, each, l->set->n_places, err);
	}
	return add(l, o, NULL, err);
}

enum rc editions(struct store *s, const struct settings *set, struct edition **out, size_t *n,
	struct err *err)
{
	struct list l = { .set = set };
	struct client *clients = NULL;
	size_t n_clients = 0;
	enum rc rc = record_clients(s, &clients, &n_clients, err);
	struct subject_name *each = mem_new(n_clients + set->n_places, sizeof *each);
	if (rc == RC_OK && !each)
		rc = err_set(err, RC_MEM, "calendars: out of memory");
	for (size_t i = 0; rc == RC_OK && i < set->n_outputs; i++)
		rc = add_output(&l, &set->outputs[i], clients, n_clients, each, err);
	mem_free(clients);
	mem_free(each);
	if (rc != RC_OK) {
		mem_free(l.at);
		return rc;
	}
	*out = l.at;
	*n = l.n;
	return RC_OK;
}

bool edition_shows(const struct edition *e, enum calendar_kind kind)
{
	switch ((enum output_show)e->output->show) {
	case SHOW_TODOS:
		return kind == CALENDAR_TODOS;
	case SHOW_EVENTS:
		return kind == CALENDAR_EVENTS;
	case SHOW_BOTH:
		break;
	}
	return true;
}
