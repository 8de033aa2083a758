/* make_letter DIR COUNT: random letters as DIR/N.eml with what went in as N.NAME for NAME in from_name, to_name, subject, text,
 * calendar; SEED repeats a run. Read by test_letter.py. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/letter.h"

static uint64_t seed = 20261126;

static uint64_t next(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

/* Words of letters, marks and characters of two to four octets, single blanks between them. */
static void random_words(char *buf, size_t most, bool ascii, bool lines)
{
	static const char *const odd[] = { "\xc3\xa9", "\xe6\xb8\xaf", "\xf0\x9f\x8e\xb8",
		"\xcf\x80", "\xd9\x85", "=", "?", "=?", "\"", "\\", "<", ">", ",", ";", ":", "@",
		"(", ".", "_", "From", "=20" };
	size_t n = 0;
	for (size_t words = next() % 12; words > 0; words--) {
		size_t letters = next() % (next() % 20 ? 9 : 90) + 1;
		for (; letters > 0 && n + 8 < most; letters--) {
			const char *mark = odd[next() % (sizeof odd / sizeof odd[0])];
			if (next() % 4 || (ascii && (unsigned char)*mark > 126))
				n += (size_t)snprintf(buf + n, 2, "%c", (int)('a' + next() % 26));
			else
				n += (size_t)snprintf(buf + n, 6, "%s", mark);
		}
		if (words > 1 && n + 8 < most)
			n += (size_t)snprintf(
				buf + n, 2, "%s", lines && next() % 3 == 0 ? "\n" : " ");
	}
	while (n && (buf[n - 1] == ' ' || buf[n - 1] == '\n'))
		n--;
	buf[n] = '\0';
}

static bool write_file(
	const char *folder, unsigned long i, const char *name, const char *bytes, size_t n)
{
	char path[1000];
	(void)snprintf(path, sizeof path, "%s/%lu.%s", folder, i, name);
	FILE *f = fopen(path, "wb");
	bool good = f && fwrite(bytes, 1, n, f) == n;
	return f && fclose(f) == 0 && good;
}

static bool make_one(const char *folder, unsigned long i)
{
	char from_name[80], to_name[80], subject[200], text[3000], calendar[2000];
	char id[LETTER_ID_SIZE], *bytes = NULL;
	size_t len = 0;
	bool ascii = next() % 3 == 0;
	random_words(from_name, sizeof from_name, ascii, false);
	random_words(to_name, sizeof to_name, ascii, false);
	random_words(subject, sizeof subject, ascii, false);
	random_words(text, sizeof text, ascii, true);
	random_words(calendar, sizeof calendar, false, true);
	const struct letter_parts l = {
		.from = "bench@bench.example",
		.from_name = from_name,
		.to = next() % 2 ? "a@b.example"
				 : "a-rather-long-name+with-more-of-it@harbour-and-quay.school."
				   "example",
		.to_name = to_name,
		.subject = subject,
		.text = text,
		.message_id = id,
		.date_s = (int64_t)(next() % 4000000000),
		.can_stop = next() % 2,
		.calendar = next() % 2 ? calendar : NULL,
		.calendar_n = strlen(calendar),
		.method = "REQUEST",
	};
	char date[32];
	(void)snprintf(date, sizeof date, "%" PRId64, l.date_s);
	bool good = letter_id(l.from, id, NULL) == RC_OK &&
		    letter_write(&l, &bytes, &len, NULL) == RC_OK &&
		    write_file(folder, i, "eml", bytes, len) &&
		    write_file(folder, i, "from_name", from_name, strlen(from_name)) &&
		    write_file(folder, i, "to_name", to_name, strlen(to_name)) &&
		    write_file(folder, i, "to", l.to, strlen(l.to)) &&
		    write_file(folder, i, "subject", subject, strlen(subject)) &&
		    write_file(folder, i, "text", text, strlen(text)) &&
		    write_file(folder, i, "date", date, strlen(date)) &&
		    write_file(folder, i, "id", id, strlen(id)) &&
		    (!l.calendar || write_file(folder, i, "calendar", calendar, strlen(calendar)));
	mem_free(bytes);
	return good;
}

int main(int argc, char **argv)
{
	const char *own = getenv("SEED");
	if (argc != 3)
		return 64;
	if (own)
		seed = strtoull(own, NULL, 10) | 1;
	for (unsigned long i = 0; i < strtoul(argv[2], NULL, 10); i++)
		if (!make_one(argv[1], i))
			return 1;
	return 0;
}
