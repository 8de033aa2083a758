#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/civil.h"
#include "daemon/phrase.h"

/* Forms of days, numbers and units: Unicode CLDR, its charts "Date & Time" and "Units" of the languages named. Which
 * blanks do not break differs between its versions, so all are taken for one. What is shown without a language is what units.h says. */

static struct zone *berlin;

static int begin(void **state)
{
	struct err err = { 0 };
	(void)state;
	OK(zone_new("Europe/Berlin", &berlin, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	zone_free(berlin);
	phrase_done();
	return 0;
}

/* U+00A0 and U+202F. */
static void plain_blanks(char *text)
{
	static const char *const blanks[] = { "\302\240", "\342\200\257" };
	for (size_t i = 0; i < COUNT(blanks); i++) {
		size_t n = strlen(blanks[i]);
		for (char *at = strstr(text, blanks[i]); at; at = strstr(at, blanks[i])) {
			*at = ' ';
			memmove(at + 1, at + n, strlen(at + n) + 1);
		}
	}
}

static void shows(const char *text, enum bench_units units, const char *language, const char *want)
{
	char got[PHRASE_SIZE];
	phrase_show(text, units, language, berlin, got, sizeof got);
	plain_blanks(got);
	assert_string_equal(got, want);
}

static void without_a_language_numbers_are_as_written_and_days_are_iso(void **state)
{
	(void)state;
	shows("mean {pct 42.3} RH at {degc -20.50}, {n 0.985} x, {pct +1.2}, {n 40}-{pct 55}",
		BENCH_MM, "", "mean 42.3 % RH at -20.50 degC, 0.985 x, +1.2 %, 40-55 %");
	shows("{pa 1013} {mm 0.02} {h 48} {days 75} {min 3.5}", BENCH_INCH, "",
		"1013 Pa 0.02 mm 48 h 75 days 3.5 min");
	/* 2025-12-31T23:30:00Z is the next year's first half hour in Berlin */
	shows("{day 1767223800} {minute 1767223800}", BENCH_MM, "", "2026-01-01 2026-01-01 00:30");
	shows("{day -86400}", BENCH_MM, "", "1969-12-31");
}

static void lengths_come_in_the_units_asked_for(void **state)
{
	(void)state;
	/* 0.254 mm is ten thousandths of an inch exactly */
	shows("{gap 0.000254} {change 2.54e-05} {height 0.002381} {rise 0.00039687}", BENCH_INCH,
		"", "0.010 in 1.0 thou 6/64 in 1.0/64 in");
	shows("{gap 0.000254} {change 2.54e-05} {height 0.002381} {rise 0.00039687}", BENCH_MM, "",
		"0.25 mm 0.03 mm 2.4 mm 0.40 mm");
	shows("{turns 0.166666667} {turns 1.5} {turns 0}", BENCH_MM, "",
		"1/6 turn 1 1/2 turns no turn");
}

static void languages_show_days_numbers_and_units_their_way(void **state)
{
	(void)state;
	shows("{day 1767322800}", BENCH_MM, "de", "2. Januar 2026");
	shows("{day 1767322800}", BENCH_MM, "de-AT", "2. J\303\244nner 2026");
	shows("{day 1767322800}", BENCH_MM, "fr-CA", "2 janvier 2026");
	shows("{day 1767322800}", BENCH_MM, "en-US", "January 2, 2026");
	shows("{day 1767322800}", BENCH_MM, "en-GB", "2 January 2026");
	shows("{minute 1767322800}", BENCH_MM, "de", "2. Januar 2026 um 04:00");
	shows("{pct 42.3} {degc 20.5} {n 0.985} {mm 0.02}", BENCH_MM, "de",
		"42,3 % 20,5 \302\260C 0,985 0,02 mm");
	shows("{pct 42.3} {degc 20.5}", BENCH_MM, "en-US", "42.3% 20.5\302\260C");
	shows("{pct +1.2} {days 75} {h 48} {min 1.5}", BENCH_MM, "de",
		"+1,2 % 75 Tage 48 Stunden 1,5 Minuten");
	shows("{gap 0.000254} {change 2.54e-05} {height 0.002381}", BENCH_MM, "de",
		"0,25 mm 0,03 mm 2,4 mm");
	shows("{gap 0.000254} {change 2.54e-05} {height 0.0021828} {turns 0.166666667}", BENCH_INCH,
		"de", "0,010 in 1,0 thou 5,5/64 in 1/6 turn");
}

/* Decimals are what the writer wrote: 20 is not 20,0 and 20.50 not 20,5. */
static void decimals_stay(void **state)
{
	(void)state;
	shows("{n 20} {n 20.50} {n -0.5} {n 1234.5}", BENCH_MM, "de", "20 20,50 -0,5 1.234,5");
}

static void what_is_no_token_stays_as_it_is(void **state)
{
	(void)state;
	const char *const plain[] = { "driest about 2025-02-28; gap 0.02 mm, about 1/24 turn",
		"a } b", "{Room} 3", "{nothing 3}", "{n}", "{n x}", "{day 99999999999999}", "{}",
		"{gap 1 2}", "{12345678901234567890123456789012345678901234567890 5}", "\303\244" };
	for (size_t i = 0; i < COUNT(plain); i++) {
		shows(plain[i], BENCH_MM, "", plain[i]);
		shows(plain[i], BENCH_MM, "de", plain[i]);
	}
	shows("{{n 3}", BENCH_MM, "de", "{n 3}");
	shows("in {pct nan}", BENCH_MM, "de", "in unknown");
}

static void what_was_cut_off_is_left_out(void **state)
{
	(void)state;
	shows("mean {pct 42.", BENCH_MM, "", "mean ");
	shows("mean {pct 42.1}, {", BENCH_MM, "", "mean 42.1 %, {");
	char small[12];
	phrase_show("mean \303\244\303\244\303\244\303\244\303\244", BENCH_MM, "", berlin, small,
		sizeof small);
	assert_string_equal(small, "mean \303\244\303\244\303\244");
	phrase_show("mean {pct 42.123}", BENCH_MM, "", berlin, small, sizeof small);
	assert_string_equal(small, "mean ");
}

static void a_quoted_text_comes_back(void **state)
{
	(void)state;
	const char *const texts[] = { "{n 3}", "{{", "a{b}c", "", "{" };
	for (size_t i = 0; i < COUNT(texts); i++) {
		char quoted[64], got[64];
		phrase_quote(texts[i], quoted, sizeof quoted);
		phrase_show(quoted, BENCH_MM, "de", berlin, got, sizeof got);
		assert_string_equal(got, texts[i]);
	}
}

/* Tags: RFC 5646 2.1; which languages there are: CLDR as ICU brings it. */
static void a_language_is_a_tag_that_icu_knows(void **state)
{
	(void)state;
	const char *const good[] = { "", "de", "fr-CA", "en-GB", "zh-Hant-TW", "de-CH-1996",
		"ar-u-nu-latn" };
	const char *const bad[] = { "xx", "german", "de_DE", "de-", "tlh", "Deutsch!", "d" };
	for (size_t i = 0; i < COUNT(good); i++)
		assert_true(phrase_language(good[i]));
	for (size_t i = 0; i < COUNT(bad); i++)
		assert_false(phrase_language(bad[i]));
	shows("{n 1.5}", BENCH_MM, "ar-u-nu-latn", "1.5");
}

/* More languages than are kept, and again after everything was given back. */
static void more_languages_than_are_kept_are_shown_plain(void **state)
{
	(void)state;
	phrase_done();
	for (int i = 0; i < 2 * PHRASE_LANGUAGES_MAX; i++) {
		char tag[32];
		(void)snprintf(tag, sizeof tag, "de-x-%d", i);
		shows("{n 1.5}", BENCH_MM, tag, i < PHRASE_LANGUAGES_MAX ? "1,5" : "1.5");
	}
	phrase_done();
	shows("{n 1.5}", BENCH_MM, "de", "1,5");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(without_a_language_numbers_are_as_written_and_days_are_iso),
		cmocka_unit_test(lengths_come_in_the_units_asked_for),
		cmocka_unit_test(languages_show_days_numbers_and_units_their_way),
		cmocka_unit_test(decimals_stay),
		cmocka_unit_test(what_is_no_token_stays_as_it_is),
		cmocka_unit_test(what_was_cut_off_is_left_out),
		cmocka_unit_test(a_quoted_text_comes_back),
		cmocka_unit_test(a_language_is_a_tag_that_icu_knows),
		cmocka_unit_test(more_languages_than_are_kept_are_shown_plain),
	};
	return cmocka_run_group_tests(tests, begin, end);
}
