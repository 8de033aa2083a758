/* Method: the heading is cut into words (at signs, between letters and digits, before a capital
 * after a small letter), folded to small letters without accents; each word is looked up in lists,
 * and the lists met decide. The words that say nothing about quantity and unit make the tag. */
#include "daemon/heading.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

enum { WORDS_MAX = 24, WORD_MAX = 24 };

struct word {
	const char *from, *to; /* in the text */
	char folded[WORD_MAX];
};

struct words {
	size_t n;
	struct word word[WORDS_MAX];
};

enum sort {
	SORT_TAG = 0,
	SORT_RH = 1,
	SORT_TEMP = 2,
	SORT_TIME = 4,
	SORT_NAME = 8,
	SORT_OTHER = 16, /* some other quantity, or no measured value */
	SORT_PERCENT = 32,
	SORT_C = 64,
	SORT_F = 128,
	SORT_FRACTION = 256,
	SORT_UNIT = 512,
	SORT_EXTREME = 1024,
	SORT_FILLER = 2048,
	SORT_ELAPSED = 4096,
	SORT_T = 8192 /* `t`: temperature or time */
};

/* Whole words. German, French, Spanish, Italian, Dutch, Swedish, Finnish ones from dictionaries. */
static const struct {
	const char *list;
	enum sort sort;
} whole[] = {
	{ " rh hum rf relhum rhe rhi rhin rhout rhext rhint h ", SORT_RH },
	{ " te ti tin tout text tint tair celsius fahrenheit ", SORT_TEMP },
	{ " t ", SORT_T },
	{ " time date datetime timestamp zeit datum uhrzeit zeitpunkt zeitstempel heure fecha hora "
	  "horodatage tid aika "
	  "epoch unix utc gmt ts when ora uhr unixtime localtime ",
		SORT_TIME },
	{ " sensor name device location room place probe channel station site logger ort raum "
	  "standort messstelle "
	  "fuhler kanal gerat case ",
		SORT_NAME },
	{ " dew dewpoint taupunkt abs absolute absolut absolue specific mixing ratio vpd deficit "
	  "enthalpy humidex "
	  "battery batt bat akku volt voltage pressure press druck set setpoint target soll alarm "
	  "alert limit "
	  "threshold status state offset calibration soil moisture wet heat index feels chill "
	  "frost co signal rssi "
	  "error quality rate trend delta diff difference count raw wind rain precip light lux "
	  "wood cpu g kg hpa "
	  "pa kpa mbar ppm grains record ",
		SORT_OTHER },
	{ " % percent prozent pct pc ", SORT_PERCENT },
	{ " c degc celsius ", SORT_C },
	{ " f degf fahrenheit ", SORT_F },
	{ " fraction anteil ", SORT_FRACTION },
	{ " ° deg degree degrees grad s ms v mv m yyyy yy mm dd hh ss z h min ", SORT_UNIT },
	{ " min max minimum maximum low high lowest highest ", SORT_EXTREME },
	{ " relative relativ rel air luft value reading measured avg average mean mittel "
	  "mittelwert wert in the of "
	  "no nr id ",
		SORT_FILLER },
	{ " elapsed duration laufzeit since interval dauer uptime ", SORT_ELAPSED },
};

/* Beginnings and inner parts of long words. */
static const struct {
	const char *part;
	enum sort sort;
} parts[] = {
	{ "humid", SORT_RH },
	{ "feucht", SORT_RH },
	{ "humed", SORT_RH },
	{ "umidit", SORT_RH },
	{ "vochtig", SORT_RH },
	{ "fuktighet", SORT_RH },
	{ "kosteus", SORT_RH },
	{ "temperat", SORT_TEMP },
	{ "lampotila", SORT_TEMP },
};

static bool is_alpha(unsigned char c)
{
	return isalpha(c) || c >= 0x80;
}

/* The base letter of a Latin-1 letter that UTF-8 writes as C3 xx. */
static char base_letter(unsigned char second)
{
	static const char letters[] =
		"aaaaaaaceeeeiiiidnooooo ouuuuypsaaaaaaaceeeeiiiidnooooo ouuuuypy";
	return letters[(second - 0x80) & 63];
}

