/* The step from the store to the calendars, in a file of its own so that tests of when it is called
 * can put another in its place. */
#include <stdio.h>
#include <string.h>

#include "daemon/app.h"
#include "daemon/pages.h"
#include "daemon/phrase.h"

/* The log in words: what opened, grew heavier or closed, at the day of the clock. */
static void tell(void *arg, const struct item *it, int64_t now_s)
{
	static const char *const words[] = { "open", "done", "withdrawn", "put aside" };
	struct app *app = arg;
	char day[24], title[256], reasons[PHRASE_SIZE];
	const struct desk *d = &app->desk;
	bool fresh = it->state == ITEM_OPEN && it->opened_s == now_s;
	zone_print_day(engine_zone(d->engine, NULL), it->state == ITEM_OPEN ? now_s : it->closed_s,
		day, sizeof day);
	pages_title(d->engine, d->set, d->lib, it, title, sizeof title);
	phrase_show(it->reasons, d->set->units, "", engine_zone(d->engine, NULL), reasons,
		sizeof reasons);
	if (it->state == ITEM_OPEN)
		log_line(app->log, LEVEL_INFO, NULL, "%s %s #%lld %s, %s: %s", day,
			fresh ? "opened" : "heavier", (long long)it->id, title,
			care_weight_words((enum care_weight)it->weight), reasons);
	else
		log_line(app->log, LEVEL_INFO, NULL, "%s %s #%lld %s", day, words[it->state],
			(long long)it->id, title);
}

enum rc app_settle(struct app *app, int64_t now_s, struct err *err)
{
	const struct agenda_news news = { app, tell };
	return desk_settle(&app->desk, now_s, &news, NULL, err);
}
