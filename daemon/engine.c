#include "daemon/engine_int.h"

#include <stdio.h>
#include <string.h>

#include "core/hash.h"
#include "core/mem.h"
#include "daemon/state.h"

/* What the fold depends on beside its inputs. */
static uint64_t fingerprint(const struct build *b, const struct library *lib)
{
	uint64_t h = hash_on(HASH_START ^ ENGINE_VERSION, b, sizeof *b);
	return hash_on(h, lib->learning, sizeof lib->learning);
}

uint64_t engine_snapshot_sum(const struct snapshot *x)
{
	return hash_on(x->fingerprint, &x->state, sizeof x->state);
}

struct place_air *engine_place(const struct engine *e, const char *name)
{
	for (size_t i = 0; i < e->set->n_places; i++)
		if (strcmp(e->places[i].place->name, name) == 0)
			return &e->places[i];
	return NULL;
}

#define ACCURACY_PCT                                                                               \
	2.0 /* % RH; of a sensor whose settings say nothing: data sheets, from memory */

/* The sensors of that place, in order of their numbers. */
static enum rc find_sensors(
	struct engine *e, const char *place, struct track_sensor *list, size_t *n, struct err *err)
{
	enum rc rc = RC_OK;
	*n = 0;
	for (size_t i = 0; rc == RC_OK && i < e->set->n_sensors; i++) {
		const struct sensor *sensor = &e->set->sensors[i];
		struct track_sensor x = { .accuracy_pct = sensor->accuracy_pct > 0
								  ? sensor->accuracy_pct
								  : ACCURACY_PCT };
		if (strcmp(sensor->place, place) != 0 || *n == TRACK_SENSORS_MAX)
			continue;
		rc = store_sensor_find(e->store, sensor->name, &x.id, err);
		size_t at = (*n)++;
		for (; at > 0 && list[at - 1].id > x.id; at--)
			list[at] = list[at - 1];
		list[at] = x;
	}
	return rc;
}

static enum rc bind_sensors(struct engine *e, struct place_air *a, struct err *err)
{
	struct track_source *from = &a->source;
	const char *room = a->place->room;
	enum rc rc = find_sensors(e, a->place->name, from->at, &from->n, err);
	if (rc != RC_OK || !room[0])
		return rc;
	return from->n ? find_sensors(e, room, from->room, &from->n_room, err)
		       : find_sensors(e, room, from->at, &from->n, err);
}

static enum rc bind_places(struct engine *e, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < e->set->n_places; i++) {
		struct place_air *a = &e->places[i];
		a->place = &e->set->places[i];
		rc = zone_new(settings_zone_of(e->set, a->place), &a->zone, err);
		if (rc == RC_OK)
			rc = bind_sensors(e, a, err);
	}
	return rc;
}

static enum rc make_output_zones(struct engine *e, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < e->set->n_outputs; i++)
		if (e->set->outputs[i].zone[0])
			rc = zone_new(e->set->outputs[i].zone, &e->zones[i], err);
	return rc;
}

enum rc engine_new(struct store *store, const struct settings *set, const struct library *lib,
	struct engine **out, struct err *err)
{
	struct engine *e = mem_new(1, sizeof *e);
	if (!e)
		return err_set(err, RC_MEM, "engine: out of memory");
	*e = (struct engine){ .store = store, .set = set, .lib = lib };
	e->places = mem_new(set->n_places, sizeof *e->places);
	enum rc rc = e->places ? zone_new(set->zone, &e->zone, err)
			       : err_set(err, RC_MEM, "engine: out of memory");
	if (rc == RC_OK)
		rc = bind_places(e, err);
	if (rc == RC_OK)
		rc = make_output_zones(e, err);
	if (rc == RC_OK)
		*out = e;
	else
		engine_free(e);
	return rc;
}

static void follow_done(struct follow *f)
{
	mem_free(f->stays);
	mem_free(f->findings);
	*f = (struct follow){ 0 };
}

void engine_free(struct engine *e)
{
	if (!e)
		return;
	for (size_t i = 0; i < e->n_follows; i++)
		follow_done(&e->follows[i]);
	for (size_t i = 0; e->places && i < e->set->n_places; i++) {
		zone_free(e->places[i].zone);
		track_done(&e->places[i].track);
	}
	for (size_t i = 0; i < e->n_models; i++)
		instrument_model_free(e->models[i].model);
	mem_free(e->models);
	for (size_t i = 0; i < OUTPUTS_MAX; i++)
		zone_free(e->zones[i]);
	zone_free(e->zone);
	mem_free(e->places);
	mem_free(e->follows);
	mem_free(e->list);
	mem_free(e);
}

