#include "tests/unit/support.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "daemon/transfer.h"

/* ---- servers of their own process that answer everything but the goodbye ---- */

static void say(int fd, const char *text)
{
	(void)!send(fd, text, strlen(text), MSG_NOSIGNAL);
}

/* RFC 5321 section 4.1.1 */
static bool smtp(int fd, const char *line, bool *data)
{
	if (strncasecmp(line, "QUIT", 4) == 0)
		return false;
	if (*data && strcmp(line, ".\r\n") != 0)
		return true;
	*data = strncasecmp(line, "DATA", 4) == 0;
	say(fd, *data ? "354 go on\r\n" : "250 fine\r\n");
	return true;
}

/* RFC 9051 section 2.2: a tag, a command */
static bool imap(int fd, const char *line, bool *data)
{
	char tag[32] = "", command[32] = "", answer[64];
	(void)data;
	(void)sscanf(line, "%31s %31s", tag, command);
	if (strcasecmp(command, "LOGOUT") == 0)
		return false;
	if (strcasecmp(command, "CAPABILITY") == 0)
		say(fd, "* CAPABILITY IMAP4rev1\r\n");
	(void)snprintf(answer, sizeof answer, "%s OK fine\r\n", tag);
	say(fd, answer);
	return true;
}

struct protocol {
	const char *scheme, *greeting;
	bool (*heard)(int fd, const char *line, bool *data); /* false: the goodbye */
	bool mails;
};

static const struct protocol protocols[] = {
	{ "smtp", "220 here\r\n", smtp, true },
	{ "imap", "* OK here\r\n", imap, false },
};

/* Tells of the goodbye through told, and is mute from then on. */
static void serve(const struct protocol *p, int listener, int told)
{
	char line[512];
	bool data = false;
	(void)prctl(PR_SET_PDEATHSIG, SIGKILL);
	int fd = accept(listener, NULL, NULL);
	FILE *f = fdopen(fd, "rb");
	say(fd, p->greeting);
	while (f && fgets(line, sizeof line, f) && p->heard(fd, line, &data))
		;
	(void)!write(told, "bye", 3);
	(void)pause();
	_exit(0);
}

struct mute {
	pid_t child;
	int told, port;
};

