#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"
#include "daemon/mime.h"
#include "daemon/post_int.h"

/* Method: UID SEARCH UNSEEN, then each mail that was not read before by UID FETCH BODY.PEEK[], which leaves it unread for
 * its owner; what was for us is marked \Seen once it is in the store (RFC 3501 6.4.4, 6.4.5, 6.4.6).
 *
 * libcurl's own way to fetch a mail marks every one as seen, so the command is a custom one. Then libcurl does not know of
 * the literal, and hands its lines out like those of the server's own, as headers: they are gathered here and the literal
 * taken by its length. A line of a mail could pretend to be the end of the answer; so each command has a connection of its
 * own, and what came short is no mail. */

enum phase { PHASE_IDLE, PHASE_SEARCH, PHASE_FETCH, PHASE_MARK };

enum {
	GOT_MAX = MIME_MAX + (1 << 18), /* of an answer */
	LINE_BUFFER = 1 << 19 /* libcurl cuts lines of more than half of it */
};

struct post_in {
	struct post *p;
	struct transfer *x;
	enum phase phase;
	long validity; /* UIDVALIDITY */
	size_t n, at; /* of uids */
	long *uids;
	char *got;
	size_t n_got, room;
	bool too_much;
	int64_t taken; /* fetched in this look */
	bool failing; /* told already */
	char command[160];
	char detail[CURL_ERROR_SIZE];
};

static struct log *log_of(const struct post_in *in)
{
	return in->p->owner.app->log;
}

static size_t take_line(char *line, size_t one, size_t n, void *arg)
{
	struct post_in *in = arg;
	(void)one;
	if (n > GOT_MAX - in->n_got) {
		in->too_much = true;
		return 0;
	}
	if (in->n_got + n + 1 > in->room) {
		size_t room = 2 * (in->n_got + n) + 4096;
		char *grown = mem_grow(in->got, room, 1);
		if (!grown)
			return 0;
		in->got = grown;
		in->room = room;
	}
	memcpy(in->got + in->n_got, line, n);
	in->n_got += n;
	in->got[in->n_got] = '\0';
	return n;
}

/* The lines of mails come here too, those that look like the server's. */
static size_t drop_line(char *line, size_t one, size_t n, void *arg)
{
	(void)line, (void)one, (void)arg;
	return n;
}

static void forget(struct post_in *in)
{
	mem_free(in->got);
	in->got = NULL;
	in->n_got = in->room = 0;
	in->too_much = false;
}

static void stop(struct post_in *in)
{
	forget(in);
	mem_free(in->uids);
	in->uids = NULL;
	in->n = in->at = 0;
	in->phase = PHASE_IDLE;
	post_idle(in->p);
}

/* ---- asking ---- */

static void date_words(int64_t t_s, char *buf, size_t size)
{
	static const char months[][4] = { "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug",
		"Sep", "Oct", "Nov", "Dec" };
	struct civil c = civil_at(t_s);
	(void)snprintf(buf, size, "%d-%s-%04d", c.day, months[c.month - 1], c.year);
}

static void ask(struct post_in *in, enum phase phase)
{
	forget(in);
	in->phase = phase;
	transfer_want(in->x);
}

static void ask_search(struct post_in *in, int64_t now_s)
{
	char since[24];
	date_words(now_s - POST_INBOX_DAYS * DAY_S, since, sizeof since);
	(void)snprintf(in->command, sizeof in->command, "UID SEARCH UNSEEN SMALLER %d SINCE %s",
		MIME_MAX, since);
	ask(in, PHASE_SEARCH);
}

static void heard_id(const struct post_in *in, char *buf, size_t size)
{
	(void)snprintf(buf, size, "imap:%ld:%ld", in->validity, in->uids[in->at]);
}

/* The next that was not read before. */
static void ask_next(struct post_in *in)
{
	char id[HEARD_SIZE];
	for (; in->at < in->n; in->at++) {
		heard_id(in, id, sizeof id);
		if (!post_heard(in->p, id))
			break;
	}
	if (in->at == in->n || in->taken++ == POST_INBOX_MAX) {
		stop(in);
		return;
	}
	(void)snprintf(
		in->command, sizeof in->command, "UID FETCH %ld BODY.PEEK[]", in->uids[in->at]);
	ask(in, PHASE_FETCH);
}

