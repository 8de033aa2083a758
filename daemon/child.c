#include "daemon/child.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <linux/close_range.h>
#include <signal.h>
#include <stdbool.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/pidfd.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/utf8.h"

/* Method: a pidfd tells the loop of the end, two pipes bring what is printed, a third that closes at exec brings the
 * errno of an exec that failed. The group is killed before its leader is waited for: until then its number can't be
 * another's. */

enum { READ_SIZE = 4096, NOT_EXECUTED = 127 };

struct pipes {
	int out[2], err[2], exec[2];
};

struct child {
	struct loop *loop;
	void (*ended)(void *arg, const struct child_end *end, int64_t now_s);
	void *arg;
	const char *program;
	int64_t time_limit_s;
	size_t size_limit;
	pid_t pid;
	int pid_fd, out_fd, err_fd, exec_fd; /* -1: closed */
	struct timer limit;
	enum { RUNNING, ASKED, KILLED } state; /* how hard it was told to end */
	struct err why; /* why it was told to */
	char *out;
	size_t n_out, out_size;
	char line[CHILD_WORDS_SIZE],
		last[CHILD_WORDS_SIZE]; /* of standard error: being written, whole */
	size_t n_line;
};

/* ---- in the new process: async-signal-safe calls only ---- */

static void be_nobody_special(void)
{
	const struct rlimit none = { 0, 0 };
	sigset_t empty;
	for (int signo = 1; signo < NSIG; signo++)
		(void)signal(signo, SIG_DFL);
	(void)sigemptyset(&empty);
	(void)sigprocmask(SIG_SETMASK, &empty, NULL);
	(void)setrlimit(RLIMIT_CORE, &none);
	(void)umask(077);
}

static _Noreturn void become(const struct child_how *how, const struct pipes *p, pid_t parent)
{
	char path[] = "PATH=/usr/local/bin:/usr/bin:/bin", lang[] = "LANG=C.UTF-8", tz[] = "TZ=UTC";
	char *const environment[] = { path, lang, tz, NULL };
	char *argv[CHILD_ARGUMENTS_MAX + 2] = { (char *)(uintptr_t)how->program };
	for (size_t i = 0; i < CHILD_ARGUMENTS_MAX && how->arguments[i]; i++)
		argv[i + 1] = (char *)(uintptr_t)how->arguments[i];
	be_nobody_special();
	int null = open("/dev/null", O_RDONLY | O_CLOEXEC);
	if (null >= 0 && dup2(null, 0) == 0 && dup2(p->out[1], 1) == 1 && dup2(p->err[1], 2) == 2 &&
		close_range(3, ~0U, CLOSE_RANGE_CLOEXEC) == 0 && chdir("/") == 0 &&
		setpgid(0, 0) == 0 && prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
		prctl(PR_SET_PDEATHSIG, SIGKILL) == 0 && getppid() == parent)
		(void)execve(how->program, argv, environment);
	int why = errno;
	(void)!write(p->exec[1], &why, sizeof why);
	_exit(NOT_EXECUTED);
}

/* ---- hearing it ---- */

static void tell_group(const struct child *c, int signo)
{
	if (kill(-c->pid, signo) != 0)
		(void)kill(c->pid, signo); /* it has no group of its own yet */
}

static void ask_to_end(struct child *c)
{
	if (c->state != RUNNING)
		return;
	c->state = ASKED;
	tell_group(c, SIGTERM);
	loop_after(c->loop, &c->limit, CHILD_PATIENCE_S * 1000);
}

static void time_over(void *arg, int64_t now_s)
{
	struct child *c = arg;
	(void)now_s;
	if (c->state == RUNNING) {
		(void)err_set(&c->why, RC_IO, "ran longer than %" PRId64 " s", c->time_limit_s);
		ask_to_end(c);
		return;
	}
	c->state = KILLED;
	tell_group(c, SIGKILL);
}

static void close_fd(struct loop *l, int *fd)
{
	if (*fd < 0)
		return;
	loop_unwatch(l, *fd);
	(void)close(*fd);
	*fd = -1;
}

