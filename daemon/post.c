#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/digest.h"
#include "daemon/invite.h"
#include "daemon/post_int.h"

const struct mail *post_mail(const struct post *p)
{
	return &p->owner.app->desk.set->mail;
}

static struct log *log_of(const struct post *p)
{
	return p->owner.app->log;
}

static bool sends(const struct post *p)
{
	return p->lock_fd >= 0 && post_mail(p)->server[0];
}

static bool reads(const struct post *p)
{
	return p->lock_fd >= 0 && (post_mail(p)->replies[0] || post_mail(p)->inbox[0]);
}

void post_idle(struct post *p)
{
	bool idle = (!p->out || post_out_idle(p->out)) && (!p->in || post_in_idle(p->in));
	if (p->once && idle)
		loop_stop(p->owner.loop);
}

/* ---- letters ---- */

static enum rc write_all(struct desk *d, int64_t now_s, size_t *written, struct err *err)
{
	enum rc rc = store_begin(d->store, err);
	if (rc != RC_OK)
		return rc;
	rc = invite_all(d, now_s, written, err);
	if (rc == RC_OK)
		rc = digest_write(d, now_s, written, err);
	if (rc == RC_OK && *written)
		rc = store_post_tidy(d->store, now_s, err);
	if (rc == RC_OK)
		return store_commit(d->store, err);
	store_rollback(d->store);
	return rc;
}

static void plan_digest(struct post *p, int64_t now_s)
{
	const struct desk *d = &p->owner.app->desk;
	if (post_mail(p)->digest_to[0])
		loop_at(p->owner.loop, &p->digest,
			digest_next_s(post_mail(p)->digest, engine_zone(d->engine, NULL), now_s));
}

void post_settled(struct post *p, int64_t now_s)
{
	struct err err = { 0 };
	size_t written = 0;
	if (!sends(p))
		return;
	if (write_all(&p->owner.app->desk, now_s, &written, &err) != RC_OK)
		log_line(log_of(p), LEVEL_ERROR, "mail",
			"mail: %s, tried again at the next settling", err.text);
	plan_digest(p, now_s);
	post_out_go(p->out, now_s);
}

static void digest_fired(void *arg, int64_t now_s)
{
	post_settled(arg, now_s);
}

/* ---- answers ---- */

static void look(struct post *p, int64_t now_s)
{
	if (post_mail(p)->replies[0])
		post_read_maildir(p, now_s);
	if (p->in)
		post_in_look(p->in, now_s);
}

static void look_fired(void *arg, int64_t now_s)
{
	look(arg, now_s);
}

static void due_fired(void *arg, int64_t now_s)
{
	struct post *p = arg;
	post_out_go(p->out, now_s);
}

/* ---- making ---- */

/* Two that send would send twice: the service and a run by hand. */
static void take_lock(struct post *p)
{
	char path[PATH_SIZE + 8];
	(void)snprintf(path, sizeof path, "%s.mail", p->owner.app->desk.set->store);
	p->lock_fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0660);
	bool ours = p->lock_fd >= 0 && flock(p->lock_fd, LOCK_EX | LOCK_NB) == 0;
	if (ours)
		return;
	log_line(log_of(p), LEVEL_WARNING, NULL, "mail: %s: %s, this one leaves mail alone", path,
		errno == EWOULDBLOCK ? "another seasond sends and reads it" : strerror(errno));
	if (p->lock_fd >= 0)
		(void)close(p->lock_fd);
	p->lock_fd = -1;
}

static enum rc resume(struct post *p, struct err *err)
{
	struct store *s = p->owner.app->desk.store;
	int64_t n = 0;
	enum rc rc = store_begin(s, err);
	if (rc != RC_OK)
		return rc;
	rc = store_letters_resume(s, &n, err);
	if (rc != RC_OK) {
		store_rollback(s);
		return rc;
	}
	rc = store_commit(s, err);
	if (rc == RC_OK && n)
		log_line(log_of(p), LEVEL_NOTICE, NULL,
			"mail: %lld letter%s under way when sending broke off, sent again",
			(long long)n, n == 1 ? " was" : "s were");
	return rc;
}

static enum rc start(struct post *p, struct err *err)
{
	enum rc rc = RC_OK;
	if (sends(p)) {
		rc = resume(p, err);
		if (rc == RC_OK)
			rc = post_out_new(p, &p->out, err);
	}
	if (rc == RC_OK && reads(p) && post_mail(p)->inbox[0])
		rc = post_in_new(p, &p->in, err);
	if (rc == RC_OK && reads(p))
		loop_every(p->owner.loop, &p->look, 0, post_mail(p)->interval_s * 1000);
	return rc;
}

enum rc post_new(const struct post_owner *owner, struct post **out, struct err *err)
{
	const struct mail *m = &owner->app->desk.set->mail;
	struct post *p = mem_new(1, sizeof *p);
	if (!p)
		return err_set(err, RC_MEM, "mail: out of memory");
	*p = (struct post){
		.owner = *owner,
		.lock_fd = -1,
		.digest = { .fire = digest_fired, .arg = p },
		.look = { .fire = look_fired, .arg = p },
		.due = { .fire = due_fired, .arg = p },
	};
	if (!owner->app->replay && (m->server[0] || m->replies[0] || m->inbox[0]))
		take_lock(p);
	enum rc rc = start(p, err);
	if (rc == RC_OK)
		*out = p;
	else
		post_free(p);
	return rc;
}

void post_free(struct post *p)
{
	if (!p)
		return;
	loop_unset(&p->digest);
	loop_unset(&p->look);
	loop_unset(&p->due);
	post_out_free(p->out);
	post_in_free(p->in);
	if (p->lock_fd >= 0)
		(void)close(p->lock_fd);
	mem_free(p);
}

enum rc post_now(struct post *p, int64_t now_s, struct err *err)
{
	enum rc rc = RC_OK;
	loop_unset(&p->look);
	if (reads(p))
		look(p, now_s);
	post_settled(p, now_s);
	bool busy = (p->out && !post_out_idle(p->out)) || (p->in && !post_in_idle(p->in));
	p->once = true;
	if (busy)
		rc = loop_run(p->owner.loop, 0, err);
	p->once = false;
	return rc;
}

enum rc post_preview(struct desk *d, int64_t now_s,
	void (*each)(void *arg, const struct letter *l, const char *body), void *arg,
	struct err *err)
{
	struct letter *all = NULL;
	size_t n = 0, written = 0;
	if (!d->set->mail.server[0])
		return RC_OK;
	enum rc rc = invite_all(d, now_s, &written, err);
	if (rc == RC_OK)
		rc = digest_write(d, now_s, &written, err);
	if (rc == RC_OK)
		rc = store_letters(d->store, TIME_NEVER, &all, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		const char *why = NULL;
		char *body = NULL;
		size_t len = 0;
		rc = invite_allowed(d, &all[i], &why, err);
		if (rc == RC_OK && !why)
			rc = store_letter_body(d->store, all[i].id, &body, &len, err);
		if (rc == RC_OK && !why)
			each(arg, &all[i], body);
		mem_free(body);
	}
	mem_free(all);
	return rc;
}
