#include "daemon/publish.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/hash.h"
#include "core/mem.h"
#include "daemon/outfile.h"
#include "daemon/pages.h"
#include "daemon/store_meta.h"

/* Editions whose pages are made in one transaction and held at the same time. */
enum { BATCH = 32 };

enum { KINDS = 2 };

struct publish_mark {
	uint64_t
		digest; /* of every entry's meaning, sequence and order, and of the name; 0: none */
	int64_t mtime_ns[KINDS], size[KINDS]; /* of the files then written */
};

struct press {
	struct store *store;
	const struct engine *engine;
	const struct settings *set;
	const struct library *lib;
	int64_t now_s;
	const struct edition *editions;
	size_t n_editions;
	struct publish_memory *memory; /* NULL: none */
	size_t changed;
};

/* ---- names of files ---- */

enum { FILE_NAME_SIZE = EDITION_NAME + 12, FILE_PATH_SIZE = PATH_SIZE + FILE_NAME_SIZE };

static void file_name(const struct edition *e, enum calendar_kind kind, char *name)
{
	(void)snprintf(name, FILE_NAME_SIZE, "%s-%s.ics", e->name,
		kind == CALENDAR_EVENTS ? "events" : "todos");
}

static void file_path(const struct edition *e, enum calendar_kind kind, char *path)
{
	char name[FILE_NAME_SIZE];
	file_name(e, kind, name);
	(void)snprintf(path, FILE_PATH_SIZE, "%s/%s", e->output->folder, name);
}

static bool is_written(const struct edition *e, enum calendar_kind kind)
{
	return e->output->folder[0] && edition_shows(e, kind);
}

/* ---- remembering ---- */

static void file_mark(
	const struct edition *e, enum calendar_kind kind, int64_t *mtime_ns, int64_t *size)
{
	char path[FILE_PATH_SIZE];
	struct stat st;
	file_path(e, kind, path);
	bool there = is_written(e, kind) && stat(path, &st) == 0;
	*mtime_ns = there ? (int64_t)st.st_mtim.tv_sec * 1000000000 + st.st_mtim.tv_nsec : 0;
	*size = there ? (int64_t)st.st_size : -1;
}

static bool is_remembered(const struct press *p, size_t edition, uint64_t digest)
{
	if (!p->memory || p->memory->at[edition].digest != digest)
		return false;
	const struct publish_mark *mark = &p->memory->at[edition];
	for (int kind = CALENDAR_EVENTS; kind <= CALENDAR_TODOS; kind++) {
		int64_t mtime_ns, size;
		file_mark(&p->editions[edition], (enum calendar_kind)kind, &mtime_ns, &size);
		if (mtime_ns != mark->mtime_ns[kind] || size != mark->size[kind])
			return false;
	}
	return true;
}

/* len: of what was just put there; a file that has been touched since is not taken for ours. */
static void mark_written(
	const struct edition *e, enum calendar_kind kind, size_t len, struct publish_mark *mark)
{
	file_mark(e, kind, &mark->mtime_ns[kind], &mark->size[kind]);
	if (mark->size[kind] != (int64_t)len)
		mark->digest = 0;
}

/* A mark for each edition. */
static enum rc make_room(const struct press *p, struct err *err)
{
	struct publish_memory *m = p->memory;
	if (!m || m->n >= p->n_editions)
		return RC_OK;
	struct publish_mark *more = mem_grow(m->at, p->n_editions, sizeof *more);
	if (!more)
		return err_set(err, RC_MEM, "calendars: out of memory");
	memset(more + m->n, 0, (p->n_editions - m->n) * sizeof *more);
	m->at = more;
	m->n = p->n_editions;
	return RC_OK;
}

void publish_forget(struct publish_memory *memory)
{
	mem_free(memory->at);
	*memory = (struct publish_memory){ 0 };
}

/* ---- files of editions that are no more ---- */

static uint64_t hash_names(const struct press *p)
{
	uint64_t h = HASH_START;
	char path[FILE_PATH_SIZE];
	for (size_t i = 0; i < p->n_editions; i++)
		for (int kind = CALENDAR_EVENTS; kind <= CALENDAR_TODOS; kind++)
			if (is_written(&p->editions[i], (enum calendar_kind)kind)) {
				file_path(&p->editions[i], (enum calendar_kind)kind, path);
				h = hash_text(h, path);
			}
	return h | 1; /* never that of a zeroed memory */
}

struct file_name {
	char text[FILE_NAME_SIZE];
};

static int by_text(const void *a, const void *b)
{
	return strcmp(((const struct file_name *)a)->text, ((const struct file_name *)b)->text);
}

