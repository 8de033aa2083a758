/* What every unit test needs: cmocka, doubles that compare as doubles, a temporary folder, data. */
#ifndef TESTS_UNIT_SUPPORT_H
#define TESTS_UNIT_SUPPORT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdbool.h>
#include <cmocka.h>

#include "core/err.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

/* Fails unless |got - want| <= tol; NAN fails. what names the row. cmocka's own compares floats. */
#define CLOSE(got, want, tol, what) support_close(got, want, tol, what, __FILE__, __LINE__)
void support_close(
	double got, double want, double tol, const char *what, const char *file, int line);

/* Fails with err's text unless rc is RC_OK. */
#define OK(rc, err) support_ok(rc, err, __FILE__, __LINE__)
void support_ok(enum rc rc, const struct err *err, const char *file, int line);

/* A fresh folder below TMPDIR, removed with everything in it by support_folder_remove. */
char *support_folder(void);
void support_folder_remove(char *folder);
/* folder/name, in one of a few rotating buffers. */
const char *support_path(const char *folder, const char *name);
void support_write(const char *path, const void *bytes, size_t n);

/* Path of name in SEASOND_TEST_DATA; NULL (and an announcement) when the folder is not there. */
const char *support_data(const char *name);

/* Random numbers of a test: seed from SEED or the default, printed once. */
uint64_t support_seed(void);
uint64_t support_random(uint64_t *state);

#endif
