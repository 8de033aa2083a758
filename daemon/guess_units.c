/* Percent or fraction, degC or degF: by heading, by what stands behind the values, by the values
 * only where one reading is plain. */
#include <stdio.h>
#include <string.h>

#include "daemon/cellnum.h"
#include "daemon/guess.h"

/* Values of one quantity in the sample, in its own unit. */
struct spread {
	size_t n, percent, celsius, fahrenheit; /* all; with that unit behind them */
	size_t over_one, over_32, over_45, over_104;
	double least, greatest;
};

static void add_values(const struct guess *g, int column, struct spread *out)
{
	for (size_t i = g->s->data; column != PLAN_NONE && i < g->s->n_rows; i++) {
		struct cell c = sample_cell(g->s, i, (size_t)column);
		struct cellnum v = cellnum_read(c.p, c.n, g->plan->decimal);
		if (v.kind != CELLNUM_OK)
			continue;
		double value = (double)v.micro / (double)CELLNUM_ONE;
		out->least = out->n == 0 || value < out->least ? value : out->least;
		out->greatest = out->n == 0 || value > out->greatest ? value : out->greatest;
		out->n++;
		out->percent += v.unit == CELLNUM_PERCENT;
		out->celsius += v.unit == CELLNUM_CELSIUS;
		out->fahrenheit += v.unit == CELLNUM_FAHRENHEIT;
		out->over_one +=
			value > 1.05; /* a fraction of saturated air may read a little over 1 */
		out->over_32 += value > 32;
		out->over_45 += value > 45;
		out->over_104 += value > 104;
	}
}

static enum rc ask_rh(const struct guess *g, const struct spread *v, const char *heading)
{
	return err_set(g->err, RC_ASK,
		"%s: humidity from %.4g to %.4g%s: percent or a fraction of 1? rh_unit = "
		"\"percent\" or "
		"\"fraction\" in the layout, or --rh-unit percent",
		g->path, v->least, v->greatest, heading);
}

static enum rc guess_rh_unit(struct guess *g)
{
	struct plan *plan = g->plan;
	struct spread v = { 0 };
	bool percent = false, fraction = false;
	plan->rh_unit = g->known->rh_unit;
	if (plan->rh_unit != RH_GUESS)
		return RC_OK;
	for (size_t i = 0; i < plan->n; i++) {
		enum heading_unit unit = g->s->heads[plan->stream[i].rh].unit;
		percent = percent || unit == UNIT_PERCENT;
		fraction = fraction || unit == UNIT_FRACTION;
		add_values(g, plan->stream[i].rh, &v);
	}
	percent = percent || v.percent > 0;
	bool small = v.n > 0 && v.over_one == 0;
	bool spread = v.n > 2 && v.greatest - v.least >= 0.01;
	if (v.over_104 * 2 > v.n)
		return err_set(g->err, RC_ASK,
			"%s: humidity from %.4g to %.4g is neither percent nor a fraction: rh = "
			"\"#2\" in the "
			"layout names the column",
			g->path, v.least, v.greatest);
	if ((percent && fraction) || (fraction && !small && v.n > 0))
		return ask_rh(g, &v, ", headed as a fraction");
	if (percent && small && spread)
		return ask_rh(g, &v, ", headed in percent");
	if (!percent && !fraction && small && !spread)
		return ask_rh(g, &v, "");
	plan->rh_unit = fraction || (!percent && small) ? RH_FRACTION : RH_PERCENT;
	plan->rh_by_values = !percent && !fraction;
	return RC_OK;
}

/* The unit a heading or the cells name; TEMP_GUESS when neither does. */
static int named_unit(const struct guess *g, int column)
{
	struct spread v = { 0 };
	enum heading_unit unit = g->s->heads[column].unit;
	add_values(g, column, &v);
	if (v.celsius + v.fahrenheit > 0)
		return v.fahrenheit > v.celsius ? TEMP_FAHRENHEIT : TEMP_CELSIUS;
	return unit == UNIT_CELSIUS      ? TEMP_CELSIUS
	       : unit == UNIT_FAHRENHEIT ? TEMP_FAHRENHEIT
					 : TEMP_GUESS;
}

/* Without a unit only degC is ever taken, and only where most values are no room in degF: 60 to 80
 * could be a room's degF or, say, a hot attic, and 35 to 45 a cold or a hot place. */
static enum rc guess_temp_unit(struct guess *g)
{
	struct plan *plan = g->plan;
	struct spread v = { 0 };
	for (size_t i = 0; i < plan->n; i++) {
		struct plan_stream *s = &plan->stream[i];
		s->temp_unit = g->known->temp_unit;
		if (s->temp != PLAN_NONE && s->temp_unit == TEMP_GUESS)
			s->temp_unit = named_unit(g, s->temp);
		if (s->temp != PLAN_NONE && s->temp_unit == TEMP_GUESS)
			add_values(g, s->temp, &v);
	}
	if (v.over_45 * 100 > v.n || v.over_32 * 2 > v.n)
		return err_set(g->err, RC_ASK,
			"%s: temperatures from %.4g to %.4g without a unit: degC or degF? "
			"temp_unit = \"celsius\" or "
			"\"fahrenheit\" in the layout, or --temp-unit celsius",
			g->path, v.least, v.greatest);
	for (size_t i = 0; i < plan->n; i++) {
		struct plan_stream *s = &plan->stream[i];
		if (s->temp == PLAN_NONE || s->temp_unit != TEMP_GUESS)
			continue;
		s->temp_unit = TEMP_CELSIUS;
		plan->temp_by_values = true;
	}
	return RC_OK;
}

static void tell_stream(const struct guess *g, const struct plan_stream *s)
{
	const struct plan *plan = g->plan;
	char rh[HEADING_TEXT + 8], temp[HEADING_TEXT + 8], who[HEADING_TAG + 16] = "";
	if (plan->n > 1)
		(void)snprintf(who, sizeof who, "sensor \"%s\": ", s->name);
	guess_tell(g->sink, "%shumidity: column %s, %s%s", who,
		guess_label(g, s->rh, rh, sizeof rh),
		plan->rh_unit == RH_FRACTION ? "a fraction of 1" : "in percent",
		plan->rh_by_values ? " by its values" : "");
	if (s->temp == PLAN_NONE)
		guess_tell(g->sink, "%stemperature: none", who);
	else
		guess_tell(g->sink, "%stemperature: column %s, in %s%s", who,
			guess_label(g, s->temp, temp, sizeof temp),
			s->temp_unit == TEMP_FAHRENHEIT ? "degF" : "degC",
			plan->temp_by_values ? " by its values" : "");
}

enum rc guess_units(struct guess *g)
{
	char label[HEADING_TEXT + 8];
	enum rc rc = guess_rh_unit(g);
	rc = rc == RC_OK ? guess_temp_unit(g) : rc;
	if (rc != RC_OK)
		return rc;
	for (size_t i = 0; i < g->plan->n; i++)
		tell_stream(g, &g->plan->stream[i]);
	if (g->plan->names != PLAN_NONE)
		guess_tell(g->sink, "sensors: named by column %s",
			guess_label(g, g->plan->names, label, sizeof label));
	return RC_OK;
}
