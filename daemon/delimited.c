#include "daemon/delimited.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/encoding.h"
#include "daemon/import.h"

/* The text buffer holds one longest record and, beyond it, at least one decoded block. */
enum { RAW_SIZE = 65536, TEXT_SIZE = 4 * IMPORT_LINE_MAX };

struct delimited {
	int fd; /* < 0: the text is in memory */
	const char *bytes;
	size_t n, at; /* of bytes */
	int error; /* errno of a failed read */
	enum encoding encoding;
	char eol;
	size_t mark; /* bytes of the byte order mark */
	bool at_end;
	int64_t line; /* of the next row */
	int64_t done, all;
	size_t carry; /* bytes at the start of raw that wait for their other half */
	size_t pos, end; /* text[pos..end) is not yet read */
	unsigned char raw[RAW_SIZE];
	char text[TEXT_SIZE];
};

/* One line of which nothing can be told. */
static void long_line(struct row *row)
{
	row->kind = ROW_LONG;
	row->n = 0;
	row->lines = 1;
	row->ended = true;
}

/* As read(2). */
static ssize_t read_some(struct delimited *d, void *into, size_t n)
{
	if (d->fd >= 0)
		return read(d->fd, into, n);
	size_t left = d->n - d->at;
	n = n < left ? n : left;
	memcpy(into, d->bytes + d->at, n);
	d->at += n;
	return (ssize_t)n;
}

/* Reads up to n bytes; 0 at the end, also when reading failed. */
static size_t read_bytes(struct delimited *d, void *into, size_t n)
{
	ssize_t got;
	do
		got = read_some(d, into, n);
	while (got < 0 && errno == EINTR);
	if (got < 0)
		d->error = errno;
	d->at_end = got <= 0;
	d->done += got > 0 ? got : 0;
	return got > 0 ? (size_t)got : 0;
}

/* Reads a block and appends it decoded to the text. */
static void refill(struct delimited *d)
{
	memmove(d->text, d->text + d->pos, d->end - d->pos);
	d->end -= d->pos;
	d->pos = 0;
	size_t skip = d->done == 0 ? d->mark : 0;
	if (d->encoding != ENCODED_UTF16LE && d->encoding != ENCODED_UTF16BE) {
		size_t n = read_bytes(d, d->text + d->end, RAW_SIZE);
		skip = n < skip ? n : skip;
		if (skip > 0)
			memmove(d->text + d->end, d->text + d->end + skip, n - skip);
		d->end += n - skip;
		return;
	}
	size_t n = d->carry + read_bytes(d, d->raw + d->carry, RAW_SIZE - d->carry);
	size_t used;
	skip = n < skip ? n : skip;
	d->end += encoding_from_utf16(d->raw + skip, n - skip, d->encoding == ENCODED_UTF16BE,
		d->at_end, &used, d->text + d->end);
	d->carry = n - skip - used;
	memmove(d->raw, d->raw + skip + used, d->carry);
}

/* Drops the rest of a record that is too long. */
static void skip_line(struct delimited *d)
{
	const char *line;
	while (!(line = memchr(d->text + d->pos, d->eol, d->end - d->pos))) {
		d->pos = d->end;
		if (d->at_end)
			return;
		refill(d);
	}
	d->pos = (size_t)(line - d->text) + 1;
}

bool delimited_next(struct delimited *d, char delimiter, struct row *row)
{
	for (;;) {
		size_t left = d->end - d->pos;
		size_t taken = row_split(d->text + d->pos, left, delimiter, d->eol, d->at_end, row);
		row->line = d->line;
		if (taken > 0) {
			d->pos += taken;
			d->line += (int64_t)row->lines;
			return true;
		}
		if (d->at_end)
			return false;
		if (left > IMPORT_LINE_MAX) {
			long_line(row);
			d->line++;
			skip_line(d);
			return true;
		}
		refill(d);
	}
}

enum rc delimited_result(const struct delimited *d, struct err *err)
{
	return d->error ? err_set(err, RC_IO, "read: %s", strerror(d->error)) : RC_OK;
}

bool delimited_rewind(struct delimited *d)
{
	if (d->fd >= 0 && lseek(d->fd, 0, SEEK_SET) != 0)
		return false;
	d->at = 0;
	d->pos = d->end = d->carry = 0;
	d->done = 0;
	d->line = 1;
	d->at_end = false;
	return true;
}