/* ---- what is to be followed ---- */

static enum rc share_model(
	struct engine *e, struct follow *f, const struct build *b, struct err *err)
{
	f->fingerprint = fingerprint(b, e->lib);
	for (size_t i = 0; i < e->n_models; i++)
		if (e->models[i].fingerprint == f->fingerprint) {
			f->pub.model = e->models[i].model;
			return RC_OK;
		}
	struct shared_model *models = mem_grow(e->models, e->n_models + 1, sizeof *models);
	if (!models)
		return err_set(err, RC_MEM, "engine: out of memory");
	e->models = models;
	enum rc rc = instrument_model_new(b, e->lib->learning, &f->pub.model, err);
	if (rc == RC_OK)
		models[e->n_models++] = (struct shared_model){ f->fingerprint, f->pub.model };
	return rc;
}

static bool is_used(const struct engine *e, const struct instrument_model *m)
{
	size_t i = 0;
	while (i < e->n_follows && e->follows[i].pub.model != m)
		i++;
	return i < e->n_follows;
}

static void drop_unused_models(struct engine *e)
{
	size_t kept = 0;
	for (size_t i = 0; i < e->n_models; i++) {
		if (is_used(e, e->models[i].model))
			e->models[kept++] = e->models[i];
		else
			instrument_model_free(e->models[i].model);
	}
	e->n_models = kept;
}

/* Lays the overrides over the build and finds or makes the model; trouble is told, not returned. */
static enum rc make_model(struct engine *e, struct follow *f, struct err *err)
{
	struct followed *p = &f->pub;
	const struct build *base = library_build(e->lib, p->record.build);
	if (!base) {
		(void)snprintf(p->trouble, sizeof p->trouble, "build \"%s\": not in the library",
			p->record.build);
		return RC_OK;
	}
	struct build *b = mem_new(1, sizeof *b);
	if (!b)
		return err_set(err, RC_MEM, "engine: out of memory");
	struct faults faults = { 0 };
	enum rc rc =
		library_override(e->lib, base, p->record.overrides, p->record.name, b, &faults);
	if (rc == RC_OK) {
		rc = share_model(e, f, b, err);
	} else {
		(void)snprintf(p->trouble, sizeof p->trouble, "%s",
			faults.n ? faults.text[0] : "overrides");
		rc = RC_OK;
	}
	faults_done(&faults);
	mem_free(b);
	return rc;
}

/* Keeps the model of an instrument whose build and overrides are as before. */
static void adopt_model(struct engine *e, struct follow *f)
{
	for (size_t i = 0; i < e->n_follows; i++) {
		struct follow *old = &e->follows[i];
		if (old->pub.record.id == f->pub.record.id && old->pub.model &&
			strcmp(old->pub.record.build, f->pub.record.build) == 0 &&
			strcmp(old->pub.record.overrides, f->pub.record.overrides) == 0) {
			f->pub.model = old->pub.model;
			f->fingerprint = old->fingerprint;
		}
	}
}

static enum rc load_follow(struct engine *e, struct follow *f, struct err *err)
{
	adopt_model(e, f);
	enum rc rc = f->pub.model ? RC_OK : make_model(e, f, err);
	if (rc == RC_OK)
		rc = record_stays(e->store, f->pub.record.id, &f->stays, &f->n_stays, err);
	if (rc == RC_OK)
		rc = record_findings(e->store, CARE_OF_INSTRUMENT, f->pub.record.name, &f->findings,
			&f->n_findings, err);
	return rc;
}

static enum rc load_follows(struct engine *e, struct err *err)
{
	struct instrument *records = NULL;
	size_t n = 0;
	enum rc rc = record_instruments(e->store, &records, &n, err);
	struct follow *fresh = rc == RC_OK ? mem_new(n, sizeof *fresh) : NULL;
	if (rc == RC_OK && !fresh)
		rc = err_set(err, RC_MEM, "engine: out of memory");
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		fresh[i].pub.record = records[i];
		rc = load_follow(e, &fresh[i], err);
	}
	mem_free(records);
	if (rc != RC_OK) {
		for (size_t i = 0; fresh && i < n; i++)
			follow_done(&fresh[i]);
		mem_free(fresh);
		return rc;
	}
	for (size_t i = 0; i < e->n_follows; i++)
		follow_done(&e->follows[i]);
	mem_free(e->follows);
	e->follows = fresh;
	e->n_follows = n;
	drop_unused_models(e);
	return RC_OK;
}

