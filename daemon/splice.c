#include "daemon/splice.h"

#include <ctype.h>
#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "core/mem.h"

struct mark {
	int from; /* first line of the whole text */
	int line; /* its line in the file */
	size_t file;
};

struct splice {
	char *text;
	size_t len;
	int line; /* of the whole text, where the next byte goes */
	size_t n_files, n_marks;
	char *files[SPLICE_FILES_MAX];
	struct mark *marks;
};

enum scan { SCAN_CODE, SCAN_STRING, SCAN_COMMENT };

/* One file while it is laid in. */
struct lay {
	struct splice *sp;
	struct faults *faults;
	size_t file;
	int line;
	int depth; /* 0: text in memory, includes refused; 1: the first file */
	enum scan scan;
};

static void lay_fault(const struct lay *l, const char *what, const char *why)
{
	faults_add(l->faults, l->sp->files[l->file], l->line, "%s: %s", what, why);
}

static bool append(struct splice *sp, const char *bytes, size_t n)
{
	if (n > SPLICE_BYTES_MAX - sp->len)
		return false;
	char *grown = mem_grow(sp->text, sp->len + n + 1, 1);
	if (!grown)
		return false;
	sp->text = grown;
	memcpy(grown + sp->len, bytes, n);
	sp->len += n;
	grown[sp->len] = '\0';
	for (size_t i = 0; i < n; i++)
		sp->line += bytes[i] == '\n';
	return true;
}

/* From here on the whole text comes from that line of that file. */
static bool mark(const struct lay *l)
{
	struct splice *sp = l->sp;
	struct mark *grown = mem_grow(sp->marks, sp->n_marks + 1, sizeof *grown);
	if (!grown)
		return false;
	sp->marks = grown;
	grown[sp->n_marks++] = (struct mark){ .from = sp->line, .line = l->line, .file = l->file };
	return true;
}

/* libconfig reads a whole number without an L into 32 bits and lets it wrap. */
static void check_number(const struct lay *l, const char *at, const char *before)
{
	size_t digits = strspn(at, "0123456789");
	bool inside = at > before && (isalnum((unsigned char)at[-1]) || strchr("_.-+*", at[-1]));
	if (inside && at[-1] != '-' && at[-1] != '+')
		return;
	if (isalnum((unsigned char)at[digits]) || at[digits] == '.' || digits > 40)
		return;
	char number[48];
	(void)snprintf(number, sizeof number, "%.*s", (int)digits, at);
	errno = 0;
	if (strtoll(number, NULL, 10) > INT32_MAX || errno == ERANGE)
		lay_fault(l, number, "whole number too large: at most 2147483647");
}

/* Walks the code up to the next string, comment or end; returns where. */
static const char *scan_code(struct lay *l, const char *p, const char *begin, const char *end)
{
	for (; p < end && *p != '"' && *p != '#'; p++) {
		if (p[0] == '/' && p[1] == '/')
			return end;
		if (p[0] == '/' && p[1] == '*') {
			l->scan = SCAN_COMMENT;
			return p + 2;
		}
		if (isdigit((unsigned char)*p) && (p == begin || !isdigit((unsigned char)p[-1])))
			check_number(l, p, begin);
	}
	if (p == end || *p == '#')
		return end;
	l->scan = SCAN_STRING;
	return p + 1;
}

static void scan_line(struct lay *l, const char *p, const char *end)
{
	const char *begin = p;
	while (p < end) {
		if (l->scan == SCAN_CODE) {
			p = scan_code(l, p, begin, end);
		} else if (l->scan == SCAN_STRING) {
			l->scan = *p == '"' ? SCAN_CODE : SCAN_STRING;
			p += *p == '\\' && p + 1 < end ? 2 : 1;
		} else {
			bool over = p[0] == '*' && p[1] == '/';
			l->scan = over ? SCAN_CODE : SCAN_COMMENT;
			p += over ? 2 : 1;
		}
	}
}

/* Is the line an include? path gets what stands between the quotes ("": nothing sound), *rest
 * what follows. */
static bool is_include(const char *line, const char *end, char *path, size_t n, const char **rest)
{
	const char *p = line + strspn(line, " \t");
	if (strncmp(p, "@include", 8) != 0)
		return false;
	p += 8;
	p += strspn(p, " \t");
	const char *close = *p == '"' ? memchr(p + 1, '"', (size_t)(end - p - 1)) : NULL;
	bool sound = close && (size_t)(close - p) <= n;
	(void)snprintf(path, n, "%.*s", sound ? (int)(close - p - 1) : 0, p + 1);
	*rest = sound ? close + 1 : end;
	return true;
}

