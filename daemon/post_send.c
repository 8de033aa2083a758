#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/invite.h"
#include "daemon/post_int.h"
#include "daemon/secret.h"
#include "daemon/text.h"
#include "daemon/utf8.h"

/* Method: one letter at a time, each over a connection of its own. What the server says of a letter (RFC 5321 4.2.1: 4yz
 * later, 5yz never) is told apart from trouble with the server itself - not reached, no encryption, a wrong certificate,
 * the login - which holds all letters back and loses none. */

enum out_state { OUT_IDLE, OUT_BUSY, OUT_UNSTORED /* its outcome is not in the store yet */ };

struct post_out {
	struct post *p;
	struct transfer *x; /* NULL before the first letter */
	enum out_state state;
	struct letter letter; /* under way, then its outcome */
	char *body;
	size_t n, at; /* its octets, those handed over */
	char to[TITLE_SIZE + 2]; /* in brackets */
	struct curl_slist recipients; /* libcurl borrows it */
	char said[200]; /* its last line that complains */
	char detail[CURL_ERROR_SIZE];
	int64_t wait_s, not_before_s; /* after trouble with the server */
};

static struct log *log_of(const struct post_out *o)
{
	return o->p->owner.app->log;
}

/* ---- words ---- */

static void host_of(const char *url, char *buf, size_t size)
{
	const char *host = strstr(url, "://");
	host = host ? host + 3 : url;
	(void)snprintf(buf, size, "%.*s", (int)strcspn(host, "/"), host);
}

static const char *fault_words(CURLcode verdict)
{
	switch ((int)verdict) {
	case CURLE_COULDNT_RESOLVE_HOST:
		return "no such host: is the name right, does the network work?";
	case CURLE_COULDNT_CONNECT:
		return "not reached: does the server run, is the port right?";
	case CURLE_OPERATION_TIMEDOUT:
		return "no answer in time";
	case CURLE_USE_SSL_FAILED:
		return "does not offer encryption (STARTTLS): nothing was sent; another port or "
		       "server";
	case CURLE_PEER_FAILED_VERIFICATION:
		return "its certificate is not to be trusted: ca_file, when it is of an authority "
		       "of your own";
	case CURLE_SSL_CACERT_BADFILE:
		return "ca_file: no certificates in it";
	case CURLE_SSL_CONNECT_ERROR:
		return "encryption could not be agreed on: is the port one for it?";
	case CURLE_LOGIN_DENIED:
		return "user and password were not taken: user and credential";
	case CURLE_REMOTE_ACCESS_DENIED:
		return "does not let us in";
	case CURLE_SEND_ERROR:
	case CURLE_RECV_ERROR:
	case CURLE_GOT_NOTHING:
		return "the connection broke off";
	case CURLE_OUT_OF_MEMORY:
		return "out of memory";
	default:
		return curl_easy_strerror(verdict);
	}
}

void post_fault(CURLcode verdict, const char *url, const char *said, char *buf, size_t size)
{
	char host[200];
	host_of(url, host, sizeof host);
	(void)snprintf(buf, size, "%s: %s", host, fault_words(verdict));
	if (said[0] && verdict != CURLE_LOGIN_DENIED) /* what was asked there could be echoed */
		text_add(buf, size, " (%s)", said);
}

enum rc post_login(CURL *easy, const char *user, const char *credential, struct err *err)
{
	struct secret secret;
	if (!user[0])
		return RC_OK;
	enum rc rc = secret_read(credential, &secret, err);
	if (rc != RC_OK)
		return rc;
	if (curl_easy_setopt(easy, CURLOPT_USERNAME, user) != CURLE_OK ||
		curl_easy_setopt(easy, CURLOPT_PASSWORD, secret.text) != CURLE_OK)
		rc = err_set(err, RC_MEM, "mail: out of memory");
	secret_wipe(&secret);
	return rc;
}

/* ---- outcomes ---- */

static void plan(struct post_out *o, int64_t at_s)
{
	if (at_s != TIME_NEVER)
		loop_at(o->p->owner.loop, &o->p->due, at_s);
	post_idle(o->p);
}

