#include "daemon/outfile.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/mem.h"

enum { READ_CHUNK = 65536 };

static int real_open(const char *path, int flags, unsigned mode)
{
	return open(path, flags, (mode_t)mode);
}

static long real_write(int fd, const void *buf, size_t n)
{
	return write(fd, buf, n);
}

static int real_fchmod(int fd, unsigned mode)
{
	return fchmod(fd, (mode_t)mode);
}

static const struct outfile_ops real_ops = {
	.open = real_open,
	.write = real_write,
	.fchmod = real_fchmod,
	.fsync = fsync,
	.close = close,
	.rename = rename,
	.unlink = unlink,
};

/* One replacement under way. */
struct job {
	const struct outfile_ops *ops;
	const char *path;
	char folder[PATH_MAX], part[PATH_MAX];
	struct err *err;
};

static enum rc failed(const struct job *job, const char *what, int error)
{
	bool full = error == ENOSPC || error == EDQUOT;
	return err_set(job->err, full ? RC_FULL : RC_IO, "%.300s: %s: %s%s", job->path, what,
		strerror(error), full ? ": make room on the disk" : "");
}

static enum rc name_files(struct job *job)
{
	const char *slash = strrchr(job->path, '/');
	const char *name = slash ? slash + 1 : job->path;
	size_t n = slash == job->path ? 1 : slash ? (size_t)(slash - job->path) : 0;
	if (n + strlen(name) + sizeof "/..part" > PATH_MAX)
		return failed(job, "name", ENAMETOOLONG);
	(void)snprintf(
		job->folder, sizeof job->folder, "%.*s", n ? (int)n : 1, n ? job->path : ".");
	int len = snprintf(job->part, sizeof job->part, "%s/.%s.part", job->folder, name);
	return len < PATH_MAX ? RC_OK : failed(job, "name", ENAMETOOLONG);
}

/* Opened first, so that a missing folder is told as such. */
static enum rc open_folder(struct job *job, int *fd)
{
	*fd = job->ops->open(job->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0);
	if (*fd >= 0)
		return RC_OK;
	int error = errno;
	if (error != ENOENT && error != ENOTDIR && error != EACCES)
		return failed(job, "open folder", error);
	return err_set(job->err, RC_IO,
		"%.200s: folder %.200s: %s: %s or name another in outputs.folder", job->path,
		job->folder, strerror(error),
		error == EACCES ? "let this user read and write it" : "create it");
}

static enum rc open_part(struct job *job, int *fd)
{
	const int flags = O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC;
	*fd = job->ops->open(job->part, flags, 0644);
	if (*fd < 0 && errno == EEXIST && job->ops->unlink(job->part) == 0)
		*fd = job->ops->open(job->part, flags, 0644);
	return *fd >= 0 ? RC_OK : failed(job, "create temporary", errno);
}

static enum rc write_all(struct job *job, int fd, const char *bytes, size_t n)
{
	while (n > 0) {
		long wrote = job->ops->write(fd, bytes, n);
		if (wrote < 0 && errno == EINTR)
			continue;
		if (wrote <= 0)
			return failed(job, "write", wrote < 0 ? errno : EIO);
		bytes += wrote;
		n -= (size_t)wrote;
	}
	return RC_OK;
}

/* The temporary whole on the disk, or gone. */
static enum rc write_part(struct job *job, const char *bytes, size_t n)
{
	int fd;
	enum rc rc = open_part(job, &fd);
	if (rc != RC_OK)
		return rc;
	rc = write_all(job, fd, bytes, n);
	/* the umask may have taken bits that a web server or a sync client needs */
	if (rc == RC_OK && job->ops->fchmod(fd, 0644) != 0)
		rc = failed(job, "set mode", errno);
	if (rc == RC_OK && job->ops->fsync(fd) != 0)
		rc = failed(job, "sync", errno);
	if (job->ops->close(fd) != 0 && rc == RC_OK)
		rc = failed(job, "close", errno);
	if (rc == RC_OK && job->ops->rename(job->part, job->path) != 0)
		rc = failed(job, "rename", errno);
	if (rc != RC_OK)
		(void)job->ops->unlink(job->part);
	return rc;
}

static enum rc replace(struct job *job, const char *bytes, size_t n)
{
	int folder;
	enum rc rc = open_folder(job, &folder);
	if (rc != RC_OK)
		return rc;
	rc = write_part(job, bytes, n);
	/* some network file systems cannot sync a folder and say EINVAL */
	if (rc == RC_OK && job->ops->fsync(folder) != 0 && errno != EINVAL)
		rc = failed(job, "sync folder", errno);
	(void)job->ops->close(folder);
	return rc;
}

static bool same(const char *path, const char *bytes, size_t n)
{
	char *old = NULL;
	size_t len = 0;
	bool equal = outfile_read(path, n, &old, &len, NULL) == RC_OK && len == n &&
		     memcmp(old, bytes, n) == 0;
	mem_free(old);
	return equal;
}

enum rc outfile_put(const char *path, const char *bytes, size_t n, const struct outfile_ops *ops,
	bool *changed, struct err *err)
{
	bool equal = same(path, bytes, n);
	struct job job = { .ops = ops ? ops : &real_ops, .path = path, .err = err };
	enum rc rc = equal ? RC_OK : name_files(&job);
	if (rc == RC_OK && !equal)
		rc = replace(&job, bytes, n);
	if (rc == RC_OK)
		*changed = !equal;
	return rc;
}

/* Reads to the end or past max. *buf is grown as needed. Returns errno, 0: all read. */
static int read_all(int fd, size_t max, char **buf, size_t *n)
{
	size_t cap = 0;
	for (;;) {
		if (cap - *n < 2) {
			cap = cap ? 2 * cap : READ_CHUNK;
			char *grown = mem_grow(*buf, cap, 1);
			if (!grown)
				return ENOMEM;
			*buf = grown;
		}
		ssize_t got = read(fd, *buf + *n, cap - *n - 1);
		if (got < 0 && errno == EINTR)
			continue;
		if (got < 0)
			return errno;
		*n += (size_t)got;
		if (got == 0 || *n > max)
			return 0;
	}
}

static enum rc read_file(
	const char *path, int fd, size_t max, char **buf, size_t *n, struct err *err)
{
	struct stat st;
	if (fstat(fd, &st) != 0)
		return err_set(err, RC_IO, "%.300s: %s", path, strerror(errno));
	if (!S_ISREG(st.st_mode))
		return err_set(err, RC_IO, "%.300s: not a regular file", path);
	int error = (uintmax_t)st.st_size > max ? 0 : read_all(fd, max, buf, n);
	if (error == ENOMEM)
		return err_set(err, RC_MEM, "%.300s: out of memory", path);
	if (error)
		return err_set(err, RC_IO, "%.300s: %s", path, strerror(error));
	if ((uintmax_t)st.st_size > max || *n > max)
		return err_set(err, RC_INPUT, "%.300s: longer than %zu bytes", path, max);
	return RC_OK;
}

enum rc outfile_read(const char *path, size_t max, char **bytes, size_t *n, struct err *err)
{
	/* not blocking: a FIFO in the way must not hold the loop */
	int fd = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
	if (fd < 0)
		return err_set(err, RC_IO, "%.300s: %s", path, strerror(errno));
	char *buf = NULL;
	size_t len = 0;
	enum rc rc = read_file(path, fd, max, &buf, &len, err);
	(void)close(fd);
	if (rc != RC_OK) {
		mem_free(buf);
		return rc;
	}
	buf[len] = '\0';
	*bytes = buf;
	*n = len;
	return RC_OK;
}