/* The text of a regular file, or NULL and why. */
static char *read_file(const char *path, const char **why)
{
	struct stat st;
	*why = "cannot be read: a readable file";
	if (stat(path, &st) != 0)
		return NULL;
	*why = "is no regular file: a settings file";
	if (!S_ISREG(st.st_mode))
		return NULL;
	*why = "too large: at most 4 MiB";
	if (st.st_size > SPLICE_BYTES_MAX)
		return NULL;
	*why = "cannot be read: a readable file";
	FILE *file = fopen(path, "rb");
	size_t size = (size_t)st.st_size;
	char *text = file ? mem_new(size + 1, 1) : NULL;
	if (text && fread(text, 1, size, file) != size)
		mem_free(text), text = NULL;
	if (file)
		(void)fclose(file);
	if (text && strlen(text) != size) {
		*why = "holds a zero byte: text";
		mem_free(text), text = NULL;
	}
	return text;
}

static bool lay_text(struct lay *l, const char *text);

static bool lay_include(const struct lay *outer, const char *name)
{
	struct splice *sp = outer->sp;
	char path[1024];
	const char *why = NULL;
	char *text = NULL;
	if (outer->depth == 0)
		why = "no includes here";
	else if (!name[0])
		why = "no path: a path in quotes";
	else if (outer->depth == SPLICE_DEPTH_MAX || sp->n_files == SPLICE_FILES_MAX)
		why = "too many includes: does it include itself?";
	else if (!splice_beside(sp->files[outer->file], name, path, sizeof path))
		why = "too long";
	else if ((text = read_file(path, &why)) != NULL)
		why = NULL;
	char *copy = why ? NULL : mem_text(path);
	if (!copy) {
		char what[300];
		(void)snprintf(what, sizeof what, "@include \"%.200s\"", name);
		lay_fault(outer, what, why ? why : "out of memory");
		mem_free(text);
		return false;
	}
	sp->files[sp->n_files] = copy;
	struct lay inner = { sp, outer->faults, sp->n_files++, 1, outer->depth + 1, SCAN_CODE };
	bool done = lay_text(&inner, text);
	if (done && sp->len && sp->text[sp->len - 1] != '\n')
		done = append(sp, "\n", 1);
	mem_free(text);
	return done;
}

static bool lay_text(struct lay *l, const char *text)
{
	bool good = mark(l);
	for (const char *p = text; *p; l->line++) {
		const char *end = p + strcspn(p, "\n");
		char name[512];
		if (l->scan == SCAN_CODE && is_include(p, end, name, sizeof name, &p)) {
			good = lay_include(l, name) && good;
			good = mark(l) && good;
		}
		scan_line(l, p, end);
		end += *end == '\n';
		if (!append(l->sp, p, (size_t)(end - p))) {
			lay_fault(l, "text", "too large: at most 4 MiB with all includes");
			return false;
		}
		p = end;
	}
	return good;
}

static struct splice *splice(const char *name, const char *text, int depth, struct faults *f)
{
	struct splice *sp = mem_new(1, sizeof *sp);
	char *copy = mem_text(name);
	if (!sp || !copy) {
		faults_add(f, name, 0, "out of memory");
		mem_free(copy);
		mem_free(sp);
		return NULL;
	}
	sp->files[sp->n_files++] = copy;
	sp->line = 1;
	size_t before = f->n + f->beyond;
	struct lay l = { sp, f, 0, 1, depth, SCAN_CODE };
	bool good = append(sp, "", 0) && lay_text(&l, text) && f->n + f->beyond == before;
	if (good)
		return sp;
	if (f->n + f->beyond == before)
		faults_add(f, name, 0, "out of memory");
	splice_free(sp);
	return NULL;
}

struct splice *splice_file(const char *path, struct faults *f)
{
	const char *why = NULL;
	char *text = read_file(path, &why);
	if (!text) {
		faults_add(f, path, 0, "%s", why);
		return NULL;
	}
	struct splice *sp = splice(path, text, 1, f);
	mem_free(text);
	return sp;
}

struct splice *splice_memory(const char *name, const char *text, struct faults *f)
{
	return splice(name, text, 0, f);
}

void splice_free(struct splice *sp)
{
	if (!sp)
		return;
	for (size_t i = 0; i < sp->n_files; i++)
		mem_free(sp->files[i]);
	mem_free(sp->marks);
	mem_free(sp->text);
	mem_free(sp);
}

const char *splice_text_ref(const struct splice *sp)
{
	return sp->text;
}

const char *splice_path_ref(const struct splice *sp)
{
	return sp->files[0];
}

const char *splice_where_ref(const struct splice *sp, int line, int *line_in_file)
{
	size_t i = sp->n_marks;
	while (i > 0 && sp->marks[i - 1].from > line)
		i--;
	const struct mark *m = i ? &sp->marks[i - 1] : NULL;
	*line_in_file = m ? m->line + line - m->from : 0;
	return sp->files[m ? m->file : 0];
}

bool splice_beside(const char *beside, const char *path, char *buf, size_t n)
{
	const char *slash = strrchr(beside, '/');
	int folder = slash && path[0] != '/' ? (int)(slash - beside) + 1 : 0;
	int len = snprintf(buf, n, "%.*s%s", folder, beside, path);
	return len >= 0 && (size_t)len < n;
}