static enum rc put_outcome(struct post_out *o, struct err *err)
{
	struct store *s = o->p->owner.app->desk.store;
	enum rc rc = store_begin(s, err);
	if (rc != RC_OK)
		return rc;
	rc = store_letter_put(s, &o->letter, err);
	if (rc == RC_OK)
		return store_commit(s, err);
	store_rollback(s);
	return rc;
}

static void tell_outcome(const struct post_out *o)
{
	const struct letter *l = &o->letter;
	switch ((enum letter_state)l->state) {
	case LETTER_SENT:
		log_line(log_of(o), LEVEL_INFO, NULL, "mail #%" PRId64 " to %s went out: %s", l->id,
			l->recipient, l->subject);
		break;
	case LETTER_REFUSED:
		log_line(log_of(o), LEVEL_WARNING, NULL, "mail #%" PRId64 " to %s is refused: %s",
			l->id, l->recipient, l->error);
		break;
	case LETTER_GIVEN_UP:
		log_line(log_of(o), LEVEL_WARNING, NULL,
			"mail #%" PRId64 " to %s is given up after %d days: %s", l->id,
			l->recipient, LETTER_LIFE_S / 86400, l->error);
		break;
	case LETTER_WAITS:
	case LETTER_UNDER_WAY:
	case LETTER_DROPPED:
		log_line(log_of(o), LEVEL_WARNING, "mail", "mail: %s, tried again", l->error);
		break;
	}
}

/* What the server said has to be in the store before anything else is tried. */
static void settle_outcome(struct post_out *o, int64_t now_s)
{
	struct err err = { 0 };
	if (put_outcome(o, &err) != RC_OK) {
		if (o->state != OUT_UNSTORED)
			log_line(log_of(o), LEVEL_ERROR, "mail store", "mail: %s", err.text);
		o->state = OUT_UNSTORED;
		plan(o, now_s + 5);
		return;
	}
	o->state = OUT_IDLE;
	tell_outcome(o);
	post_out_go(o, now_s);
}

static void is_over(struct post_out *o)
{
	if (o->x) {
		CURL *e = transfer_easy(o->x);
		(void)curl_easy_setopt(e, CURLOPT_USERNAME, NULL);
		(void)curl_easy_setopt(e, CURLOPT_PASSWORD, NULL);
	}
	mem_free(o->body);
	o->body = NULL;
}

static void wait_on(struct post_out *o, int64_t next_s, const char *why, int64_t now_s)
{
	struct letter *l = &o->letter;
	l->state = now_s - l->made_s >= LETTER_LIFE_S ? LETTER_GIVEN_UP : LETTER_WAITS;
	l->next_s = next_s;
	l->error[0] = '\0';
	text_add(l->error, sizeof l->error, "%s", why);
}

/* The server itself: all letters wait. */
static void trouble(struct post_out *o, const char *why, int64_t now_s)
{
	o->wait_s = o->wait_s ? 2 * o->wait_s : POST_WAIT_S;
	o->wait_s = o->wait_s < POST_WAIT_MAX_S ? o->wait_s : POST_WAIT_MAX_S;
	o->not_before_s = now_s + o->wait_s;
	wait_on(o, now_s, why, now_s);
}

/* Codes that speak of the login or of encryption (RFC 4954 6, 3207 4), or what was answered to MAIL, which libcurl tells
 * in words only: not of the letter, but of us. */
static bool is_about_us(const struct post_out *o, long code)
{
	static const char to_mail[] = "MAIL failed";
	return code == 530 || code == 534 || code == 535 || code == 538 ||
	       strncmp(o->detail, to_mail, sizeof to_mail - 1) == 0;
}