static void ask_mark(struct post_in *in)
{
	(void)snprintf(in->command, sizeof in->command, "UID STORE %ld +FLAGS.SILENT (\\Seen)",
		in->uids[in->at]);
	ask(in, PHASE_MARK);
}

static bool begin(void *arg, int64_t now_s)
{
	struct post_in *in = arg;
	const struct mail *m = post_mail(in->p);
	CURL *e = transfer_easy(in->x);
	struct err err = { 0 };
	(void)now_s;
	in->detail[0] = '\0';
	(void)curl_easy_setopt(e, CURLOPT_PROTOCOLS_STR, "imap,imaps");
	(void)curl_easy_setopt(e, CURLOPT_USE_SSL, (long)CURLUSESSL_ALL);
	(void)curl_easy_setopt(e, CURLOPT_FRESH_CONNECT, 1L);
	(void)curl_easy_setopt(e, CURLOPT_FORBID_REUSE, 1L);
	(void)curl_easy_setopt(e, CURLOPT_CONNECTTIMEOUT, (long)POST_CONNECT_S);
	(void)curl_easy_setopt(e, CURLOPT_TIMEOUT, (long)POST_LIMIT_S);
	(void)curl_easy_setopt(e, CURLOPT_BUFFERSIZE, (long)LINE_BUFFER);
	(void)curl_easy_setopt(e, CURLOPT_HEADERFUNCTION, take_line);
	(void)curl_easy_setopt(e, CURLOPT_HEADERDATA, in);
	(void)curl_easy_setopt(e, CURLOPT_WRITEFUNCTION, drop_line);
	(void)curl_easy_setopt(e, CURLOPT_ERRORBUFFER, in->detail);
	(void)curl_easy_setopt(e, CURLOPT_URL, m->inbox);
	(void)curl_easy_setopt(e, CURLOPT_CUSTOMREQUEST, in->command);
	if (post_login(e, m->inbox_user[0] ? m->inbox_user : m->user, m->credential, &err) == RC_OK)
		return true;
	log_line(log_of(in), LEVEL_WARNING, "inbox", "mail: inbox: %s", err.text);
	in->failing = true;
	stop(in);
	return false;
}

/* ---- answers of the server ---- */

/* UIDVALIDITY and the numbers of `* SEARCH` (RFC 3501 7.1, 7.2.5). */
static bool read_search(struct post_in *in)
{
	const char *validity = in->got ? strstr(in->got, "[UIDVALIDITY ") : NULL;
	const char *line = in->got ? strstr(in->got, "* SEARCH") : NULL;
	char *end = NULL;
	if (!validity)
		return false;
	in->validity = strtol(validity + 13, NULL, 10);
	if (!line)
		return true; /* some say nothing when there is nothing */
	in->uids = mem_new(strcspn(line, "\r\n") / 2 + 1, sizeof *in->uids);
	if (!in->uids)
		return false;
	for (const char *p = line + 8; *p == ' '; p = end) {
		long uid = strtol(p, &end, 10);
		if (uid <= 0 || end == p)
			break;
		in->uids[in->n++] = uid;
	}
	return true;
}

/* The literal of the answer to FETCH, `BODY[] {LENGTH}` and so many octets behind its line (RFC 3501 4.3, 7.4.2); NULL: it did
 * not come whole. */
static const char *literal(const struct post_in *in, size_t *n)
{
	const char *p = in->got;
	while (p && *p) {
		const char *end = strchr(p, '\n');
		const char *open = strncmp(p, "* ", 2) == 0 ? strstr(p, "BODY[] {") : NULL;
		if (end && open && open < end) {
			size_t left = in->n_got - (size_t)(end + 1 - in->got);
			char *stop_at = NULL;
			unsigned long length = strtoul(open + 8, &stop_at, 10);
			*n = length;
			return *stop_at == '}' && length <= left ? end + 1 : NULL;
		}
		p = end ? end + 1 : NULL;
	}
	return NULL;
}

