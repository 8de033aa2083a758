/* The step from the store to the calendars, in a file of its own so that tests of when it is called
 * can put another in its place. */
#include "daemon/app.h"

enum rc app_settle(struct app *app, int64_t now_s, struct err *err)
{
	(void)app, (void)now_s, (void)err;
	return RC_OK;
}