static bool has_room(struct child *c, size_t more)
{
	if (c->n_out + more <= c->out_size)
		return true;
	size_t size = c->out_size ? c->out_size * 2 : 2 * (size_t)READ_SIZE;
	char *grown = mem_grow(c->out, size, 1);
	if (!grown)
		return false;
	c->out = grown;
	c->out_size = size;
	return true;
}

static void printed(struct child *c, const char *bytes, size_t n)
{
	if (c->n_out + n > c->size_limit) {
		(void)err_set(&c->why, RC_IO, "printed more than %zu bytes", c->size_limit);
		ask_to_end(c);
		return;
	}
	if (!has_room(c, n)) {
		(void)err_set(&c->why, RC_MEM, "out of memory");
		ask_to_end(c);
		return;
	}
	memcpy(c->out + c->n_out, bytes, n);
	c->n_out += n;
}

static void complained(struct child *c, const char *bytes, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		bool end = bytes[i] == '\n';
		if (end && c->n_line)
			memcpy(c->last, c->line, sizeof c->last);
		if (end)
			c->n_line = 0;
		else if (c->n_line < sizeof c->line - 1 && bytes[i])
			c->line[c->n_line++] = bytes[i];
		c->line[c->n_line] = '\0';
	}
}

/* One read of a pipe; false when there is nothing more, now or ever. */
static bool hear(struct child *c, int *fd, void (*heard)(struct child *, const char *, size_t))
{
	char bytes[READ_SIZE];
	if (*fd < 0)
		return false;
	ssize_t n = read(*fd, bytes, sizeof bytes);
	if (n > 0)
		heard(c, bytes, (size_t)n);
	else if (n == 0 || (errno != EAGAIN && errno != EINTR))
		close_fd(c->loop, fd);
	return n > 0;
}

static void out_ready(void *arg, uint32_t events, int64_t now_s)
{
	struct child *c = arg;
	(void)events, (void)now_s;
	(void)hear(c, &c->out_fd, printed);
	if (c->why.code != RC_OK)
		close_fd(c->loop, &c->out_fd); /* not heard any more */
}

static void err_ready(void *arg, uint32_t events, int64_t now_s)
{
	struct child *c = arg;
	(void)events, (void)now_s;
	(void)hear(c, &c->err_fd, complained);
}

/* ---- its end ---- */

static void release(struct child *c)
{
	loop_unset(&c->limit);
	close_fd(c->loop, &c->pid_fd);
	close_fd(c->loop, &c->out_fd);
	close_fd(c->loop, &c->err_fd);
	close_fd(c->loop, &c->exec_fd);
	mem_free(c->out);
	mem_free(c);
}

static int bury(struct child *c)
{
	int status = 0;
	c->state = KILLED; /* no signal after this: the number may be another's */
	tell_group(c, SIGKILL);
	while (waitpid(c->pid, &status, 0) < 0 && errno == EINTR)
		;
	return status;
}

/* What the pipes still hold. A process that left the group may hold them open, so that is no endless stream: standard
 * output has its limit, and of standard error a pipe's fill is enough. */
static void hear_rest(struct child *c)
{
	while (c->why.code == RC_OK && hear(c, &c->out_fd, printed))
		;
	for (int i = 0; i < 64 && hear(c, &c->err_fd, complained); i++)
		;
	if (c->n_line)
		memcpy(c->last, c->line, sizeof c->last);
}

static void judge(struct child *c, int status, struct child_end *end)
{
	char words[CHILD_WORDS_SIZE];
	const char *colon = utf8_clean(c->last, words, sizeof words)[0] ? ": " : "";
	int exec_errno = 0;
	*end = (struct child_end){ .bytes = c->out, .n = c->n_out };
	if (read(c->exec_fd, &exec_errno, sizeof exec_errno) == (ssize_t)sizeof exec_errno)
		end->rc = err_set(
			&end->why, RC_IO, "%s: can't be run: %s", c->program, strerror(exec_errno));
	else if (c->why.code != RC_OK)
		end->rc = err_set(&end->why, c->why.code, "%s: %s%s%s", c->program, c->why.text,
			colon, words);
	else if (WIFSIGNALED(status))
		end->rc = err_set(&end->why, RC_IO, "%s: ended by signal %d (%s)%s%s", c->program,
			WTERMSIG(status), strsignal(WTERMSIG(status)), colon, words);
	else if (WEXITSTATUS(status) != 0)
		end->rc = err_set(&end->why, RC_IO, "%s: exit status %d%s%s", c->program,
			WEXITSTATUS(status), colon, words);
}

