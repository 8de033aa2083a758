/* Fourteen months of readings of an invented bench: a heated room and two cases in it, written as three loggers
 * would export them, with the faults loggers have. Usage: make_readings FOLDER. The same bytes every time. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/civil.h"

#define PI 3.14159265358979323846

enum { HOURS = 426 * 24 };

struct air {
	double rh_pct, t_degc;
};

struct house {
	struct air room[HOURS], left[HOURS], right[HOURS];
};

static int64_t start_s(void)
{
	return civil_days(2024, 9, 1) * DAY_S;
}

/* Uniform -1..1; splitmix64, Steele et al. 2014. */
static double noise(uint64_t *state)
{
	uint64_t z = *state += 0x9e3779b97f4a7c15U;
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
	return (double)(int64_t)(z ^ (z >> 31)) / 9223372036854775808.0;
}

/* A season (driest early in February), weather with a memory of three days, a day's wave. */
static void make_room(struct house *h)
{
	uint64_t seed = 7;
	double weather = 0;
	for (int i = 0; i < HOURS; i++) {
		double year = 2 * PI * (i / 24.0 + 244 - 38) / 365.25; /* 0 on 7 February */
		weather += -weather / 72 + 0.9 * noise(&seed);
		h->room[i].rh_pct =
			46 - 17 * cos(year) + weather + 1.5 * cos(2 * PI * (i % 24 - 6) / 24.0);
		h->room[i].t_degc = 20.5 - 1.5 * cos(year) +
				    1.0 * cos(2 * PI * (i % 24 - 15) / 24.0) + 0.1 * noise(&seed);
	}
}

/* A case follows its room by a lag; the left one is kept up by a humidifier that ran dry from January to March. */
static void make_cases(struct house *h)
{
	double left = 50, right = 56;
	for (int i = 0; i < HOURS; i++) {
		int day = i / 24;
		double kept = day > 130 && day < 205 ? 0 : 0.02;
		left += (h->room[i].rh_pct - left) / 60 + kept * (48 - left);
		right += (h->room[i].rh_pct - right) / 100;
		h->left[i] = (struct air){ left, h->room[i].t_degc - 0.3 };
		h->right[i] = (struct air){ right, h->room[i].t_degc - 0.3 };
	}
}

static FILE *open_file(const char *folder, const char *name)
{
	char path[512];
	(void)snprintf(path, sizeof path, "%s/%s", folder, name);
	FILE *f = fopen(path, "w");
	if (!f) {
		perror(path);
		exit(1);
	}
	return f;
}

static struct civil hour_at(int i)
{
	return civil_at(start_s() + i * HOUR_S);
}

/* Semicolons, decimal comma, day first, a preamble; silent for twelve days in May. */
static void write_room(const struct house *h, const char *folder)
{
	FILE *f = open_file(folder, "room.csv");
	(void)fprintf(f, "Export of device 0413\nInterval;1 h\nTime zone;UTC\n\nDate;Time;Humidity "
			 "[%%];Temperature [\xc2\xb0"
			 "C];Battery\n");
	for (int i = 0; i < HOURS; i++) {
		struct civil c = hour_at(i);
		if (i / 24 >= 250 && i / 24 < 262)
			continue;
		int rh = (int)lround(h->room[i].rh_pct * 10),
		    t = (int)lround(h->room[i].t_degc * 10);
		(void)fprintf(f, "%02d.%02d.%04d;%02d:%02d;%d,%d;%d,%d;ok\n", c.day, c.month,
			c.year, c.hour, c.minute, rh / 10, rh % 10, t / 10, t % 10);
	}
	(void)fclose(f);
}

/* ISO times with Z, degF; a spike of 99 % in November. */
static void write_left(const struct house *h, const char *folder)
{
	FILE *f = open_file(folder, "case-left.csv");
	(void)fprintf(f, "timestamp,temperature (\xc2\xb0"
			 "F),relative humidity (%%)\n");
	for (int i = 0; i < HOURS; i++) {
		struct civil c = hour_at(i);
		double rh = i == 70 * 24 + 11 ? 99.0 : h->left[i].rh_pct;
		(void)fprintf(f, "%04d-%02d-%02dT%02d:%02d:00Z,%.1f,%.1f\n", c.year, c.month, c.day,
			c.hour, c.minute, h->left[i].t_degc * 1.8 + 32, rh);
	}
	(void)fclose(f);
}

/* Month names, 12-hour clock, tabs; the element stuck for six days in March. */
static void write_right(const struct house *h, const char *folder)
{
	static const char *const months[] = { "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul",
		"Aug", "Sep", "Oct", "Nov", "Dec" };
	FILE *f = open_file(folder, "case-right.txt");
	(void)fprintf(f, "No.\tTime (UTC)\tRH (%%)\tTemp (\xc2\xb0"
			 "C)\n");
	for (int i = 0; i < HOURS; i++) {
		struct civil c = hour_at(i);
		int k = i / 24 >= 190 && i / 24 < 196 ? 190 * 24 : i;
		int hour = c.hour % 12 ? c.hour % 12 : 12;
		(void)fprintf(f, "%d\t%s %d, %d %d:%02d %s\t%.1f\t%.1f\n", i + 1,
			months[c.month - 1], c.day, c.year, hour, c.minute,
			c.hour < 12 ? "AM" : "PM", h->right[k].rh_pct, h->right[k].t_degc);
	}
	(void)fclose(f);
}

int main(int argc, char **argv)
{
	static struct house house;
	if (argc != 2) {
		(void)fputs("usage: make_readings FOLDER\n", stderr);
		return 64;
	}
	make_room(&house);
	make_cases(&house);
	write_room(&house, argv[1]);
	write_left(&house, argv[1]);
	write_right(&house, argv[1]);
	return 0;
}