/* The names of all files that are written, in order. */
static enum rc wanted_names(
	const struct press *p, struct file_name **out, size_t *n, struct err *err)
{
	struct file_name *names = mem_new(KINDS * p->n_editions, sizeof *names);
	if (!names)
		return err_set(err, RC_MEM, "calendars: out of memory");
	*n = 0;
	for (size_t i = 0; i < p->n_editions; i++)
		for (int kind = CALENDAR_EVENTS; kind <= CALENDAR_TODOS; kind++)
			if (is_written(&p->editions[i], (enum calendar_kind)kind))
				file_name(&p->editions[i], (enum calendar_kind)kind,
					names[(*n)++].text);
	qsort(names, *n, sizeof *names, by_text);
	*out = names;
	return RC_OK;
}

/* Another program may have put a file of that name there. */
static bool is_ours(const char *path)
{
	char begin[256];
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
	ssize_t n = fd < 0 ? 0 : read(fd, begin, sizeof begin - 1);
	if (fd >= 0)
		(void)close(fd);
	begin[n > 0 ? n : 0] = '\0';
	return strstr(begin, "PRODID:" CALENDAR_PRODID) != NULL;
}

static enum rc remove_file(struct press *p, const char *name, struct err *err)
{
	enum rc rc = RC_OK;
	char path[FILE_PATH_SIZE + META_NAME];
	for (size_t i = 0; i < p->set->n_outputs; i++) {
		const char *folder = p->set->outputs[i].folder;
		(void)snprintf(path, sizeof path, "%s/%s", folder, name);
		if (!folder[0] || !is_ours(path))
			continue;
		if (unlink(path) == 0)
			p->changed++;
		else if (errno != ENOENT)
			rc = err_set(err, RC_IO, "output \"%s\": %s: %s: remove it",
				p->set->outputs[i].name, path, strerror(errno));
	}
	return rc;
}

/* What is written down, in order of name. */
#define FILE_WORD "file"
static const char *known_name(const struct meta *m)
{
	return m->name + strlen(FILE_WORD " ");
}

static enum rc write_down(struct press *p, const char *name, struct err *err)
{
	struct meta m = { .value = "" };
	(void)snprintf(m.name, sizeof m.name, FILE_WORD " %s", name);
	return store_meta_put(p->store, &m, err);
}

static enum rc forget(struct press *p, const struct meta *known, enum rc *files, struct err *err)
{
	enum rc removed = remove_file(p, known_name(known), err);
	*files = *files == RC_OK ? removed : *files;
	return removed == RC_OK ? store_meta_remove(p->store, known->name, err) : RC_OK;
}

static enum rc level(struct press *p, const struct meta *known, size_t n,
	const struct file_name *wanted, size_t n_wanted, enum rc *files, struct err *err)
{
	enum rc rc = RC_OK;
	size_t i = 0, k = 0;
	while (rc == RC_OK && (i < n || k < n_wanted)) {
		int order = i == n          ? 1
			    : k == n_wanted ? -1
					    : strcmp(known_name(&known[i]), wanted[k].text);
		if (order < 0)
			rc = forget(p, &known[i], files, err);
		else if (order > 0)
			rc = write_down(p, wanted[k].text, err);
		i += order <= 0;
		k += order >= 0;
	}
	return rc;
}

static bool is_level(
	const struct meta *known, size_t n, const struct file_name *wanted, size_t n_wanted)
{
	bool same = n == n_wanted;
	for (size_t i = 0; same && i < n; i++)
		same = strcmp(known_name(&known[i]), wanted[i].text) == 0;
	return same;
}

static enum rc level_within(struct press *p, const struct meta *known, size_t n,
	const struct file_name *wanted, size_t n_wanted, struct err *err)
{
	enum rc files = RC_OK, rc = store_begin(p->store, err);
	if (rc != RC_OK)
		return rc;
	rc = level(p, known, n, wanted, n_wanted, &files, err);
	if (rc == RC_OK)
		rc = store_commit(p->store, err);
	else
		store_rollback(p->store);
	return rc == RC_OK ? files : rc;
}

/* Names are written down before their files are made. */
static enum rc tidy(struct press *p, struct err *err)
{
	uint64_t names = hash_names(p);
	struct meta *known = NULL;
	struct file_name *wanted = NULL;
	size_t n = 0, n_wanted = 0;
	if (p->memory && p->memory->names == names)
		return RC_OK;
	enum rc rc = store_meta_of(p->store, FILE_WORD, &known, &n, err);
	if (rc == RC_OK)
		rc = wanted_names(p, &wanted, &n_wanted, err);
	if (rc == RC_OK && !is_level(known, n, wanted, n_wanted))
		rc = level_within(p, known, n, wanted, n_wanted, err);
	mem_free(known);
	mem_free(wanted);
	if (rc == RC_OK && p->memory)
		p->memory->names = names;
	return rc;
}

/* ---- writing ---- */