static void judge(struct post_out *o, CURLcode verdict, long code, int64_t now_s)
{
	struct letter *l = &o->letter;
	char why[LETTER_ERROR];
	bool spoke = verdict == CURLE_SEND_ERROR || verdict == CURLE_WEIRD_SERVER_REPLY;
	/* to RCPT or DATA a refusal is a send error to libcurl, after the last octet an odd reply */
	bool of_letter =
		spoke && (verdict == CURLE_SEND_ERROR || o->at > 0) && !is_about_us(o, code);
	if (verdict == CURLE_OK) {
		o->wait_s = o->not_before_s = 0;
		l->state = LETTER_SENT;
		l->sent_s = now_s;
		l->error[0] = '\0';
	} else if (of_letter && code >= 500 && code < 600) {
		l->state = LETTER_REFUSED;
		(void)snprintf(l->error, sizeof l->error, "%s", o->said);
	} else if (of_letter && code >= 400 && code < 500) {
		wait_on(o, now_s + timer_doubled_s(POST_WAIT_S, l->tries, POST_WAIT_MAX_S), o->said,
			now_s);
	} else {
		bool tls = verdict == CURLE_PEER_FAILED_VERIFICATION;
		post_fault(verdict, post_mail(o->p)->server,
			tls    ? o->detail
			: code ? o->said
			       : "",
			why, sizeof why);
		trouble(o, why, now_s);
	}
}

static void done(void *arg, CURLcode verdict, int64_t now_s)
{
	struct post_out *o = arg;
	long code = 0;
	(void)curl_easy_getinfo(transfer_easy(o->x), CURLINFO_RESPONSE_CODE, &code);
	is_over(o);
	judge(o, verdict, code, now_s);
	settle_outcome(o, now_s);
}

/* ---- one letter ---- */

static size_t give_body(char *to, size_t one, size_t n, void *arg)
{
	struct post_out *o = arg;
	(void)one;
	n = n < o->n - o->at ? n : o->n - o->at;
	memcpy(to, o->body + o->at, n);
	o->at += n;
	return n;
}

static size_t take_line(char *line, size_t one, size_t n, void *arg)
{
	struct post_out *o = arg;
	char text[sizeof o->said];
	(void)one;
	if (n && line[0] != '4' && line[0] != '5') /* what follows a complaint is no news */
		return n;
	(void)snprintf(text, sizeof text, "%.*s", (int)(n < sizeof text ? n : sizeof text), line);
	(void)utf8_clean(text, o->said, sizeof o->said);
	return n;
}

static enum rc set_up(struct post_out *o, struct err *err)
{
	CURL *e = transfer_easy(o->x);
	const struct mail *m = post_mail(o->p);
	char from[TITLE_SIZE + 2];
	(void)snprintf(from, sizeof from, "<%s>", m->from);
	(void)snprintf(o->to, sizeof o->to, "<%s>", o->letter.recipient);
	o->recipients = (struct curl_slist){ .data = o->to };
	o->at = 0;
	o->said[0] = o->detail[0] = '\0';
	(void)curl_easy_setopt(e, CURLOPT_PROTOCOLS_STR, "smtp,smtps");
	(void)curl_easy_setopt(e, CURLOPT_USE_SSL, (long)CURLUSESSL_ALL);
	(void)curl_easy_setopt(e, CURLOPT_FRESH_CONNECT, 1L);
	(void)curl_easy_setopt(e, CURLOPT_FORBID_REUSE, 1L);
	(void)curl_easy_setopt(e, CURLOPT_CONNECTTIMEOUT, (long)POST_CONNECT_S);
	(void)curl_easy_setopt(e, CURLOPT_TIMEOUT, (long)POST_LIMIT_S);
	(void)curl_easy_setopt(e, CURLOPT_UPLOAD, 1L);
	(void)curl_easy_setopt(e, CURLOPT_READFUNCTION, give_body);
	(void)curl_easy_setopt(e, CURLOPT_READDATA, o);
	(void)curl_easy_setopt(e, CURLOPT_INFILESIZE_LARGE, (curl_off_t)o->n);
	(void)curl_easy_setopt(e, CURLOPT_HEADERFUNCTION, take_line);
	(void)curl_easy_setopt(e, CURLOPT_HEADERDATA, o);
	(void)curl_easy_setopt(e, CURLOPT_ERRORBUFFER, o->detail);
	(void)curl_easy_setopt(e, CURLOPT_MAIL_RCPT, &o->recipients);
	if (curl_easy_setopt(e, CURLOPT_URL, m->server) != CURLE_OK ||
		curl_easy_setopt(e, CURLOPT_MAIL_FROM, from) != CURLE_OK)
		return err_set(err, RC_MEM, "mail: out of memory");
	return post_login(e, m->user, m->credential, err);
}