static void fold(struct word *w)
{
	size_t n = 0;
	for (const char *p = w->from; p < w->to && n + 1 < WORD_MAX; p++) {
		unsigned char c = (unsigned char)*p;
		if (c == 0xC3 && p + 1 < w->to) {
			p++;
			w->folded[n++] = base_letter((unsigned char)*p);
		} else {
			w->folded[n++] = (char)tolower(c);
		}
	}
	w->folded[n] = '\0';
}

/* Does a word end between a and b, two characters inside a run of letters and digits? */
static bool boundary(unsigned char a, unsigned char b)
{
	return (isdigit(a) != 0) != (isdigit(b) != 0) || (islower(a) && isupper(b));
}

static void cut(const char *text, struct words *out)
{
	out->n = 0;
	for (const char *p = text; *p && out->n < WORDS_MAX;) {
		struct word *w = &out->word[out->n];
		w->from = p;
		if (*p == '%') {
			p++;
		} else if (strncmp(p, "\xC2\xB0", 2) == 0 || strncmp(p, "\xC2\xBA", 2) == 0) {
			p += 2;
			w->to = p;
			(void)snprintf(w->folded, sizeof w->folded, "\xC2\xB0");
			out->n++;
			continue;
		} else if (strncmp(p, "\xE2\x84\x83", 3) == 0 ||
			   strncmp(p, "\xE2\x84\x89", 3) == 0) {
			/* the one-character signs for degC and degF */
			bool celsius = p[2] == '\x83';
			p += 3;
			w->to = p;
			(void)snprintf(
				w->folded, sizeof w->folded, "%s", celsius ? "degc" : "degf");
			out->n++;
			continue;
		} else if (is_alpha((unsigned char)*p) || isdigit((unsigned char)*p)) {
			do
				p++;
			while (*p && *p != '%' && strncmp(p, "\xC2\xB0", 2) != 0 &&
				(is_alpha((unsigned char)*p) || isdigit((unsigned char)*p)) &&
				(!boundary((unsigned char)p[-1], (unsigned char)*p) ||
					(p == w->from + 1 && strncmp(w->from, "rH", 2) == 0)));
		} else {
			p++;
			continue;
		}
		w->to = p;
		fold(w);
		out->n++;
	}
}

static bool listed(const char *list, const char *word)
{
	char padded[WORD_MAX + 2];
	(void)snprintf(padded, sizeof padded, " %s ", word);
	return strstr(list, padded) != NULL;
}

static unsigned sorts_of(const char *word)
{
	unsigned found = 0;
	for (size_t i = 0; i < sizeof whole / sizeof whole[0]; i++) {
		if (listed(whole[i].list, word))
			found |= whole[i].sort;
	}
	for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
		if (strstr(word, parts[i].part))
			found |= parts[i].sort;
	}
	if (strncmp(word, "temp", 4) == 0)
		found |= SORT_TEMP;
	return found;
}

static void append(char *buf, size_t n, const char *from, const char *to, bool blank)
{
	size_t len = strlen(buf);
	size_t more = (size_t)(to - from);
	if (len + more + blank + 1 > n)
		return;
	if (blank)
		buf[len++] = ' ';
	memcpy(buf + len, from, more);
	buf[len + more] = '\0';
}

/* Words that neither name the quantity nor a unit, joined as they stood. `RHe` leaves `e`. */
static void make_tag(const struct words *w, const unsigned *sort, struct heading *out)
{
	const char *end = NULL;
	for (size_t i = 0; i < w->n; i++) {
		const char *from = w->word[i].from, *to = w->word[i].to;
		const char *f = w->word[i].folded;
		bool fused = (strncmp(f, "rh", 2) == 0 && f[2]) ||
			     (f[0] == 't' && sort[i] == SORT_TEMP && strlen(f) < 5 &&
				     strcmp(f, "temp") != 0 && strcmp(f, "tair") != 0);
		if (fused && sort[i] != SORT_TAG)
			from += f[0] == 'r' ? 2 : 1;
		else if (sort[i] & ~(unsigned)(SORT_NAME | SORT_OTHER))
			continue;
		append(out->tag, sizeof out->tag, from, to, end && end != from);
		end = to;
	}
}

