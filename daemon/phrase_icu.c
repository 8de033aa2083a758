#include "daemon/phrase_icu.h"

#include <stdio.h>
#include <string.h>
#include <unicode/uclean.h>
#include <unicode/udat.h>
#include <unicode/uloc.h>
#include <unicode/unumberformatter.h>
#include <unicode/ustring.h>

#include "daemon/phrase.h"

enum { TAG = 32, LOCALE = 64, TEXT = 160, SIGNS = 2 };

/* Opening is slow, so each is kept once it was used. */
struct language {
	char tag[TAG];
	char locale[LOCALE];
	UDateFormat *dates[2]; /* day, minute */
	UNumberFormatter *numbers[PHRASE_UNITS][PHRASE_DECIMALS_MAX + 1][SIGNS];
};

static struct {
	struct language at[PHRASE_LANGUAGES_MAX];
	size_t n;
	UFormattedNumber *result;
	bool used;
} kept;

static bool locale_of(const char *tag, char *locale)
{
	UErrorCode e = U_ZERO_ERROR;
	int32_t parsed = 0;
	kept.used = true;
	int32_t n = uloc_forLanguageTag(tag, locale, LOCALE, &parsed, &e);
	return U_SUCCESS(e) && e != U_STRING_NOT_TERMINATED_WARNING && n > 0 &&
	       parsed == (int32_t)strlen(tag);
}

/* NULL: no language, or too many. */
static struct language *language_of(const char *tag)
{
	for (size_t i = 0; i < kept.n; i++)
		if (strcmp(kept.at[i].tag, tag) == 0)
			return &kept.at[i];
	if (kept.n == PHRASE_LANGUAGES_MAX || strlen(tag) >= TAG)
		return NULL;
	struct language *l = &kept.at[kept.n];
	if (!locale_of(tag, l->locale))
		return NULL;
	memcpy(l->tag, tag, strlen(tag) + 1);
	kept.n++;
	return l;
}

static bool to_utf8(const UChar *text, int32_t n, char *buf, size_t size)
{
	UErrorCode e = U_ZERO_ERROR;
	int32_t len = 0;
	(void)u_strToUTF8(buf, (int32_t)size - 1, &len, text, n, &e);
	if (U_FAILURE(e) || len >= (int32_t)size)
		return false;
	buf[len] = '\0';
	return true;
}

/* ---- numbers ---- */

/* Times in full: an abbreviation's point would meet that of the sentence. */
static const char *const stems[PHRASE_UNITS] = {
	[PHRASE_PLAIN] = "",
	[PHRASE_PERCENT] = "percent ",
	[PHRASE_CELSIUS] = "unit/celsius unit-width-short ",
	[PHRASE_PASCAL] = "unit/pascal unit-width-short ",
	[PHRASE_MM] = "unit/millimeter unit-width-short ",
	[PHRASE_INCH] = "unit/inch unit-width-short ",
	[PHRASE_HOURS] = "unit/hour unit-width-full-name ",
	[PHRASE_DAYS] = "unit/day unit-width-full-name ",
	[PHRASE_MINUTES] = "unit/minute unit-width-full-name ",
};
static const char *const precisions[PHRASE_DECIMALS_MAX + 1] = { "precision-integer", ".0", ".00",
	".000" };

static UNumberFormatter *formatter(
	struct language *l, enum phrase_unit unit, int decimals, bool with_sign)
{
	UNumberFormatter **f = &l->numbers[unit][decimals][with_sign];
	if (*f)
		return *f;
	UErrorCode e = U_ZERO_ERROR;
	char skeleton[TEXT];
	UChar wide[TEXT];
	(void)snprintf(skeleton, sizeof skeleton, "%s%s rounding-mode-half-even%s", stems[unit],
		precisions[decimals], with_sign ? " sign-always" : "");
	u_uastrcpy(wide, skeleton);
	*f = unumf_openForSkeletonAndLocale(wide, -1, l->locale, &e);
	if (U_SUCCESS(e))
		return *f;
	unumf_close(*f);
	*f = NULL;
	return NULL;
}

bool phrase_icu_number(const char *language, enum phrase_unit unit, int decimals, bool with_sign,
	double value, char *buf, size_t size)
{
	UErrorCode e = U_ZERO_ERROR;
	UChar wide[TEXT];
	struct language *l = language_of(language);
	const UNumberFormatter *f = l ? formatter(l, unit, decimals, with_sign) : NULL;
	if (!f)
		return false;
	if (!kept.result)
		kept.result = unumf_openResult(&e);
	unumf_formatDouble(f, value, kept.result, &e);
	int32_t n = unumf_resultToString(kept.result, wide, TEXT, &e);
	return U_SUCCESS(e) && n < TEXT && to_utf8(wide, n, buf, size);
}

/* ---- days ---- */

/* The clock there is given, so ICU works in UTC and needs none of its own zones. */
static UDateFormat *date_format(struct language *l, bool with_minute)
{
	static const UChar utc[] = { 'U', 'T', 'C', 0 };
	UErrorCode e = U_ZERO_ERROR;
	UDateFormat **f = &l->dates[with_minute];
	if (*f)
		return *f;
	*f = udat_open(
		with_minute ? UDAT_SHORT : UDAT_NONE, UDAT_LONG, l->locale, utc, -1, NULL, 0, &e);
	if (U_SUCCESS(e))
		return *f;
	udat_close(*f);
	*f = NULL;
	return NULL;
}

bool phrase_icu_date(const char *language, bool with_minute, int64_t wall_s, char *buf, size_t size)
{
	UErrorCode e = U_ZERO_ERROR;
	UChar wide[TEXT];
	struct language *l = language_of(language);
	const UDateFormat *f = l ? date_format(l, with_minute) : NULL;
	if (!f)
		return false;
	int32_t n = udat_format(f, (UDate)wall_s * U_MILLIS_PER_SECOND, wide, TEXT, NULL, &e);
	return U_SUCCESS(e) && n < TEXT && to_utf8(wide, n, buf, size);
}

/* ---- languages ---- */

/* ICU shows a language it does not have in the process's own, without a word. */
bool phrase_icu_language(const char *tag)
{
	UErrorCode e = U_ZERO_ERROR;
	char locale[LOCALE], language[ULOC_LANG_CAPACITY], other[ULOC_LANG_CAPACITY];
	if (!locale_of(tag, locale))
		return false;
	(void)uloc_getLanguage(locale, language, sizeof language, &e);
	for (int32_t i = 0; U_SUCCESS(e) && i < uloc_countAvailable(); i++) {
		(void)uloc_getLanguage(uloc_getAvailable(i), other, sizeof other, &e);
		if (U_SUCCESS(e) && strcmp(language, other) == 0)
			return true;
	}
	return false;
}

static void free_language(struct language *l)
{
	udat_close(l->dates[0]);
	udat_close(l->dates[1]);
	for (int unit = 0; unit < PHRASE_UNITS; unit++)
		for (int decimals = 0; decimals <= PHRASE_DECIMALS_MAX; decimals++)
			for (int sign = 0; sign < SIGNS; sign++)
				unumf_close(l->numbers[unit][decimals][sign]);
	*l = (struct language){ 0 };
}

void phrase_icu_done(void)
{
	if (!kept.used)
		return;
	for (size_t i = 0; i < kept.n; i++)
		free_language(&kept.at[i]);
	unumf_closeResult(kept.result);
	kept.n = 0;
	kept.result = NULL;
	kept.used = false;
	u_cleanup();
}