static void gone(void *arg, uint32_t events, int64_t now_s)
{
	struct child *c = arg;
	struct child_end end;
	(void)events;
	int status = bury(c);
	hear_rest(c);
	judge(c, status, &end);
	loop_unset(&c->limit);
	close_fd(c->loop, &c->pid_fd);
	c->ended(c->arg, &end, now_s);
	release(c);
}

void child_kill(struct child *c)
{
	if (!c)
		return;
	(void)bury(c);
	release(c);
}

/* ---- starting ---- */

static void close_pair(int *pair)
{
	if (pair[0] >= 0)
		(void)close(pair[0]);
	if (pair[1] >= 0)
		(void)close(pair[1]);
}

static bool make_pipes(struct pipes *p)
{
	*p = (struct pipes){ { -1, -1 }, { -1, -1 }, { -1, -1 } };
	if (pipe2(p->out, O_CLOEXEC) == 0 && pipe2(p->err, O_CLOEXEC) == 0 &&
		pipe2(p->exec, O_CLOEXEC) == 0 && fcntl(p->out[0], F_SETFL, O_NONBLOCK) == 0 &&
		fcntl(p->err[0], F_SETFL, O_NONBLOCK) == 0 &&
		fcntl(p->exec[0], F_SETFL, O_NONBLOCK) == 0)
		return true;
	int why = errno;
	close_pair(p->out);
	close_pair(p->err);
	close_pair(p->exec);
	errno = why;
	return false;
}

static enum rc run(struct child *c, const struct child_how *how, struct err *err)
{
	struct pipes p;
	pid_t self = getpid();
	if (!make_pipes(&p))
		return err_set(err, RC_IO, "%s: a pipe: %s", how->program, strerror(errno));
	c->pid = fork();
	if (c->pid == 0)
		become(how, &p, self);
	int why = errno;
	c->out_fd = p.out[0], c->err_fd = p.err[0], c->exec_fd = p.exec[0];
	(void)close(p.out[1]);
	(void)close(p.err[1]);
	(void)close(p.exec[1]);
	if (c->pid < 0)
		return err_set(err, RC_IO, "%s: a process: %s", how->program, strerror(why));
	(void)setpgid(c->pid, c->pid); /* whoever comes first: its signals have to reach a group */
	return RC_OK;
}

static enum rc watch(struct child *c, struct err *err)
{
	c->pid_fd = pidfd_open(c->pid, 0);
	if (c->pid_fd < 0)
		return err_set(err, RC_IO, "%s: a pidfd: %s", c->program, strerror(errno));
	enum rc rc = loop_watch(c->loop, c->out_fd, EPOLLIN, out_ready, c, err);
	if (rc == RC_OK)
		rc = loop_watch(c->loop, c->err_fd, EPOLLIN, err_ready, c, err);
	if (rc == RC_OK)
		rc = loop_watch(c->loop, c->pid_fd, EPOLLIN, gone, c, err);
	if (rc == RC_OK)
		loop_after(c->loop, &c->limit, c->time_limit_s * 1000);
	return rc;
}

enum rc child_start(struct loop *l, const struct child_how *how,
	void (*ended)(void *arg, const struct child_end *end, int64_t now_s), void *arg,
	struct child **out, struct err *err)
{
	struct child *c = mem_new(1, sizeof *c);
	if (!c)
		return err_set(err, RC_MEM, "%s: out of memory", how->program);
	*c = (struct child){ .loop = l,
		.ended = ended,
		.arg = arg,
		.program = how->program,
		.time_limit_s = how->time_limit_s,
		.size_limit = how->size_limit,
		.pid_fd = -1,
		.out_fd = -1,
		.err_fd = -1,
		.exec_fd = -1,
		.limit = { .fire = time_over, .arg = c } };
	enum rc rc = run(c, how, err);
	if (rc != RC_OK) {
		release(c);
		return rc;
	}
	rc = watch(c, err);
	if (rc != RC_OK)
		child_kill(c);
	else
		*out = c;
	return rc;
}