static enum heading_role role_of(unsigned all, bool alone)
{
	if (all & SORT_ELAPSED)
		return HEADING_OTHER;
	bool other = (all & SORT_OTHER) != 0;
	bool temp = (all & SORT_TEMP) || ((all & SORT_T) && !(all & SORT_TIME));
	if (all & SORT_RH)
		return other || temp ? HEADING_OTHER : HEADING_RH;
	if (temp)
		return other ? HEADING_OTHER : HEADING_TEMP;
	if (all & SORT_TIME)
		return HEADING_TIME;
	if (alone && !other && (all & SORT_PERCENT))
		return HEADING_RH;
	if (alone && !other && (all & (SORT_C | SORT_F)))
		return HEADING_TEMP;
	return (all & SORT_NAME) ? HEADING_NAME : HEADING_OTHER;
}

static enum heading_unit unit_of(enum heading_role role, unsigned all)
{
	if (role == HEADING_RH && (all & SORT_FRACTION))
		return UNIT_FRACTION;
	if (role == HEADING_RH && (all & SORT_PERCENT))
		return UNIT_PERCENT;
	if (role != HEADING_TEMP || ((all & SORT_C) && (all & SORT_F)))
		return UNIT_NONE;
	return all & SORT_C ? UNIT_CELSIUS : all & SORT_F ? UNIT_FAHRENHEIT : UNIT_NONE;
}

void heading_read(const char *text, struct heading *out)
{
	struct words w;
	unsigned sort[WORDS_MAX];
	unsigned all = 0;
	bool alone = true, units_only = true;
	*out = (struct heading){ 0 };
	(void)snprintf(out->text, sizeof out->text, "%.*s", (int)sizeof out->text - 1, text);
	cut(out->text, &w);
	for (size_t i = 0; i < w.n; i++) {
		sort[i] = sorts_of(w.word[i].folded);
		/* `h` and `m` are units of time, `h` also short for humidity */
		if (strcmp(w.word[i].folded, "h") == 0)
			sort[i] = w.n > 1 && i == 0 ? SORT_RH : SORT_UNIT;
		/* `min` beside a quantity is the least value, not a minute */
		if (sort[i] & SORT_EXTREME)
			sort[i] = SORT_EXTREME;
		all |= sort[i];
	}
	const unsigned unit = SORT_PERCENT | SORT_C | SORT_F | SORT_UNIT | SORT_FRACTION;
	for (size_t i = 0; i < w.n; i++) {
		const char *f = w.word[i].folded;
		bool rh_unit = (strcmp(f, "rh") == 0 && (all & SORT_PERCENT)) ||
			       strcmp(f, "utc") == 0 || strcmp(f, "gmt") == 0;
		alone = alone && (sort[i] & (unit | SORT_FILLER));
		units_only = units_only && ((sort[i] & unit) || rh_unit);
	}
	out->role = role_of(all, alone && w.n > 0);
	out->unit = unit_of(out->role, all);
	out->named = (all & (SORT_RH | SORT_TEMP | SORT_TIME | SORT_T)) != 0;
	out->extreme = (all & SORT_EXTREME) != 0;
	out->units_only = units_only && w.n > 0;
	make_tag(&w, sort, out);
	if (out->role == HEADING_RH && strcmp(out->tag, "0 1") == 0) { /* `RH (0-1)` */
		out->unit = UNIT_FRACTION;
		out->tag[0] = '\0';
	}
}

bool heading_same(const char *a, const char *b)
{
	struct words x, y;
	cut(a, &x);
	cut(b, &y);
	bool same = x.n == y.n;
	for (size_t i = 0; same && i < x.n; i++)
		same = strcmp(x.word[i].folded, y.word[i].folded) == 0;
	return same && (x.n > 0 || strcmp(a, b) == 0);
}
