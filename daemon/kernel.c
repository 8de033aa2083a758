#include "daemon/kernel.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/number.h"
#include "daemon/settings.h"

/* Method: both families look alike: a folder with a `name`, and channels that are files with a
 * common stem (humidity1, in_humidityrelative) and an ending (_input, or _raw, _offset, _scale). So
 * one search and one way of reading serve both; a family is a row of names. */

enum { FOLDER_MAX = 512, STEM_MAX = 32, LIST_MAX = 200, CHANNELS_MAX = 10 };

static const struct family {
	const char *folder; /* below the root */
	const char *rh; /* stems less their number */
	const char *temp;
} families[] = {
	{ "class/hwmon", "humidity", "temp" },
	{ "bus/iio/devices", "in_humidityrelative", "in_temp" },
};

/* A humidity channel that fits. */
struct channel {
	char folder[FOLDER_MAX];
	char rh[STEM_MAX];
	char temp[STEM_MAX]; /* "": none */
};

struct search {
	const struct kernel_at *where;
	size_t n; /* how many fit */
	struct channel fits[2]; /* the first two of them */
	char others[LIST_MAX]; /* names of chips that have humidity */
};

/* ---- small files ---- */

static int file_text(const char *path, char *buf, size_t n)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	if (fd < 0)
		return errno;
	ssize_t got = read(fd, buf, n - 1);
	int failed = got < 0 ? errno : 0;
	(void)close(fd);
	buf[got > 0 ? got : 0] = '\0';
	return failed;
}

/* The text of folder/stem+ending without its line end; 0 or errno. */
static int text_of(const struct kernel_at *where, const char *folder, const char *stem,
	const char *ending, char buf[KERNEL_TEXT_MAX])
{
	char path[FOLDER_MAX + 64];
	(void)snprintf(path, sizeof path, "%s/%s%s", folder, stem, ending);
	int (*text)(const char *, char *, size_t) = where->text ? where->text : file_text;
	int failed = text(path, buf, KERNEL_TEXT_MAX);
	if (failed == EAGAIN || failed == EIO || failed == ETIMEDOUT)
		failed = text(path, buf, KERNEL_TEXT_MAX);
	if (!failed)
		buf[strcspn(buf, "\n")] = '\0';
	return failed;
}

static bool is_there(const char *folder, const char *stem, const char *ending)
{
	char path[FOLDER_MAX + 64];
	(void)snprintf(path, sizeof path, "%s/%s%s", folder, stem, ending);
	return access(path, F_OK) == 0;
}

static bool is_channel(const char *folder, const char *stem)
{
	return is_there(folder, stem, "_input") || is_there(folder, stem, "_raw");
}

/* ---- finding ---- */

/* The last name of the real path of folder/below: hwmon2/device leads to 1-0044. */
static void device_name(const char *folder, const char *below, char *buf, size_t n)
{
	char path[FOLDER_MAX + 16];
	(void)snprintf(path, sizeof path, "%s/%s", folder, below);
	char *real = realpath(path, NULL);
	const char *last = real ? strrchr(real, '/') : NULL;
	(void)snprintf(buf, n, "%s", last ? last + 1 : "");
	free(real);
}

/* The device a chip's folder belongs to: hwmon links to it, IIO folders lie in it. */
static void device_behind(const char *folder, char *buf, size_t n)
{
	device_name(folder, is_there(folder, "device", "") ? "device" : "..", buf, n);
}

static bool label_fits(const struct kernel_at *where, const char *folder, const char *stem)
{
	char text[KERNEL_TEXT_MAX];
	if (!where->label[0])
		return true;
	if (text_of(where, folder, stem, "_label", text) == 0 && strcmp(text, where->label) == 0)
		return true;
	if (text_of(where, folder, "label", "", text) == 0 && strcmp(text, where->label) == 0)
		return true;
	device_behind(folder, text, sizeof text);
	return strcmp(text, where->label) == 0;
}

/* Stem with number i: the first IIO channel has none, as in in_temp. */
static void stem_of(char buf[STEM_MAX], const char *stem, int i)
{
	if (i < 0)
		(void)snprintf(buf, STEM_MAX, "%s", stem);
	else
		(void)snprintf(buf, STEM_MAX, "%s%d", stem, i);
}

