#include "tests/unit/support.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/outfile.h"

static char *folder;

static int with_folder(void **state)
{
	(void)state;
	folder = support_folder();
	return 0;
}

static int without_folder(void **state)
{
	(void)state;
	support_folder_remove(folder);
	return 0;
}

/* Real calls that count themselves and fail the one numbered fail_at. */
static struct {
	int calls, fail_at;
	int error; /* errno of the failure */
	bool short_write; /* the write at fail_at takes one byte, later ones all of it */
	const char *failed; /* name of the call that failed, NULL: none */
	int open_files;
} fake;

static bool failing(const char *name)
{
	if (++fake.calls != fake.fail_at)
		return false;
	fake.failed = name;
	errno = fake.error;
	return true;
}

static int fake_open(const char *path, int flags, unsigned mode)
{
	if (failing("open"))
		return -1;
	int fd = open(path, flags, (mode_t)mode);
	fake.open_files += fd >= 0;
	return fd;
}

static long fake_write(int fd, const void *buf, size_t n)
{
	if (failing("write"))
		return fake.short_write ? write(fd, buf, 1) : -1;
	return write(fd, buf, n);
}

static int fake_fchmod(int fd, unsigned mode)
{
	return failing("fchmod") ? -1 : fchmod(fd, (mode_t)mode);
}

static int fake_fsync(int fd)
{
	return failing("fsync") ? -1 : fsync(fd);
}

static int fake_close(int fd)
{
	int rc = close(fd); /* as Linux does: closed also when it fails */
	fake.open_files--;
	return failing("close") ? -1 : rc;
}

static int fake_rename(const char *from, const char *to)
{
	return failing("rename") ? -1 : rename(from, to);
}

static int fake_unlink(const char *path)
{
	return failing("unlink") ? -1 : unlink(path);
}

static const struct outfile_ops ops = {
	.open = fake_open,
	.write = fake_write,
	.fchmod = fake_fchmod,
	.fsync = fake_fsync,
	.close = fake_close,
	.rename = fake_rename,
	.unlink = fake_unlink,
};

static size_t files_in(const char *path)
{
	DIR *d = opendir(path);
	assert_non_null(d);
	size_t n = 0;
	for (const struct dirent *e; (e = readdir(d));)
		n += strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0;
	(void)closedir(d);
	return n;
}

static void holds(const char *path, const char *want)
{
	struct err err = { 0 };
	char *bytes = NULL;
	size_t n = 0;
	OK(outfile_read(path, 1000, &bytes, &n, &err), &err);
	assert_int_equal(n, strlen(want));
	assert_string_equal(bytes, want);
	mem_free(bytes);
}

static enum rc put(const char *path, const char *text, bool *changed, struct err *err)
{
	return outfile_put(path, text, strlen(text), NULL, changed, err);
}

static void a_new_file_has_its_bytes_and_mode_0644(void **state)
{
	(void)state;
	const char *path = support_path(folder, "a.ics");
	mode_t mask = umask(0077);
	bool changed = false;
	struct err err = { 0 };
	OK(put(path, "one", &changed, &err), &err);
	(void)umask(mask);
	assert_true(changed);
	holds(path, "one");
	struct stat st;
	assert_int_equal(stat(path, &st), 0);
	assert_int_equal(st.st_mode & 07777, 0644);
	OK(put(path, "", &changed, &err), &err);
	holds(path, "");
	assert_int_equal(files_in(folder), 1);
}

static void equal_bytes_leave_file_and_time_alone(void **state)
{
	(void)state;
	const char *path = support_path(folder, "a.ics");
	support_write(path, "same", 4);
	const struct timespec old[2] = { { 1000000000, 5 }, { 1000000000, 5 } };
	assert_int_equal(utimensat(AT_FDCWD, path, old, 0), 0);
	struct stat before, after;
	assert_int_equal(stat(path, &before), 0);
	bool changed = true;
	struct err err = { 0 };
	OK(put(path, "same", &changed, &err), &err);
	assert_false(changed);
	assert_int_equal(stat(path, &after), 0);
	assert_true(before.st_ino == after.st_ino);
	assert_int_equal(after.st_mtim.tv_sec, 1000000000);
	assert_int_equal(after.st_mtim.tv_nsec, 5);
	OK(put(path, "sam", &changed, &err), &err);
	assert_true(changed);
	holds(path, "sam");
}