static bool begin(void *arg, int64_t now_s)
{
	struct post_out *o = arg;
	struct err err = { 0 };
	if (set_up(o, &err) == RC_OK)
		return true;
	is_over(o);
	trouble(o, err.text, now_s);
	settle_outcome(o, now_s);
	return false;
}

/* The first that may go out, marked as under way; those that may not any more are dropped on the way. */
static enum rc pick(struct post_out *o, int64_t now_s, bool *found, struct err *err)
{
	struct desk *d = &o->p->owner.app->desk;
	struct letter *l = &o->letter;
	const char *why = "";
	enum rc rc = RC_OK;
	*found = true;
	while (rc == RC_OK && *found && why) {
		rc = store_letter_next(d->store, now_s, l, found, err);
		if (rc == RC_OK && *found)
			rc = invite_allowed(d, l, &why, err);
		if (rc != RC_OK || !*found)
			return rc;
		l->state = why ? LETTER_DROPPED : LETTER_UNDER_WAY;
		l->tries += !why;
		(void)snprintf(l->error, sizeof l->error, "%s", why ? why : l->error);
		rc = store_letter_put(d->store, l, err);
		if (rc == RC_OK && why)
			log_line(log_of(o), LEVEL_NOTICE, NULL,
				"mail #%" PRId64 " to %s is dropped: %s", l->id, l->recipient, why);
	}
	return rc == RC_OK ? store_letter_body(d->store, l->id, &o->body, &o->n, err) : rc;
}

static enum rc pick_and_mark(struct post_out *o, int64_t now_s, bool *found, struct err *err)
{
	struct store *s = o->p->owner.app->desk.store;
	enum rc rc = store_begin(s, err);
	if (rc != RC_OK)
		return rc;
	rc = pick(o, now_s, found, err);
	if (rc == RC_OK)
		rc = store_commit(s, err);
	else
		store_rollback(s);
	if (rc != RC_OK)
		is_over(o);
	return rc;
}

static enum rc hand_over(struct post_out *o, struct err *err)
{
	const struct transfer_to to = { .begin = begin, .done = done, .arg = o };
	enum rc rc = o->x ? RC_OK
			  : transfer_new(o->p->owner.transfers, &to, post_mail(o->p)->ca_file,
				    &o->x, err);
	if (rc == RC_OK)
		transfer_want(o->x);
	return rc;
}

void post_out_go(struct post_out *o, int64_t now_s)
{
	struct err err = { 0 };
	bool found = false;
	int64_t due = TIME_NEVER;
	if (o->state == OUT_UNSTORED)
		settle_outcome(o, now_s);
	if (o->state != OUT_IDLE)
		return;
	if (now_s < o->not_before_s) {
		plan(o, o->not_before_s);
		return;
	}
	enum rc rc = pick_and_mark(o, now_s, &found, &err);
	if (rc == RC_OK && !found)
		rc = store_letter_due(o->p->owner.app->desk.store, &due, &err);
	if (rc == RC_OK && found) {
		o->state = OUT_BUSY;
		rc = hand_over(o, &err);
		if (rc == RC_OK)
			return;
		is_over(o);
		trouble(o, err.text, now_s);
		settle_outcome(o, now_s);
		return;
	}
	if (rc != RC_OK) {
		log_line(log_of(o), LEVEL_ERROR, "mail store", "mail: %s", err.text);
		due = now_s + POST_WAIT_S;
	}
	plan(o, due);
}

bool post_out_idle(const struct post_out *o)
{
	return o->state == OUT_IDLE;
}

enum rc post_out_new(struct post *p, struct post_out **out, struct err *err)
{
	struct post_out *o = mem_new(1, sizeof *o);
	if (!o)
		return err_set(err, RC_MEM, "mail: out of memory");
	o->p = p;
	*out = o;
	return RC_OK;
}

void post_out_free(struct post_out *o)
{
	if (!o)
		return;
	transfer_free(o->x);
	mem_free(o->body);
	mem_free(o);
}