/* The temperature that belongs to humidity channel i: the one of its number, else the first. */
static void find_temp(struct channel *c, const struct family *f, int i)
{
	static const int first[] = { -1, 0, 1 };
	stem_of(c->temp, f->temp, i);
	for (size_t k = 0; k < sizeof first / sizeof first[0] && !is_channel(c->folder, c->temp);
		k++)
		stem_of(c->temp, f->temp, first[k]);
	if (!is_channel(c->folder, c->temp))
		c->temp[0] = '\0';
}

static void look_into(
	struct search *s, const struct family *f, const char *folder, const char *name)
{
	bool named = strcmp(name, s->where->chip) == 0;
	bool humid = false;
	for (int i = -1; i < CHANNELS_MAX; i++) {
		struct channel c;
		(void)snprintf(c.folder, sizeof c.folder, "%s", folder);
		stem_of(c.rh, f->rh, i);
		if (!is_channel(folder, c.rh))
			continue;
		humid = true;
		if (!named || !label_fits(s->where, folder, c.rh))
			continue;
		find_temp(&c, f, i);
		if (s->n < 2)
			s->fits[s->n] = c;
		s->n++;
	}
	size_t used = strlen(s->others);
	if (humid && used + 4 < sizeof s->others)
		(void)snprintf(s->others + used, sizeof s->others - used, "%s\"%.32s\"",
			used ? ", " : "", name);
}

static int not_dotted(const struct dirent *e)
{
	return e->d_name[0] != '.';
}

/* Chips in name order, so that what is said of two of them is the same each time. */
static void search_family(struct search *s, const struct family *f)
{
	char folder[FOLDER_MAX];
	struct dirent **entries = NULL;
	(void)snprintf(folder, sizeof folder, "%s/%s", s->where->root, f->folder);
	int n = scandir(folder, &entries, not_dotted, alphasort);
	for (int i = 0; i < n; i++) {
		char chip[FOLDER_MAX];
		char name[KERNEL_TEXT_MAX];
		int len = snprintf(chip, sizeof chip, "%s/%s", folder, entries[i]->d_name);
		free(entries[i]);
		if (len < (int)sizeof chip && text_of(s->where, chip, "name", "", name) == 0)
			look_into(s, f, chip, name);
	}
	free(entries);
}

static enum rc two_fit(const struct search *s, struct err *err)
{
	char behind[2][KERNEL_TEXT_MAX];
	for (size_t i = 0; i < 2; i++)
		device_behind(s->fits[i].folder, behind[i], sizeof behind[i]);
	const struct channel *a = &s->fits[0], *b = &s->fits[1];
	return err_set(err, RC_ASK,
		"chip \"%s\": %zu fit: %s/%s (device %s) and %s/%s (device %s): set label to the "
		"text of a label "
		"file or to the device of the one that is meant",
		s->where->chip, s->n, a->folder, a->rh, behind[0], b->folder, b->rh, behind[1]);
}

static enum rc find(const struct kernel_at *where, struct channel *out, struct err *err)
{
	struct search s = { .where = where };
	for (size_t i = 0; i < sizeof families / sizeof families[0]; i++)
		search_family(&s, &families[i]);
	if (s.n > 1)
		return two_fit(&s, err);
	if (s.n == 0)
		return err_set(err, RC_UNKNOWN,
			"chip \"%s\"%s%s%s: not below %s: humidity chips there: %s", where->chip,
			where->label[0] ? " with label \"" : "", where->label,
			where->label[0] ? "\"" : "", where->root, s.others[0] ? s.others : "none");
	*out = s.fits[0];
	return RC_OK;
}

/* ---- reading ---- */

static enum rc read_failed(
	const char *folder, const char *stem, const char *ending, int failed, struct err *err)
{
	if (failed == ENODATA)
		return err_set(err, RC_IO, "%s/%s%s: switched off: write 1 to %s_enable", folder,
			stem, ending, stem);
	return err_set(err, RC_IO, "%s/%s%s: %s", folder, stem, ending, strerror(failed));
}

