#include <stdio.h>
#include <string.h>

#include "daemon/recordtext_int.h"

struct correction_text {
	char at[RECORDTEXT_VALUE];
	struct store_correction c;
};

static const struct field correction_rows[] = {
	{ "at", FIELD_TEXT, AT(correction_text, at), 1, 0, NULL, "", NULL, "from when on" },
	{ "gain", FIELD_REAL, AT(correction_text, c.check.c.gain), SALT_GAIN_LOW, SALT_GAIN_HIGH,
		NULL, NULL, NULL, "true = gain x shown + offset" },
	{ "offset", FIELD_REAL, AT(correction_text, c.check.c.offset_pct), -50, 50, "% RH", NULL,
		NULL, "likewise" },
	{ "u", FIELD_REAL, AT(correction_text, c.check.c.u_pct), 0.01, 20, "% RH", NULL, NULL,
		"standard deviation then" },
	{ "note", FIELD_TEXT, AT(correction_text, c.text), 0, 0, NULL, "", NULL,
		"what was compared with what" },
};

static void read_correction(
	struct said *x, const struct subject *s, const config_setting_t *list, int i)
{
	char what[RECORDTEXT_WHAT];
	struct correction_text text = { 0 };
	(void)snprintf(what, sizeof what, "%.90s: correction %d", s->what, i + 1);
	const config_setting_t *group = recordtext_group(x, list, i, what);
	if (!group)
		return;
	schema_read(group, ROWS(correction_rows), &text, what, x->faults);
	(void)snprintf(text.c.sensor, sizeof text.c.sensor, "%s", s->name);
	if (!recordtext_at(x, s, group, what, text.at, &text.c.check.t_s))
		return;
	for (size_t k = 0; k < x->n_corrections; k++)
		if (x->corrections[k].check.t_s == text.c.check.t_s &&
			strcmp(x->corrections[k].sensor, s->name) == 0)
			schema_fault(x->faults, group, what, "at",
				"another correction has the same time: one of the two");
	struct store_correction *all =
		recordtext_room(x, x->corrections, x->n_corrections, sizeof *all);
	if (!all)
		return;
	x->corrections = all;
	all[x->n_corrections++] = text.c;
}

void recordtext_corrections(struct said *x, const struct subject *s)
{
	const config_setting_t *list = recordtext_list(x, s->group, s->what, "corrections");
	int n = list ? config_setting_length(list) : 0;
	for (int i = 0; x->rc == RC_OK && i < n; i++)
		read_correction(x, s, list, i);
}
