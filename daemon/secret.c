#include "daemon/secret.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

void secret_wipe(struct secret *s)
{
	explicit_bzero(s, sizeof *s);
}

bool secret_equal(const struct secret *s, const char *text, size_t n)
{
	volatile unsigned differs = n != s->n; /* volatile: no compiler may stop early */
	if (n > SECRET_MAX)
		return false;
	for (size_t i = 0; i < n; i++)
		differs |= (unsigned)(unsigned char)text[i] ^ (unsigned)(unsigned char)s->text[i];
	return differs == 0;
}

/* The file that holds it. */
static enum rc locate(const char *credential, char *path, size_t size, struct err *err)
{
	const char *folder = getenv("CREDENTIALS_DIRECTORY");
	if (credential[0] == '/') {
		(void)snprintf(path, size, "%s", credential);
		return RC_OK;
	}
	if (strchr(credential, '/') || strcmp(credential, ".") == 0 ||
		strcmp(credential, "..") == 0)
		return err_set(err, RC_CONFIG,
			"credential \"%.80s\": no name: one without /, or an absolute path",
			credential);
	if (!folder || folder[0] != '/')
		return err_set(err, RC_CONFIG,
			"credential \"%.80s\": the service manager gave none: "
			"LoadCredential=%.80s:FILE in the unit, or an absolute path",
			credential, credential);
	if (snprintf(path, size, "%s/%s", folder, credential) >= (int)size)
		return err_set(err, RC_CONFIG, "credential \"%.80s\": a path too long", credential);
	return RC_OK;
}

/* A file of the manager's may show group bits, as the mask of its access list; the manager guards
 * the folder. */
static enum rc check_file(int fd, const char *credential, struct err *err)
{
	struct stat st;
	if (fstat(fd, &st) != 0)
		return err_set(
			err, RC_IO, "credential \"%.200s\": %s", credential, strerror(errno));
	if (!S_ISREG(st.st_mode))
		return err_set(
			err, RC_CONFIG, "credential \"%.200s\": not a regular file", credential);
	if (credential[0] != '/')
		return RC_OK;
	if (st.st_uid != geteuid() && st.st_uid != 0)
		return err_set(err, RC_CONFIG,
			"credential \"%.200s\": belongs to user %u: has to be ours (%u) or root's",
			credential, (unsigned)st.st_uid, (unsigned)geteuid());
	if (st.st_mode & (S_IRWXG | S_IRWXO))
		return err_set(err, RC_CONFIG,
			"credential \"%.200s\": mode %04o lets others at it: chmod 600", credential,
			(unsigned)st.st_mode & 07777U);
	return RC_OK;
}

static enum rc read_file(int fd, const char *credential, struct secret *out, struct err *err)
{
	ssize_t n = 1;
	while (out->n < sizeof out->text - 1 && n > 0) {
		n = read(fd, out->text + out->n, sizeof out->text - 1 - out->n);
		if (n < 0 && errno != EINTR)
			return err_set(err, RC_IO, "credential \"%.200s\": %s", credential,
				strerror(errno));
		out->n += n > 0 ? (size_t)n : 0;
		n = n < 0 ? 1 : n;
	}
	return RC_OK;
}

/* A line end or NUL inside would end a header early and begin another. */
static enum rc check_text(const char *credential, struct secret *out, struct err *err)
{
	if (out->n && out->text[out->n - 1] == '\n')
		out->n--;
	if (out->n && out->text[out->n - 1] == '\r')
		out->n--;
	out->text[out->n] = '\0';
	if (out->n == 0)
		return err_set(err, RC_CONFIG, "credential \"%.200s\": empty", credential);
	if (out->n > SECRET_MAX)
		return err_set(err, RC_CONFIG, "credential \"%.200s\": more than %d bytes",
			credential, SECRET_MAX);
	for (size_t i = 0; i < out->n; i++)
		if ((unsigned char)out->text[i] < ' ' || out->text[i] == 0x7f)
			return err_set(err, RC_CONFIG,
				"credential \"%.200s\": holds a control character: one line of "
				"text",
				credential);
	return RC_OK;
}

enum rc secret_read(const char *credential, struct secret *out, struct err *err)
{
	char path[PATH_MAX];
	*out = (struct secret){ 0 };
	enum rc rc = locate(credential, path, sizeof path, err);
	if (rc != RC_OK)
		return rc;
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK); /* a pipe has no say */
	if (fd < 0)
		return err_set(err, errno == ENOENT || errno == EACCES ? RC_CONFIG : RC_IO,
			"credential \"%.200s\": %s", credential, strerror(errno));
	rc = check_file(fd, credential, err);
	if (rc == RC_OK)
		rc = read_file(fd, credential, out, err);
	(void)close(fd);
	if (rc == RC_OK)
		rc = check_text(credential, out, err);
	if (rc != RC_OK)
		secret_wipe(out);
	return rc;
}
