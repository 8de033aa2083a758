#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/address.h"
#include "daemon/invite.h"
#include "daemon/mime.h"
#include "daemon/post_int.h"
#include "daemon/reply.h"

/* Method: mail is unsigned, so nothing in it is believed but this. An answer has to carry the UID of a visit of ours, which
 * only the one who was invited was told, an ATTENDEE that is the address invited, and the SEQUENCE told last; the later
 * DTSTAMP counts. And whoever writes `stop` from an address that agreed is believed, as what follows is only silence. */

static struct log *log_of(const struct post *p)
{
	return p->owner.app->log;
}

/* ---- answers ---- */

static enum rc find_visit(struct store *s, const char *uid, int64_t now_s, struct visit *out,
	bool *found, struct err *err)
{
	struct visit *all = NULL;
	size_t n = 0;
	*found = false;
	enum rc rc = state_visits(s, now_s - LETTERS_KEPT_S, &all, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n && !*found; i++) {
		*found = strcasecmp(all[i].uid, uid) == 0;
		if (*found)
			*out = all[i];
	}
	mem_free(all);
	return rc;
}

/* Whether what was told last is when the visit is now. */
static bool is_told(const struct visit *v, const struct invitation *told)
{
	return v->at_s == TIME_NEVER ? told->length_s == 0
				     : told->length_s > 0 && told->start_s == v->at_s;
}

/* Why an answer is not taken; NULL: it is. */
static const char *unfit(
	const struct visit *v, const struct invitation *told, bool invited, const struct reply *r)
{
	if (!invited || told->state != INVITED)
		return "nobody is invited to that visit";
	if (!address_same(told->recipient, r->attendee))
		return "its attendee is not whom we invited";
	if (v->state != ITEM_OPEN)
		return "the visit is over";
	if (r->answer == ANSWER_NONE)
		return "neither yes, no nor perhaps";
	if (r->sequence < told->sequence || !is_told(v, told))
		return "it is about an earlier time";
	if (told->answered_stamp_s != TIME_NEVER && r->stamp_s <= told->answered_stamp_s)
		return "a later answer is known";
	return NULL;
}

static enum rc note_answer(struct store *s, struct visit *v, struct invitation *told,
	const struct reply *r, int64_t now_s, struct err *err)
{
	/* a clock far ahead must not silence the answers after it */
	told->answered_stamp_s = r->stamp_s < now_s + DAY_S ? r->stamp_s : now_s;
	v->answer = r->answer;
	v->answered_s = r->stamp_s < now_s ? r->stamp_s : now_s;
	enum rc rc = store_invitation_put(s, told, err);
	return rc == RC_OK ? state_visit_put(s, v, err) : rc;
}

static enum rc take_answer(struct post *p, const struct reply *r, int64_t now_s,
	enum post_taken *what, struct err *err)
{
	struct store *s = p->owner.app->desk.store;
	struct visit v;
	struct invitation told;
	bool found = false, invited = false;
	enum rc rc = find_visit(s, r->uid, now_s, &v, &found, err);
	if (rc != RC_OK || !found)
		return rc;
	rc = store_invitation(s, v.id, &told, &invited, err);
	if (rc != RC_OK)
		return rc;
	const char *why = unfit(&v, &told, invited, r);
	*what = why ? TAKEN_UNFIT : TAKEN_ANSWER;
	if (why)
		log_line(log_of(p), LEVEL_NOTICE, NULL,
			"mail: an answer to a visit is not taken: %s", why);
	else
		rc = note_answer(s, &v, &told, r, now_s, err);
	if (rc == RC_OK && !why)
		log_line(log_of(p), LEVEL_NOTICE, NULL, "mail: %s: %s", told.recipient,
			agenda_answer_words(v.answer));
	return rc;
}

/* ---- stop ---- */