/* Puts "new" over "old" with failures at call 1, 2, 3... until a run meets none. */
static void fail_each(int error, enum rc want)
{
	const char *path = support_path(folder, "a.ics");
	int renamed_at = 0;
	for (int at = 1;; at++) {
		support_write(path, "old", 3);
		memset(&fake, 0, sizeof fake);
		fake.fail_at = at;
		fake.error = error;
		bool changed = false;
		struct err err = { 0 };
		enum rc rc = outfile_put(path, "new", 3, &ops, &changed, &err);
		assert_int_equal(fake.open_files, 0);
		assert_int_equal(files_in(folder), 1);
		if (fake.failed && strcmp(fake.failed, "rename") == 0)
			renamed_at = at;
		bool last_close = fake.failed && strcmp(fake.failed, "close") == 0 && renamed_at;
		bool harmless = !fake.failed || last_close;
		assert_int_equal(rc, harmless ? RC_OK : want);
		assert_int_equal(changed, harmless);
		assert_int_equal(err.text[0] != '\0', !harmless);
		/* after the rename the new bytes stand, whatever the folder's sync says */
		holds(path, harmless || (renamed_at && at > renamed_at) ? "new" : "old");
		if (!fake.failed) {
			/* open folder, open, write, fchmod, fsync, close, rename, fsync folder,
			 * close */
			assert_int_equal(at, 10);
			return;
		}
	}
}

static void failing_calls_keep_the_old_file_and_leave_no_temporary(void **state)
{
	(void)state;
	static const struct {
		int error;
		enum rc want;
	} rows[] = { { ENOSPC, RC_FULL }, { EDQUOT, RC_FULL }, { EIO, RC_IO }, { EACCES, RC_IO } };
	for (size_t i = 0; i < COUNT(rows); i++)
		fail_each(rows[i].error, rows[i].want);
}

static void short_writes_are_continued(void **state)
{
	(void)state;
	const char *path = support_path(folder, "a.ics");
	memset(&fake, 0, sizeof fake);
	fake.fail_at = 3;
	fake.short_write = true;
	bool changed = false;
	struct err err = { 0 };
	OK(outfile_put(path, "new", 3, &ops, &changed, &err), &err);
	assert_string_equal(fake.failed, "write");
	assert_true(changed);
	holds(path, "new");
}

static void an_interrupted_write_is_tried_again(void **state)
{
	(void)state;
	const char *path = support_path(folder, "a.ics");
	memset(&fake, 0, sizeof fake);
	fake.fail_at = 3;
	fake.error = EINTR;
	bool changed = false;
	struct err err = { 0 };
	OK(outfile_put(path, "new", 3, &ops, &changed, &err), &err);
	assert_string_equal(fake.failed, "write");
	holds(path, "new");
}

static void a_folder_that_cannot_be_synced_is_no_failure(void **state)
{
	(void)state;
	const char *path = support_path(folder, "a.ics");
	memset(&fake, 0, sizeof fake);
	fake.fail_at = 8;
	fake.error = EINVAL;
	bool changed = false;
	struct err err = { 0 };
	OK(outfile_put(path, "new", 3, &ops, &changed, &err), &err);
	assert_string_equal(fake.failed, "fsync");
	holds(path, "new");
}