const struct stay *engine_stay_at(const struct follow *f, int64_t hour)
{
	const struct stay *at = f->n_stays ? &f->stays[0] : NULL;
	for (size_t i = 1; i < f->n_stays && f->stays[i].t_s <= hour * HOUR_S; i++)
		at = &f->stays[i];
	return at;
}

/* ---- marks and beginnings ---- */

/* A changed hour changes the bridge that ends or starts at it: back to the known hour before it. */
static enum rc place_dirty(struct engine *e, struct place_air *a, struct err *err)
{
	enum rc rc = RC_OK;
	a->dirty = a->needed = TIME_NEVER;
	track_done(&a->track);
	for (size_t i = 0; rc == RC_OK && i < a->source.n + a->source.n_room; i++) {
		bool own = i < a->source.n;
		int64_t id = own ? a->source.at[i].id : a->source.room[i - a->source.n].id;
		int64_t dirty = TIME_NEVER, known = TIME_NEVER;
		rc = store_dirty_hour(e->store, id, &dirty, err);
		if (rc != RC_OK || dirty == TIME_NEVER)
			continue;
		rc = own ? state_known_hour_before(e->store, id, dirty, &known, err)
			 : track_borrows_from(e->store, &a->source, dirty, &known, err);
		if (known == TIME_NEVER && !own)
			continue;
		int64_t from = known == TIME_NEVER || known == INT64_MIN ? INT64_MIN : known + 1;
		if (from < a->dirty)
			a->dirty = from;
	}
	return rc;
}

/* Another accuracy is another weight: it leaves its own mark. */
static enum rc weigh(struct engine *e, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < e->set->n_places; i++) {
		const struct track_source *from = &e->places[i].source;
		for (size_t k = 0; rc == RC_OK && k < from->n; k++)
			rc = store_weighed_by(
				e->store, from->at[k].id, from->at[k].accuracy_pct, err);
	}
	return rc;
}

/* The first hour of this instrument that has to be followed anew. */
static enum rc follow_dirty(
	struct engine *e, const struct follow *f, int64_t *from, struct err *err)
{
	enum rc rc = record_dirty_hour(e->store, f->pub.record.id, from, err);
	for (size_t i = 0; rc == RC_OK && i < f->n_stays; i++) {
		const struct place_air *a = engine_place(e, f->stays[i].place);
		bool overlaps =
			a && (i + 1 == f->n_stays ||
				     a->dirty < civil_floor(f->stays[i + 1].t_s, HOUR_S) + 1);
		if (overlaps && a->dirty < *from)
			*from = a->dirty;
	}
	return rc;
}

/* Chooses the snapshot to start from, or the beginning. */
static enum rc choose_start(struct engine *e, struct follow *f, int64_t target, struct err *err)
{
	int64_t from = TIME_NEVER;
	f->head = TIME_NEVER;
	enum rc rc = follow_dirty(e, f, &from, err);
	if (rc == RC_OK)
		rc = state_snapshot_before(e->store, f->pub.record.id,
			from < target + 1 ? from : target + 1, &f->start, sizeof f->start, &f->head,
			err);
	if (rc == RC_OK && f->head != TIME_NEVER &&
		(f->start.fingerprint != f->fingerprint ||
			f->start.sum != engine_snapshot_sum(&f->start) ||
			f->head < f->start.state.begun + BEGIN_H))
		f->head = TIME_NEVER;
	int64_t first =
		f->head == TIME_NEVER ? civil_floor(f->pub.record.since_s, HOUR_S) : f->head + 1;
	for (size_t i = 0; rc == RC_OK && i < f->n_stays; i++) {
		struct place_air *a = engine_place(e, f->stays[i].place);
		bool over = i + 1 < f->n_stays && f->stays[i + 1].t_s < first * HOUR_S;
		if (a && !over && first < a->needed)
			a->needed = first;
	}
	return rc;
}

/* Where a place's track has to start: at `from`, or later when nothing is known before it. */
static enum rc track_start(
	struct engine *e, const struct place_air *a, int64_t from, int64_t *start, struct err *err)
{
	int64_t first = TIME_NEVER;
	for (size_t k = 0; k < a->source.n; k++) {
		int64_t before = TIME_NEVER, after = TIME_NEVER;
		enum rc rc =
			state_known_hour_before(e->store, a->source.at[k].id, from, &before, err);
		if (rc == RC_OK)
			rc = state_known_hour_from(e->store, a->source.at[k].id, from, &after, err);
		if (rc != RC_OK)
			return rc;
		if (before != TIME_NEVER)
			after = from;
		if (after < first)
			first = after;
	}
	*start = first;
	return RC_OK;
}

