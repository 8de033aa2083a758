/* The table of what is expected of a build in one dry season. For ctl_build.c. */
#ifndef DAEMON_CTL_OUTLOOK_H
#define DAEMON_CTL_OUTLOOK_H

#include "core/outlook.h"
#include "daemon/ctl.h"

/* A line for each quantity the build has, a column for each look, and what the lines mean. */
void ctl_outlook_print(const struct outlook *o, enum bench_units u);

#endif