/* False: the store did not take it; the next look reads it again. */
static bool take_mail(struct post_in *in, int64_t now_s, bool *ours)
{
	char id[HEARD_SIZE];
	size_t n = 0;
	struct err err = { 0 };
	enum post_taken what = TAKEN_NOTHING;
	const char *bytes = literal(in, &n);
	heard_id(in, id, sizeof id);
	if (!bytes)
		log_line(log_of(in), LEVEL_NOTICE, "inbox",
			"mail: inbox: %s did not come whole, left alone", id);
	/* nothing at all is taken then, so that it is asked for only once */
	enum rc rc = post_take(in->p, id, bytes ? bytes : "", bytes ? n : 0, now_s, &what, &err);
	if (rc != RC_OK)
		log_line(log_of(in), LEVEL_ERROR, "inbox", "mail: inbox: %s", err.text);
	*ours = what == TAKEN_ANSWER || what == TAKEN_STOP;
	return rc == RC_OK;
}

static void fail(struct post_in *in, CURLcode verdict)
{
	char why[300];
	bool tls = verdict == CURLE_PEER_FAILED_VERIFICATION;
	post_fault(verdict, post_mail(in->p)->inbox, tls ? in->detail : "", why, sizeof why);
	log_line(log_of(in), LEVEL_WARNING, "inbox", "mail: inbox: %s",
		in->too_much ? "an answer is too large" : why);
	in->failing = true;
	stop(in);
}

static void go_on(struct post_in *in, int64_t now_s)
{
	bool ours = false;
	switch (in->phase) {
	case PHASE_SEARCH:
		if (!read_search(in)) {
			log_line(log_of(in), LEVEL_WARNING, "inbox",
				"mail: inbox: its answer to SEARCH is none");
			stop(in);
			return;
		}
		ask_next(in);
		return;
	case PHASE_FETCH:
		if (!take_mail(in, now_s, &ours))
			stop(in);
		else if (ours)
			ask_mark(in);
		else {
			in->at++;
			ask_next(in);
		}
		return;
	case PHASE_MARK:
		in->at++;
		ask_next(in);
		return;
	case PHASE_IDLE:
		return;
	}
}

static void done(void *arg, CURLcode verdict, int64_t now_s)
{
	struct post_in *in = arg;
	CURL *e = transfer_easy(in->x);
	(void)curl_easy_setopt(e, CURLOPT_USERNAME, NULL);
	(void)curl_easy_setopt(e, CURLOPT_PASSWORD, NULL);
	/* what the server says no to while fetching concerns that mail, perhaps gone by now */
	if (verdict != CURLE_OK && !(in->phase == PHASE_FETCH && verdict == CURLE_QUOTE_ERROR)) {
		fail(in, verdict);
		return;
	}
	if (in->failing)
		log_line(log_of(in), LEVEL_NOTICE, NULL, "mail: inbox is read again");
	in->failing = false;
	go_on(in, now_s);
}

/* ---- making ---- */

void post_in_look(struct post_in *in, int64_t now_s)
{
	struct err err = { 0 };
	const struct transfer_to to = { .begin = begin, .done = done, .arg = in };
	if (in->phase != PHASE_IDLE)
		return;
	enum rc rc = in->x ? RC_OK
			   : transfer_new(in->p->owner.transfers, &to, post_mail(in->p)->ca_file,
				     &in->x, &err);
	in->taken = 0;
	if (rc == RC_OK)
		ask_search(in, now_s);
	else
		log_line(log_of(in), LEVEL_ERROR, "inbox", "mail: inbox: %s", err.text);
}

bool post_in_idle(const struct post_in *in)
{
	return in->phase == PHASE_IDLE;
}

enum rc post_in_new(struct post *p, struct post_in **out, struct err *err)
{
	struct post_in *in = mem_new(1, sizeof *in);
	if (!in)
		return err_set(err, RC_MEM, "mail: out of memory");
	in->p = p;
	*out = in;
	return RC_OK;
}

void post_in_free(struct post_in *in)
{
	if (!in)
		return;
	transfer_free(in->x);
	mem_free(in->got);
	mem_free(in->uids);
	mem_free(in);
}