/* `stop`, whatever its case, behind any Re: of a few letters. */
static bool says_stop(const char *subject)
{
	for (int i = 0; i < 3; i++) {
		size_t n = 0;
		subject += strspn(subject, " ");
		while (n < 5 && ((subject[n] | 32) >= 'a' && (subject[n] | 32) <= 'z'))
			n++;
		if (n && subject[n] == ':')
			subject += n + 1;
	}
	subject += strspn(subject, " ");
	return strncasecmp(subject, "stop", 4) == 0 &&
	       subject[4 + strspn(subject + 4, " .!")] == '\0';
}

static enum rc take_stop(struct post *p, const char *from, enum post_taken *what, struct err *err)
{
	struct store *s = p->owner.app->desk.store;
	struct client *all = NULL;
	size_t n = 0;
	enum rc rc = record_clients(s, &all, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		if (!all[i].agreed_s || !address_same(all[i].email, from))
			continue;
		all[i].agreed_s = 0;
		rc = record_put_client(s, &all[i], NULL, err);
		*what = TAKEN_STOP;
		if (rc == RC_OK)
			log_line(log_of(p), LEVEL_NOTICE, NULL,
				"mail: client %s asked for no more mail and gets none",
				all[i].name);
	}
	mem_free(all);
	return rc;
}

/* ---- one mail ---- */

static enum rc take_mime(
	struct post *p, const struct mime *m, int64_t now_s, enum post_taken *what, struct err *err)
{
	struct reply r;
	struct err why = { 0 };
	*what = TAKEN_NOTHING;
	if (m->calendar) {
		enum rc rc = reply_read(m->calendar, m->n, &r, &why);
		if (rc == RC_OK)
			return take_answer(p, &r, now_s, what, err);
		if (rc == RC_MEM)
			return err_set(err, rc, "%s", why.text);
	}
	return m->from[0] && says_stop(m->subject) ? take_stop(p, m->from, what, err) : RC_OK;
}

/* What it says of itself as Message-ID counts too, once it was for us: the same mail may come by two ways. */
static enum rc take_once(struct post *p, const char *id, const struct mime *m, int64_t now_s,
	enum post_taken *what, struct err *err)
{
	struct store *s = p->owner.app->desk.store;
	bool by_name = false, by_id = false;
	enum rc rc = store_heard(s, id, &by_name, err);
	if (rc == RC_OK && m->message_id[0])
		rc = store_heard(s, m->message_id, &by_id, err);
	*what = TAKEN_BEFORE;
	if (rc == RC_OK && !by_name && !by_id)
		rc = take_mime(p, m, now_s, what, err);
	if (rc == RC_OK && m->message_id[0] && (*what == TAKEN_ANSWER || *what == TAKEN_STOP))
		rc = store_heard_put(s, m->message_id, now_s, err);
	return rc == RC_OK ? store_heard_put(s, id, now_s, err) : rc;
}

enum rc post_take(struct post *p, const char *id, const char *bytes, size_t n, int64_t now_s,
	enum post_taken *what, struct err *err)
{
	struct store *s = p->owner.app->desk.store;
	struct mime m = { 0 };
	struct err why = { 0 };
	enum rc rc = mime_read(bytes, n, &m, &why);
	if (rc == RC_MEM)
		return err_set(err, rc, "%s", why.text);
	if (rc != RC_OK)
		log_line(log_of(p), LEVEL_NOTICE, "mail unread", "mail: one is not read: %s",
			why.text);
	rc = store_begin(s, err);
	if (rc == RC_OK) {
		rc = take_once(p, id, &m, now_s, what, err);
		if (rc == RC_OK)
			rc = store_commit(s, err);
		else
			store_rollback(s);
	}
	mime_done(&m);
	if (rc == RC_OK && (*what == TAKEN_ANSWER || *what == TAKEN_STOP))
		p->owner.heard(p->owner.arg);
	return rc;
}

bool post_heard(struct post *p, const char *id)
{
	bool heard = false;
	return store_heard(p->owner.app->desk.store, id, &heard, NULL) == RC_OK && heard;
}

