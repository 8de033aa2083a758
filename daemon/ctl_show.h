/* What seasonctl shows of items and instruments, shared by status, agenda and explain. */
#ifndef DAEMON_CTL_SHOW_H
#define DAEMON_CTL_SHOW_H

#include "daemon/ctl.h"
#include "daemon/state.h"

/* Brings everything to now before it is shown. With --at the wood is shown as of then and the agenda as it was left.
 * At most high arguments. */
MUST_USE enum rc ctl_show_refresh(struct ctl *c, const char *usage, int high);

/* An item: window, weight, title, reasons, and whether a person moved its day. */
void ctl_show_item(struct ctl *c, const struct item *it, const char *indent);

/* Build, place, client and how far an instrument is followed; false when nothing is known of its wood. */
bool ctl_show_followed(struct ctl *c, const struct followed *f);

/* Every figure of its wood, a line each. */
void ctl_show_condition(const struct ctl *c, const struct followed *f);

#endif