/* A number file. A missing one is no error unless it must be there: *out stays. */
static enum rc number_of(const struct kernel_at *where, const char *folder, const char *stem,
	const char *ending, bool must, double *out, struct err *err)
{
	char text[KERNEL_TEXT_MAX];
	int failed = text_of(where, folder, stem, ending, text);
	if (failed == ENOENT && !must)
		return RC_OK;
	if (failed)
		return read_failed(folder, stem, ending, failed, err);
	if (!number_real(text, out))
		return err_set(err, RC_INPUT, "%s/%s%s: \"%.24s\": a decimal number is expected",
			folder, stem, ending, text);
	return RC_OK;
}

/* A channel's value as its driver gives it; *scaled: it came through raw, offset and scale. */
static enum rc value_of(const struct kernel_at *where, const struct channel *c, const char *stem,
	double *value, bool *scaled, struct err *err)
{
	double raw = 0, offset = 0, scale = 1;
	enum rc rc;
	*scaled = !is_there(c->folder, stem, "_input");
	if (!*scaled)
		return number_of(where, c->folder, stem, "_input", true, value, err);
	if ((rc = number_of(where, c->folder, stem, "_raw", true, &raw, err)) != RC_OK ||
		(rc = number_of(where, c->folder, stem, "_offset", false, &offset, err)) != RC_OK ||
		(rc = number_of(where, c->folder, stem, "_scale", false, &scale, err)) != RC_OK)
		return rc;
	*value = (raw + offset) * scale;
	return RC_OK;
}

/* Thousandths of a percent out of what the driver gives, or the refusal that names the setting. */
static enum rc in_milli(const struct kernel_at *where, const struct channel *c, double value,
	double *milli, struct err *err)
{
	bool percent = where->unit == KERNEL_PERCENT;
	if (!percent && value > 0 && value <= KERNEL_SMALL)
		return err_set(err, RC_ASK,
			"%s/%s: %g would be %g %% RH: when this driver gives percent, set unit = "
			"\"percent\"",
			c->folder, c->rh, value, value / 1000);
	if (percent && value > KERNEL_SMALL)
		return err_set(err, RC_ASK,
			"%s/%s: %g is no percentage: when this driver keeps to the kernel's rules, "
			"set unit = \"milli\"",
			c->folder, c->rh, value);
	*milli = percent ? value * 1000 : value;
	return RC_OK;
}

static enum rc check_range(const struct channel *c, const char *stem, double milli, double low,
	double high, const char *unit, struct err *err)
{
	if (milli >= low * 1000 && milli <= high * 1000)
		return RC_OK;
	return err_set(err, RC_INPUT, "%s/%s: %g %s (%g..%g): a fault of chip or bus", c->folder,
		stem, milli / 1000, unit, low, high);
}

static enum rc read_temp(
	const struct kernel_at *where, const struct channel *c, int32_t *cdegc, struct err *err)
{
	double value = 0;
	bool scaled;
	enum rc rc = value_of(where, c, c->temp, &value, &scaled, err);
	if (rc != RC_OK)
		return rc;
	double milli = where->unit == KERNEL_PERCENT && scaled ? value * 1000 : value;
	rc = check_range(c, c->temp, milli, -40, 125, "degC", err);
	if (rc == RC_OK)
		*cdegc = (int32_t)lround(milli / 10);
	return rc;
}

enum rc kernel_read(
	const struct kernel_at *where, int64_t now_s, struct quality_reading *out, struct err *err)
{
	struct channel c;
	double value = 0, milli = 0;
	bool scaled;
	struct quality_reading r = { .t_s = now_s, .temp_cdegc = QUALITY_NO_TEMP };
	enum rc rc;
	if ((rc = find(where, &c, err)) != RC_OK ||
		(rc = value_of(where, &c, c.rh, &value, &scaled, err)) != RC_OK ||
		(rc = in_milli(where, &c, value, &milli, err)) != RC_OK ||
		(rc = check_range(&c, c.rh, milli, -5, 105, "% RH", err)) != RC_OK)
		return rc;
	r.rh_cpct = (int32_t)lround(milli / 10);
	if (c.temp[0] && (rc = read_temp(where, &c, &r.temp_cdegc, err)) != RC_OK)
		return rc;
	*out = r;
	return RC_OK;
}
