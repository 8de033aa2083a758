#include "daemon/ctl_wood.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "daemon/text.h"

void ctl_wood_cut(char *buf, size_t n, double ring_deg)
{
	if (ring_deg == 0 || ring_deg == 45 || ring_deg == 90)
		(void)snprintf(buf, n, "%s",
			ring_deg == 0    ? "quarter"
			: ring_deg == 45 ? "rift"
					 : "flat");
	else
		(void)snprintf(buf, n, "%.3g deg", ring_deg);
}

void ctl_wood_finish(char *buf, size_t n, const struct library *l, double resistance_s_m)
{
	buf[0] = '\0';
	for (size_t i = 0; i < l->n_finishes; i++)
		if (l->finishes[i].resistance_s_m == resistance_s_m)
			text_add(buf, n, "%s%s", buf[0] ? "/" : "", l->finishes[i].name);
	if (!buf[0])
		text_add(buf, n, "finish");
}

/* How much of text goes on a line of that width. */
static int line_length(const char *text, int width)
{
	int n = (int)strlen(text);
	if (n <= width)
		return n;
	int at = width;
	while (at > 0 && text[at] != ' ')
		at--;
	return at ? at : width;
}

void ctl_wood_wrapped(const char *text, int indent)
{
	for (int deeper = indent; *text; deeper = indent + 2) {
		int n = line_length(text, CTL_COLUMNS - deeper);
		(void)printf("%*s%.*s\n", deeper, "", n, text);
		text += n;
		text += strspn(text, " ");
	}
}

static bool named_before(const struct species *const *used, size_t i)
{
	for (size_t k = 0; k < i; k++)
		if (strcmp(used[k]->name, used[i]->name) == 0)
			return true;
	return false;
}

void ctl_wood_sources(const struct library *l, const struct species *const *used, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		const struct species *s = used[i];
		const struct wood *w = library_wood(l, s->name);
		if (!w || named_before(used, i))
			continue;
		(void)printf("    %s: %s\n      C_R %.5f C_T %.5f C_L %.6f /%%, E_L %.2f E_R %.3f "
			     "E_T %.3f GPa, specific gravity %.2f\n",
			s->name, w->title, s->c_r_per_pct, s->c_t_per_pct, s->c_l_per_pct,
			s->e_l_pa / 1e9, s->e_r_pa / 1e9, s->e_t_pa / 1e9, s->specific_gravity);
		ctl_wood_wrapped(w->source, 6);
	}
}