static enum rc write_file(struct press *p, const struct edition *e, const struct pages *pages,
	const struct calendar_entry *entries, enum calendar_kind kind, struct publish_mark *mark,
	struct err *err)
{
	char path[FILE_PATH_SIZE];
	char *bytes = NULL;
	size_t len = 0;
	bool replaced = false;
	file_mark(e, kind, &mark->mtime_ns[kind], &mark->size[kind]);
	if (!is_written(e, kind))
		return RC_OK;
	file_path(e, kind, path);
	enum rc rc = calendar_build(kind, &pages->head, entries, pages->n, &bytes, &len, err);
	if (rc == RC_OK)
		rc = outfile_put(path, bytes, len, NULL, &replaced, err);
	if (rc == RC_OK)
		mark_written(e, kind, len, mark);
	p->changed += replaced;
	mem_free(bytes);
	return rc;
}

static enum rc print(struct press *p, size_t edition, const struct pages *pages, struct err *err)
{
	const struct edition *e = &p->editions[edition];
	struct publish_mark mark = { .digest = pages_digest(pages) };
	if (is_remembered(p, edition, mark.digest))
		return RC_OK;
	struct calendar_entry *entries = mem_new(pages->n, sizeof *entries);
	if (!entries)
		return err_set(err, RC_MEM, "output \"%s\": out of memory", e->output->name);
	for (size_t i = 0; i < pages->n; i++)
		entries[i] = pages->at[i].entry;
	enum rc rc = write_file(p, e, pages, entries, CALENDAR_EVENTS, &mark, err);
	if (rc == RC_OK)
		rc = write_file(p, e, pages, entries, CALENDAR_TODOS, &mark, err);
	mem_free(entries);
	if (rc == RC_OK && p->memory)
		p->memory->at[edition] = mark;
	return rc;
}

/* The service and seasonctl may publish at the same time: whoever holds the folder writes all its files. */
static int hold_folder(const struct output *o, struct err *err)
{
	int fd = open(o->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (fd < 0 || flock(fd, LOCK_EX) != 0) {
		(void)err_set(err, RC_IO,
			"output \"%s\": folder %s: %s: make it, or set another folder", o->name,
			o->folder, strerror(errno));
		if (fd >= 0)
			(void)close(fd);
		return -1;
	}
	return fd;
}

static enum rc take_pages(
	struct press *p, size_t from, size_t n, struct pages **pages, struct err *err)
{
	struct pages_source *source = NULL;
	enum rc rc = store_begin(p->store, err);
	if (rc != RC_OK)
		return rc;
	rc = pages_read(p->store, p->engine, p->set, p->lib, p->now_s, &source, err);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		rc = pages_of(source, &p->editions[from + i], &pages[i], err);
	pages_source_free(source);
	if (rc == RC_OK)
		return store_commit(p->store, err);
	store_rollback(p->store);
	return rc;
}

/* Editions of one output. Sequence numbers are durable before the files show them. Read only now, when nobody else writes
 * the folder or the store, so that a newer agenda is never replaced by an older one. */
static enum rc publish_batch(struct press *p, size_t from, size_t n, struct err *err)
{
	struct pages *pages[BATCH] = { NULL };
	int folder = hold_folder(p->editions[from].output, err);
	if (folder < 0)
		return RC_IO;
	enum rc taken = take_pages(p, from, n, pages, err), rc = taken;
	for (size_t i = 0; taken == RC_OK && i < n; i++) {
		enum rc one = print(p, from + i, pages[i], err);
		rc = rc == RC_OK ? one : rc;
	}
	for (size_t i = 0; i < n; i++)
		pages_free(pages[i]);
	(void)close(folder);
	return rc;
}

static enum rc publish_editions(struct press *p, struct err *err)
{
	enum rc rc = make_room(p, err);
	if (rc != RC_OK)
		return rc;
	rc = tidy(p, err);
	for (size_t from = 0, n = 1; from < p->n_editions; from += n) {
		const struct output *o = p->editions[from].output;
		for (n = 1; n < BATCH && from + n < p->n_editions; n++)
			if (p->editions[from + n].output != o)
				break;
		enum rc one = o->folder[0] ? publish_batch(p, from, n, err) : RC_OK;
		rc = rc == RC_OK ? one : rc;
	}
	return rc;
}

enum rc publish_all(struct store *store, const struct engine *engine, const struct settings *set,
	const struct library *lib, int64_t now_s, struct publish_memory *memory, size_t *changed,
	struct err *err)
{
	struct edition *list = NULL;
	struct press p = { .store = store,
		.engine = engine,
		.set = set,
		.lib = lib,
		.now_s = now_s,
		.memory = memory };
	enum rc rc = editions(store, set, &list, &p.n_editions, err);
	p.editions = list;
	if (rc == RC_OK)
		rc = publish_editions(&p, err);
	mem_free(list);
	*changed = p.changed;
	return rc;
}
