#include "daemon/ctl_outlook.h"

#include <math.h>
#include <stdio.h>

#include "daemon/measure.h"

#define MM 1e3

enum row {
	ROW_RELIEF,
	ROW_ACTION,
	ROW_EDGES,
	ROW_TOP,
	ROW_BACK,
	ROW_NECK,
	ROW_PLATES,
	ROW_GLUE,
	ROW_PRELOAD,
	ROW_SNUG,
	ROW_FIT,
	ROW_SEAT
};

/* What is too small for its last digit is nothing. */
static double or_nothing(double x, double least)
{
	return fabs(x) < least ? 0 : x;
}

/* One look at one quantity; i: of hardware. */
static void cell_text(
	char *buf, size_t n, const struct condition *c, enum row row, size_t i, enum bench_units u)
{
	switch (row) {
	case ROW_RELIEF:
		units_print_change(buf, n, or_nothing(c->relief_m, 1e-6), u);
		break;
	case ROW_ACTION:
		units_print_rise(buf, n, or_nothing(c->action_m, 5e-6), u);
		break;
	case ROW_EDGES:
		units_print_change(buf, n, or_nothing(c->fret_end_m, 1e-6), u);
		break;
	case ROW_TOP:
		units_print_rise(buf, n, or_nothing(c->shape.rise_m, 5e-6), u);
		break;
	case ROW_BACK:
		units_print_rise(buf, n, or_nothing(c->shape.back_m, 5e-6), u);
		break;
	case ROW_NECK:
		(void)snprintf(buf, n, "%.2f mrad", or_nothing(1e3 * (c->shape.neck_rad), 5e-3));
		break;
	case ROW_PLATES:
		(void)snprintf(buf, n, "%.0f %%", 100 * c->crack);
		break;
	case ROW_GLUE:
		(void)snprintf(buf, n, "%.0f %%", 100 * c->peel);
		break;
	case ROW_PRELOAD:
		(void)snprintf(buf, n, "%.0f %%", 100 * c->hardware[i].preload);
		break;
	case ROW_SNUG:
		units_print_turns(buf, n, c->hardware[i].snug_turns);
		break;
	case ROW_FIT:
		(void)snprintf(buf, n, "%.3f mm", or_nothing(c->fits[i].fit_m * MM, 5e-4));
		break;
	case ROW_SEAT:
		(void)snprintf(buf, n, "%.1f mm", or_nothing(c->fits[i].seat_m * MM, 5e-2));
		break;
	}
}

static void print_row(
	const char *what, const struct outlook *o, enum row row, size_t i, enum bench_units u)
{
	(void)printf("    %-16s", what);
	for (size_t k = 0; k < OUTLOOK_LOOKS; k++) {
		char cell[32];
		cell_text(cell, sizeof cell, &o->at[k], row, i, u);
		(void)printf(" %12s", cell);
	}
	(void)puts("");
}

static bool has(const struct build *b, enum member_role role)
{
	return build_member(b, role) < b->n_members;
}

void ctl_outlook_print(const struct outlook *o, enum bench_units u)
{
	const struct build *b = &o->build;
	(void)printf("  expected, settled at %.0f %% RH before; days at %.0f %% RH, then back\n    "
		     "%-16s",
		100 * OUTLOOK_RH, 100 * OUTLOOK_DRY_RH, "");
	for (size_t k = 0; k < OUTLOOK_LOOKS - 1; k++)
		(void)printf(" %10d d", outlook_days[k]);
	(void)printf(" %6s %d d\n", "back",
		outlook_days[OUTLOOK_LOOKS - 1] - outlook_days[OUTLOOK_LOOKS - 2]);
	const struct {
		bool there;
		const char *what;
		enum row row;
	} rows[] = {
		{ has(b, MEMBER_FINGERBOARD), "relief", ROW_RELIEF },
		{ has(b, MEMBER_FINGERBOARD), "action half-way", ROW_ACTION },
		{ b->top_span_m > 0, "  top at bridge", ROW_TOP },
		{ b->body_depth_m > 0, "  neck forward", ROW_NECK },
		{ b->back_span_m > 0, "back", ROW_BACK },
		{ has(b, MEMBER_FINGERBOARD), "board a side", ROW_EDGES },
		{ has(b, MEMBER_TOP) || has(b, MEMBER_BACK), "plates", ROW_PLATES },
		{ has(b, MEMBER_UNDER_BRIDGE), "glue of bridge", ROW_GLUE },
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
		if (rows[i].there)
			print_row(rows[i].what, o, rows[i].row, 0, u);
	for (size_t i = 0; i < b->n_fastenings; i++) {
		bool clamped = fastening_is_clamped(&b->fastenings[i]);
		print_row(measure_hardware(b->fastenings[i].kind), o,
			clamped ? ROW_PRELOAD : ROW_FIT, i, u);
		if (b->fastenings[i].kind != FASTENING_TUNING_PIN) /* turning one tunes */
			print_row(clamped ? "  to snug them" : "  further out", o,
				clamped ? ROW_SNUG : ROW_SEAT, i, u);
	}
	(void)puts("    action: at the 12th fret; board: narrower by, what fret ends stand out by; "
		   "plates "
		   "and bridge: strain\n"
		   "    over what wood bears across the grain; nuts, screws, tuning pins: preload "
		   "left; "
		   "pegs, bridge pins:\n"
		   "    wider than their holes by");
}
