/* seasond.conf: whatever stands in it, either good settings or faults in words. */
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "daemon/settings.h"
#include "tests/fuzz/fuzz.h"

/* libconfig 1.5 loses a string that it has read when a syntax error follows. */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
	return "leak:strbuf_append\nleak:libconfig_yylex\n";
}

static void check_good(const struct settings *s)
{
	HOLDS(s->n_places >= 1 && s->n_places <= PLACES_MAX);
	HOLDS(s->n_sensors >= 1 && s->n_sensors <= SENSORS_MAX);
	HOLDS(s->n_sources <= SOURCES_MAX && s->n_streams <= STREAMS_MAX);
	for (size_t i = 0; i < s->n_sensors; i++) {
		HOLDS(settings_place(s, s->sensors[i].place));
		HOLDS(settings_sensor(s, s->sensors[i].name) == &s->sensors[i]);
	}
	for (size_t i = 0; i < s->n_streams; i++)
		HOLDS(settings_source(s, s->streams[i].source));
	for (size_t i = 0; i < s->n_sources; i++)
		HOLDS(s->sources[i].interval_s >= 10 && s->sources[i].interval_s <= 86400);
}

static enum rc load(const char *path, struct faults *f)
{
	struct settings *s = NULL;
	enum rc rc = settings_load(path, &s, f);
	HOLDS((rc == RC_OK) == (s != NULL));
	HOLDS((rc == RC_OK) == (f->n == 0));
	if (s)
		check_good(s);
	settings_free(s);
	return rc;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct faults a = { 0 }, b = { 0 };
	char path[64];
	int fd = memfd_create("settings", MFD_CLOEXEC);
	HOLDS(fd >= 0 && write(fd, bytes, n) == (ssize_t)n);
	(void)snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
	HOLDS(load(path, &a) == load(path, &b));
	HOLDS(a.n == b.n && a.beyond == b.beyond);
	for (size_t i = 0; i < a.n; i++)
		HOLDS(strcmp(a.text[i], b.text[i]) == 0);
	faults_done(&a);
	faults_done(&b);
	(void)close(fd);
	return 0;
}
