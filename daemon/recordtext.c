#include "core/mem.h"
#include "daemon/recordtext_int.h"

/* A sensor of the settings may not have brought anything yet. */
static enum rc put_correction(struct said *x, const struct store_correction *c, bool *news)
{
	int64_t id = 0;
	enum rc rc = store_sensor_find(x->store, c->sensor, &id, NULL);
	if (rc == RC_UNKNOWN)
		rc = store_sensor(x->store, c->sensor, x->zone, &id, x->err);
	return rc == RC_OK ? store_correction_put(x->store, id, c, news, x->err) : rc;
}

/* Clients before their instruments, instruments before what happened to them. */
static enum rc write_all(struct said *x, size_t *changed)
{
	enum rc rc = RC_OK;
	bool news = false;
	for (size_t i = 0; rc == RC_OK && i < x->n_clients; i++) {
		rc = record_put_client(x->store, &x->clients[i], &news, x->err);
		*changed += news;
	}
	for (size_t i = 0; rc == RC_OK && i < x->n_instruments; i++) {
		rc = record_put_instrument(x->store, &x->instruments[i], &news, x->err);
		*changed += news;
	}
	for (size_t i = 0; rc == RC_OK && i < x->n_stays; i++) {
		rc = record_put_stay(
			x->store, x->stays[i].instrument, &x->stays[i].stay, &news, x->err);
		*changed += news;
	}
	for (size_t i = 0; rc == RC_OK && i < x->n_findings; i++) {
		rc = record_put_finding(x->store, &x->findings[i].finding, &news, x->err);
		*changed += news;
	}
	for (size_t i = 0; rc == RC_OK && i < x->n_corrections; i++) {
		rc = put_correction(x, &x->corrections[i], &news);
		*changed += news;
	}
	return rc;
}

static enum rc read_file(struct said *x, const char *path)
{
	config_t cfg;
	if (schema_open(&cfg, path, x->faults))
		recordtext_read(x, config_root_setting(&cfg));
	config_destroy(&cfg);
	return x->rc;
}

enum rc recordtext_apply(struct store *s, const struct settings *set, const struct library *lib,
	const struct zone *zone, int64_t now_s, const char *path, size_t *changed, struct faults *f,
	struct err *err)
{
	struct said x = {
		.store = s,
		.set = set,
		.lib = lib,
		.zone = zone,
		.now_s = now_s,
		.faults = f,
		.err = err,
	};
	size_t before = f->n + f->beyond, news = 0;
	enum rc rc = record_clients(s, &x.old_clients, &x.n_old_clients, err);
	if (rc == RC_OK)
		rc = record_instruments(s, &x.old_instruments, &x.n_old_instruments, err);
	if (rc == RC_OK)
		rc = read_file(&x, path);
	if (rc == RC_OK && f->n + f->beyond > before)
		rc = faults_result(f, err);
	if (rc == RC_OK)
		rc = write_all(&x, &news);
	if (rc == RC_OK)
		*changed = news;
	mem_free(x.old_clients);
	mem_free(x.old_instruments);
	mem_free(x.clients);
	mem_free(x.instruments);
	mem_free(x.stays);
	mem_free(x.findings);
	mem_free(x.corrections);
	return rc;
}
