#include "tests/unit/support.h"

#include <ftw.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

void support_close(
	double got, double want, double tol, const char *what, const char *file, int line)
{
	if (fabs(got - want) <= tol)
		return;
	print_error("%s: got %.17g, want %.17g +- %g\n", what, got, want, tol);
	_fail(file, line);
}

void support_ok(enum rc rc, const struct err *err, const char *file, int line)
{
	if (rc == RC_OK)
		return;
	print_error("rc %d: %s\n", (int)rc, err ? err->text : "");
	_fail(file, line);
}

char *support_folder(void)
{
	const char *base = getenv("TMPDIR");
	char path[512];
	(void)snprintf(path, sizeof path, "%s/seasond-test-XXXXXX", base ? base : "/tmp");
	char *folder = mkdtemp(path);
	assert_non_null(folder);
	return strdup(folder);
}

static int remove_one(const char *path, const struct stat *st, int kind, struct FTW *ftw)
{
	(void)st, (void)kind, (void)ftw;
	return remove(path);
}

void support_folder_remove(char *folder)
{
	(void)nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
	free(folder);
}

const char *support_path(const char *folder, const char *name)
{
	static char ring[8][1024];
	static size_t next;
	char *buf = ring[next++ % COUNT(ring)];
	(void)snprintf(buf, sizeof ring[0], "%s/%s", folder, name);
	return buf;
}

void support_write(const char *path, const void *bytes, size_t n)
{
	FILE *f = fopen(path, "wb");
	assert_non_null(f);
	assert_int_equal(fwrite(bytes, 1, n, f), n);
	assert_int_equal(fclose(f), 0);
}

const char *support_data(const char *name)
{
	const char *folder = getenv("SEASOND_TEST_DATA");
	const char *path = folder ? support_path(folder, name) : NULL;
	if (path && access(path, R_OK) == 0)
		return path;
	print_message("skipped: %s is not in SEASOND_TEST_DATA\n", name);
	return NULL;
}

uint64_t support_seed(void)
{
	const char *text = getenv("SEED");
	uint64_t seed = text ? strtoull(text, NULL, 10) : 20261125;
	print_message("seed %llu\n", (unsigned long long)seed);
	return seed;
}

uint64_t support_random(uint64_t *state)
{
	/* splitmix64, Steele et al. 2014 */
	uint64_t z = *state += 0x9e3779b97f4a7c15U;
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
	return z ^ (z >> 31);
}
