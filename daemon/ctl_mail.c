#include <inttypes.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/ctl.h"
#include "daemon/post.h"

enum { SHOWN_S = 30 * 86400 };

static const char *state_words(int state)
{
	static const char *const words[] = { "waits", "under way", "sent", "refused", "given up",
		"dropped" };
	return words[state];
}

static void print_letter(const struct ctl *c, const struct letter *l)
{
	char made[24], when[24] = "";
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	zone_print_minute(z, l->made_s, made, sizeof made);
	if (l->state == LETTER_SENT)
		zone_print_minute(z, l->sent_s, when, sizeof when);
	else if (l->state == LETTER_WAITS && l->tries)
		zone_print_minute(z, l->next_s, when, sizeof when);
	(void)printf("#%-4" PRId64 " %s  %s%s%s%s  %s\n      %s\n", l->id, made,
		state_words(l->state), when[0] && l->state == LETTER_WAITS ? " until" : "",
		when[0] ? " " : "", when, l->recipient, l->subject);
	if (l->error[0])
		(void)printf("      %s\n", l->error);
}

static enum rc list(struct ctl *c)
{
	struct letter *all = NULL;
	size_t n = 0;
	enum rc rc = store_letters(c->desk.store, c->now_s - SHOWN_S, &all, &n, c->err);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		print_letter(c, &all[i]);
	if (rc == RC_OK && n == 0)
		(void)puts(c->desk.set->mail.server[0]
				   ? "no letters in the last 30 days"
				   : "no letters: mail is not set up, see the group mail in "
				     "seasond.conf(5)");
	mem_free(all);
	return rc;
}

/* As it goes out, with the line ends of here. */
static enum rc show(struct ctl *c, const char *number)
{
	int64_t id = 0;
	char *body = NULL;
	size_t n = 0;
	if (!number_int(number[0] == '#' ? number + 1 : number, &id))
		return err_set(c->err, RC_USAGE,
			"letter \"%.40s\": give its number as `seasonctl mail` shows it", number);
	enum rc rc = store_letter_body(c->desk.store, id, &body, &n, c->err);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (body[i] != '\r')
			(void)putchar(body[i]);
	mem_free(body);
	return rc;
}

/* ---- what would go out ---- */

struct preview {
	size_t n;
};

static void print_preview(void *arg, const struct letter *l, const char *body)
{
	struct preview *p = arg;
	(void)body;
	if (p->n++ == 0)
		(void)puts("mail:");
	(void)printf("    to %s: %s\n", l->recipient, l->subject);
}

enum rc ctl_mail_preview(struct ctl *c)
{
	struct preview p = { 0 };
	enum rc rc = post_preview(&c->desk, c->now_s, print_preview, &p, c->err);
	if (rc == RC_OK && p.n == 0 && c->desk.set->mail.server[0])
		(void)puts("mail:\n    no letters");
	return rc;
}

enum rc ctl_mail(struct ctl *c)
{
	enum rc rc = ctl_arguments(c, "mail [NUMBER]", 0, 1);
	if (rc != RC_OK)
		return rc;
	return c->argc ? show(c, c->argv[0]) : list(c);
}