/* ---- a maildir ---- */

/* Its bytes, the caller's (mem_free); NULL and why when it cannot be read. Too large: *n is above MIME_MAX. */
static char *read_file(int folder, const char *name, size_t *n, const char **why)
{
	struct stat st;
	int fd = openat(folder, name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	bool there = fd >= 0 && fstat(fd, &st) == 0;
	char *bytes = NULL;
	*n = 0;
	if (!there)
		*why = strerror(errno);
	else if (!S_ISREG(st.st_mode))
		*why = "no regular file";
	else if (st.st_size > MIME_MAX)
		*why = "too large";
	else if (!(bytes = mem_new(MIME_MAX + 1, 1)))
		*why = "out of memory";
	ssize_t got = 1;
	while (bytes && *n < MIME_MAX && got > 0) {
		got = read(fd, bytes + *n, MIME_MAX - *n);
		*n += got > 0 ? (size_t)got : 0;
	}
	if (fd >= 0)
		(void)close(fd);
	return bytes;
}

static int no_dot(const struct dirent *e)
{
	return e->d_name[0] != '.' && strlen(e->d_name) < HEARD_SIZE - 16;
}

/* Into cur, as its readers do; S: seen (the maildir format of its author, from memory). */
static void put_away(struct post *p, int folder, const char *name, bool ours)
{
	char from[300], to[300];
	(void)snprintf(from, sizeof from, "new/%.250s", name);
	(void)snprintf(to, sizeof to, "cur/%.250s%s", name,
		strchr(name, ':') ? ""
		: ours            ? ":2,S"
				  : ":2,");
	if (renameat(folder, from, folder, to) != 0)
		log_line(log_of(p), LEVEL_WARNING, "maildir", "mail: %s/%s: moving it to cur: %s",
			post_mail(p)->replies, from, strerror(errno));
}

static void read_one(struct post *p, int folder, int fresh, const char *name, int64_t now_s)
{
	char id[HEARD_SIZE];
	const char *why = NULL;
	struct err err = { 0 };
	enum post_taken what = TAKEN_NOTHING;
	size_t n = 0;
	(void)snprintf(id, sizeof id, "file:%s", name);
	char *bytes = read_file(fresh, name, &n, &why);
	enum rc rc = bytes ? post_take(p, id, bytes, n, now_s, &what, &err) : RC_OK;
	mem_free(bytes);
	if (rc != RC_OK || why)
		log_line(log_of(p), LEVEL_WARNING, "maildir", "mail: %s/new/%.200s: %s",
			post_mail(p)->replies, name, why ? why : err.text);
	if (rc != RC_OK)
		return; /* the next look reads it again */
	if (!why && (what == TAKEN_NOTHING || what == TAKEN_UNFIT))
		log_line(log_of(p), LEVEL_NOTICE, "maildir",
			"mail: %s/new/%.200s is no answer that counts, left in cur",
			post_mail(p)->replies, name);
	put_away(p, folder, name, what != TAKEN_NOTHING && what != TAKEN_UNFIT);
}

void post_read_maildir(struct post *p, int64_t now_s)
{
	struct dirent **names = NULL;
	int folder = open(post_mail(p)->replies, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	int fresh = folder >= 0 ? openat(folder, "new", O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
	int n = fresh >= 0 ? scandirat(folder, "new", &names, no_dot, alphasort) : -1;
	if (n < 0)
		log_line(log_of(p), LEVEL_WARNING, "maildir",
			"mail: replies: %s: %s: a folder with new, cur and tmp in it",
			post_mail(p)->replies, strerror(errno));
	for (int i = 0; i < n; i++) {
		if (i < POST_FILES_MAX)
			read_one(p, folder, fresh, names[i]->d_name, now_s);
		free(names[i]);
	}
	free(names);
	if (fresh >= 0)
		(void)close(fresh);
	if (folder >= 0)
		(void)close(folder);
}