/* Sets the encoding from the first block and decodes as much as a sample takes. */
static enum rc look(struct delimited *d, const char *path, int known, struct err *err)
{
	ssize_t got = 0;
	size_t n = 0;
	while (n < RAW_SIZE && (got = read_some(d, d->raw + n, RAW_SIZE - n)) > 0)
		n += (size_t)got;
	if (got < 0)
		return err_set(err, RC_IO, "%s: %s", path, strerror(errno));
	d->encoding = encoding_of(d->raw, n, n < RAW_SIZE, &d->mark);
	if (n <= d->mark)
		return err_set(err, RC_INPUT, "%s: the file is empty", path);
	if (known == ENCODING_UTF8 || known == ENCODING_LATIN1)
		d->encoding = known == ENCODING_UTF8 ? ENCODED_UTF8 : ENCODED_LATIN1;
	else if (known == ENCODING_UTF16 && d->encoding != ENCODED_UTF16BE)
		d->encoding = ENCODED_UTF16LE;
	if (d->encoding == ENCODED_BINARY)
		return err_set(
			err, RC_INPUT, "%s: not text: a delimited text export is wanted", path);
	if (!delimited_rewind(d))
		return err_set(
			err, RC_IO, "%s: %s (a plain file is wanted)", path, strerror(errno));
	while (!d->at_end && d->end < DELIMITED_SAMPLE)
		refill(d);
	if (!memchr(d->text, '\n', d->end) && memchr(d->text, '\r', d->end))
		d->eol = '\r';
	return RC_OK;
}

enum rc delimited_open(const char *path, int known, struct delimited **out, struct err *err)
{
	struct stat st;
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
	if (fd < 0 || fstat(fd, &st) < 0) {
		enum rc rc = err_set(err, RC_IO, "%s: %s", path, strerror(errno));
		if (fd >= 0)
			(void)close(fd);
		return rc;
	}
	struct delimited *d = mem_new(1, sizeof *d);
	enum rc rc = RC_OK;
	if (!d) {
		(void)close(fd);
		return err_set(err, RC_MEM, "%s: out of memory", path);
	}
	d->fd = fd;
	d->eol = '\n';
	d->all = st.st_size;
	if (S_ISREG(st.st_mode))
		rc = look(d, path, known, err);
	else
		rc = err_set(err, RC_IO, "%s: is %s: a plain file is wanted", path,
			S_ISDIR(st.st_mode) ? "a directory" : "no plain file");
	if (rc == RC_OK)
		*out = d;
	else
		delimited_close(d);
	return rc;
}

enum rc delimited_open_bytes(const char *name, const void *bytes, size_t n, int known,
	struct delimited **out, struct err *err)
{
	struct delimited *d = mem_new(1, sizeof *d);
	if (!d)
		return err_set(err, RC_MEM, "%s: out of memory", name);
	d->fd = -1;
	d->bytes = n > 0 ? bytes : "";
	d->n = n;
	d->eol = '\n';
	d->all = (int64_t)n;
	enum rc rc = look(d, name, known, err);
	if (rc == RC_OK)
		*out = d;
	else
		delimited_close(d);
	return rc;
}

void delimited_close(struct delimited *d)
{
	if (!d)
		return;
	if (d->fd >= 0)
		(void)close(d->fd);
	mem_free(d);
}

const char *delimited_encoding(const struct delimited *d)
{
	static const char *const words[] = { "UTF-8", "UTF-16 little endian", "UTF-16 big endian",
		"Latin-1", "binary" };
	return words[d->encoding];
}

bool delimited_latin1(const struct delimited *d)
{
	return d->encoding == ENCODED_LATIN1;
}

char delimited_eol(const struct delimited *d)
{
	return d->eol;
}

const char *delimited_sample_ref(const struct delimited *d, size_t *n)
{
	size_t end = d->end < DELIMITED_SAMPLE ? d->end : DELIMITED_SAMPLE;
	if (end < d->end || !d->at_end) {
		const char *line = memrchr(d->text, d->eol, end);
		end = line ? (size_t)(line - d->text) + 1 : 0;
	}
	*n = end;
	return d->text;
}

int64_t delimited_done_bytes(const struct delimited *d)
{
	return d->done - (int64_t)(d->end - d->pos);
}

int64_t delimited_all_bytes(const struct delimited *d)
{
	return d->all;
}