static void a_temporary_left_by_a_crash_is_replaced(void **state)
{
	(void)state;
	support_write(support_path(folder, ".a.ics.part"), "half of a long fi", 17);
	bool changed = false;
	struct err err = { 0 };
	OK(put(support_path(folder, "a.ics"), "new", &changed, &err), &err);
	holds(support_path(folder, "a.ics"), "new");
	assert_int_equal(files_in(folder), 1);
}

static void a_missing_folder_is_named_with_what_would_do(void **state)
{
	(void)state;
	const char *path = support_path(folder, "none/a.ics");
	bool changed = true;
	struct err err = { 0 };
	assert_int_equal(put(path, "new", &changed, &err), RC_IO);
	assert_true(changed);
	char want[1200];
	(void)snprintf(want, sizeof want,
		"%s: folder %s/none: No such file or directory: create it or name another in "
		"outputs.folder",
		path, folder);
	assert_string_equal(err.text, want);
	support_write(support_path(folder, "file"), "", 0);
	struct err err2 = { 0 };
	assert_int_equal(put(support_path(folder, "file/a.ics"), "new", &changed, &err2), RC_IO);
	assert_non_null(strstr(err2.text, "/file: Not a directory: create it"));
}

static void bare_names_and_directories_are_handled(void **state)
{
	(void)state;
	char here[4096];
	assert_non_null(getcwd(here, sizeof here));
	assert_int_equal(chdir(folder), 0);
	bool changed = false;
	struct err err = { 0 };
	OK(put("a.ics", "new", &changed, &err), &err);
	holds("a.ics", "new");
	assert_int_equal(mkdir("d", 0755), 0);
	assert_int_equal(put("d", "new", &changed, &err), RC_IO);
	assert_int_equal(files_in("."), 2);
	assert_int_equal(chdir(here), 0);
}

static void reading_stops_at_its_cap_and_refuses_odd_files(void **state)
{
	(void)state;
	char big[200000];
	memset(big, 'x', sizeof big);
	const char *path = support_path(folder, "big");
	support_write(path, big, sizeof big);
	char *bytes = NULL;
	size_t n = 0;
	struct err err = { 0 };
	OK(outfile_read(path, sizeof big, &bytes, &n, &err), &err);
	assert_int_equal(n, sizeof big);
	assert_memory_equal(bytes, big, n);
	mem_free(bytes);
	bytes = NULL;
	assert_int_equal(outfile_read(path, sizeof big - 1, &bytes, &n, &err), RC_INPUT);
	assert_int_equal(outfile_read(support_path(folder, "none"), 10, &bytes, &n, NULL), RC_IO);
	assert_int_equal(outfile_read(folder, 10, &bytes, &n, NULL), RC_IO);
	assert_int_equal(mkfifo(support_path(folder, "fifo"), 0644), 0);
	assert_int_equal(outfile_read(support_path(folder, "fifo"), 10, &bytes, &n, NULL), RC_IO);
	/* size 0 says nothing about what a file of the kernel holds */
	assert_int_equal(outfile_read("/proc/self/maps", 4, &bytes, &n, NULL), RC_INPUT);
	assert_null(bytes);
}

#define IN_FOLDER(f) cmocka_unit_test_setup_teardown(f, with_folder, without_folder)

int main(void)
{
	const struct CMUnitTest tests[] = {
		IN_FOLDER(a_new_file_has_its_bytes_and_mode_0644),
		IN_FOLDER(equal_bytes_leave_file_and_time_alone),
		IN_FOLDER(failing_calls_keep_the_old_file_and_leave_no_temporary),
		IN_FOLDER(short_writes_are_continued),
		IN_FOLDER(an_interrupted_write_is_tried_again),
		IN_FOLDER(a_folder_that_cannot_be_synced_is_no_failure),
		IN_FOLDER(a_temporary_left_by_a_crash_is_replaced),
		IN_FOLDER(a_missing_folder_is_named_with_what_would_do),
		IN_FOLDER(bare_names_and_directories_are_handled),
		IN_FOLDER(reading_stops_at_its_cap_and_refuses_odd_files),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