static enum rc load_tracks(struct engine *e, int64_t target, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < e->set->n_places; i++) {
		struct place_air *a = &e->places[i];
		int64_t from = TIME_NEVER;
		if (a->needed != TIME_NEVER)
			rc = track_start(e, a, a->needed, &from, err);
		if (rc == RC_OK && from <= target)
			rc = track_load(e->store, &a->source, from, target + 1, &a->track, err);
	}
	return rc;
}

static enum rc clear_marks(struct engine *e, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < e->set->n_places; i++)
		for (size_t k = 0; rc == RC_OK && k < e->places[i].source.n; k++)
			rc = store_clear_dirty(e->store, e->places[i].source.at[k].id, err);
	for (size_t i = 0; rc == RC_OK && i < e->n_follows; i++)
		rc = record_clear_dirty(e->store, e->follows[i].pub.record.id, err);
	return rc;
}

static enum rc follow_all(struct engine *e, int64_t now_s, struct err *err)
{
	int64_t target = civil_floor(now_s, HOUR_S) - 1;
	enum rc rc = load_follows(e, err);
	if (rc == RC_OK)
		rc = weigh(e, err);
	for (size_t i = 0; rc == RC_OK && i < e->set->n_places; i++)
		rc = place_dirty(e, &e->places[i], err);
	for (size_t i = 0; rc == RC_OK && i < e->n_follows; i++)
		rc = choose_start(e, &e->follows[i], target, err);
	if (rc == RC_OK)
		rc = load_tracks(e, target, err);
	if (rc == RC_OK)
		rc = engine_follow_hours(e, target, err);
	for (size_t i = 0; rc == RC_OK && i < e->n_follows; i++)
		engine_show(&e->follows[i], now_s);
	return rc == RC_OK ? clear_marks(e, err) : rc;
}

static enum rc show_all(struct engine *e, struct err *err)
{
	struct followed *list = mem_grow(e->list, e->n_follows, sizeof *list);
	if (!list)
		return err_set(err, RC_MEM, "engine: out of memory");
	e->list = list;
	e->n_list = e->n_follows;
	for (size_t i = 0; i < e->n_list; i++)
		list[i] = e->follows[i].pub;
	return RC_OK;
}

enum rc engine_follow_within(struct engine *e, int64_t now_s, struct err *err)
{
	e->n_list = 0;
	enum rc rc = follow_all(e, now_s, err);
	return rc == RC_OK ? show_all(e, err) : rc;
}

enum rc engine_follow(struct engine *e, int64_t now_s, struct err *err)
{
	e->n_list = 0;
	enum rc rc = store_begin(e->store, err);
	if (rc != RC_OK)
		return rc;
	rc = engine_follow_within(e, now_s, err);
	if (rc == RC_OK)
		return store_commit(e->store, err);
	store_rollback(e->store);
	return rc;
}

const struct followed *engine_followed(const struct engine *e, size_t *n)
{
	*n = e->n_list;
	return e->list;
}

const struct followed *engine_find(const struct engine *e, const char *name)
{
	for (size_t i = 0; i < e->n_list; i++)
		if (strcmp(e->list[i].record.name, name) == 0)
			return &e->list[i];
	return NULL;
}

size_t engine_sensors_of(const struct engine *e, const char *place, int64_t *ids, size_t max)
{
	const struct place_air *a = engine_place(e, place);
	size_t n = a ? (a->source.n < max ? a->source.n : max) : 0;
	for (size_t i = 0; i < n; i++)
		ids[i] = a->source.at[i].id;
	return n;
}

const struct track_source *engine_source(const struct engine *e, const char *place)
{
	const struct place_air *a = engine_place(e, place);
	return a ? &a->source : NULL;
}

const struct zone *engine_zone(const struct engine *e, const char *place)
{
	const struct place_air *a = place ? engine_place(e, place) : NULL;
	return a ? a->zone : e->zone;
}

const struct zone *engine_output_zone(const struct engine *e, const struct output *o)
{
	for (size_t i = 0; i < e->set->n_outputs; i++)
		if (o == &e->set->outputs[i] && e->zones[i])
			return e->zones[i];
	return e->zone;
}