static void start(struct mute *m, const struct protocol *p)
{
	struct sockaddr_in at = { .sin_family = AF_INET,
		.sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t size = sizeof at;
	int ends[2], listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	assert_int_equal(pipe(ends), 0);
	assert_int_equal(bind(listener, (struct sockaddr *)&at, sizeof at), 0);
	assert_int_equal(listen(listener, 4), 0);
	assert_int_equal(getsockname(listener, (struct sockaddr *)&at, &size), 0);
	m->child = fork();
	assert_true(m->child >= 0);
	if (m->child == 0)
		serve(p, listener, ends[1]);
	(void)close(listener);
	(void)close(ends[1]);
	m->told = ends[0];
	m->port = ntohs(at.sin_port);
}

static void end(struct mute *m)
{
	(void)kill(m->child, SIGKILL);
	(void)waitpid(m->child, NULL, 0);
	(void)close(m->told);
}

/* ---- a transfer, and a clock beside it ---- */

struct watch {
	struct loop *loop;
	struct transfer *transfer;
	const struct protocol *protocol;
	char url[64];
	struct curl_slist to;
	size_t given;
	int done;
	CURLcode verdict;
	struct timer tick;
	int64_t last_ms, longest_ms;
};

static int64_t now_ms(void)
{
	struct timespec t;
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static size_t letter(char *buf, size_t one, size_t n, void *arg)
{
	static const char text[] = "Subject: none\r\n\r\nhello\r\n";
	struct watch *w = arg;
	size_t left = sizeof text - 1 - w->given, take = left < one * n ? left : one * n;
	memcpy(buf, text + w->given, take);
	w->given += take;
	return take;
}

static bool begin(void *arg, int64_t now_s)
{
	static char rcpt[] = "<b@bench.example>";
	struct watch *w = arg;
	CURL *e = transfer_easy(w->transfer);
	(void)now_s;
	w->to.data = rcpt;
	(void)curl_easy_setopt(e, CURLOPT_URL, w->url);
	(void)curl_easy_setopt(e, CURLOPT_TIMEOUT, 20L);
	if (w->protocol->mails) {
		(void)curl_easy_setopt(e, CURLOPT_MAIL_FROM, "<a@bench.example>");
		(void)curl_easy_setopt(e, CURLOPT_MAIL_RCPT, &w->to);
		(void)curl_easy_setopt(e, CURLOPT_UPLOAD, 1L);
		(void)curl_easy_setopt(e, CURLOPT_READFUNCTION, letter);
		(void)curl_easy_setopt(e, CURLOPT_READDATA, w);
	}
	return true;
}

static void done(void *arg, CURLcode verdict, int64_t now_s)
{
	struct watch *w = arg;
	(void)now_s;
	w->done++;
	w->verdict = verdict;
}

static void ticked(void *arg, int64_t now_s)
{
	struct watch *w = arg;
	int64_t t = now_ms();
	(void)now_s;
	w->longest_ms = t - w->last_ms > w->longest_ms ? t - w->last_ms : w->longest_ms;
	w->last_ms = t;
	if (w->done)
		loop_stop(w->loop);
}

/* libcurl waits two minutes for the answer to QUIT or LOGOUT, in the midst of a call. */
static void a_goodbye_without_an_answer_holds_up_for_a_moment(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(protocols); i++) {
		struct clock clock = clock_real();
		struct transfers *transfers = NULL;
		struct mute mute;
		struct err err = { 0 };
		struct watch w = { .protocol = &protocols[i], .tick = { .fire = ticked } };
		const struct transfer_to to = { .begin = begin, .done = done, .arg = &w };
		char bye[4] = "";
		start(&mute, &protocols[i]);
		(void)snprintf(
			w.url, sizeof w.url, "%s://127.0.0.1:%d/", protocols[i].scheme, mute.port);
		OK(loop_new(&clock, &w.loop, &err), &err);
		OK(transfers_new(w.loop, &transfers, &err), &err);
		OK(transfer_new(transfers, &to, "", &w.transfer, &err), &err);
		w.tick.arg = &w;
		w.last_ms = now_ms();
		loop_every(w.loop, &w.tick, 50, 50);
		transfer_want(w.transfer);
		OK(loop_run(w.loop, 0, &err), &err);
		int64_t freed_ms = now_ms();
		transfer_free(w.transfer);
		transfers_free(transfers);
		loop_unset(&w.tick);
		loop_free(w.loop);
		assert_true(now_ms() - freed_ms < 3000);
		assert_int_equal(w.verdict, CURLE_OK); /* it was done all the same */
		assert_int_equal(w.done, 1);
		assert_true(w.longest_ms < 10000);
		assert_int_equal(read(mute.told, bye, 3), 3);
		assert_string_equal(bye, "bye");
		end(&mute);
	}
}

static int calls;

static bool give_up(void *arg, int64_t now_s)
{
	(void)now_s;
	if (++calls == 3)
		loop_stop(((struct watch *)arg)->loop);
	else
		transfer_want(((struct watch *)arg)->transfer);
	return false;
}

static void one_that_gives_up_may_want_again(void **state)
{
	(void)state;
	struct clock clock = clock_real();
	struct transfers *transfers = NULL;
	struct err err = { 0 };
	struct watch w = { 0 };
	const struct transfer_to to = { .begin = give_up, .done = done, .arg = &w };
	OK(loop_new(&clock, &w.loop, &err), &err);
	OK(transfers_new(w.loop, &transfers, &err), &err);
	OK(transfer_new(transfers, &to, "", &w.transfer, &err), &err);
	assert_true(transfer_idle(w.transfer));
	transfer_want(w.transfer);
	transfer_want(w.transfer);
	assert_false(transfer_idle(w.transfer));
	assert_int_equal(calls, 0); /* never from within */
	OK(loop_run(w.loop, 0, &err), &err);
	assert_int_equal(calls, 3);
	assert_int_equal(w.done, 0);
	assert_true(transfer_idle(w.transfer));
	transfer_want(w.transfer);
	transfer_drop(w.transfer);
	assert_true(transfer_idle(w.transfer));
	transfer_free(w.transfer);
	transfers_free(transfers);
	loop_free(w.loop);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_goodbye_without_an_answer_holds_up_for_a_moment),
		cmocka_unit_test(one_that_gives_up_may_want_again),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
