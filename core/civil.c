#include "civil.h"

int64_t civil_floor(int64_t a, int64_t b)
{
	return a / b - (a % b < 0);
}

int64_t civil_days(int year, int month, int day)
{
	int64_t y = month <= 2 ? year - 1 : year;
	int64_t era = civil_floor(y, 400);
	int64_t yoe = y - era * 400;
	int64_t doy = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
	int64_t doe = yoe * 365 + yoe / 4 - yoe / 100 + doy;
	return era * 146097 + doe - 719468;
}

bool civil_valid(const struct civil *c)
{
	static const int len[] = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };
	if (c->year < -9999 || c->year > 9999 || c->month < 1 || c->month > 12 || c->day < 1)
		return false;
	bool leap = (c->year % 4 == 0 && c->year % 100 != 0) || c->year % 400 == 0;
	int last = len[c->month - 1] + (c->month == 2 && leap);
	return c->day <= last && c->hour >= 0 && c->hour <= 23 && c->minute >= 0 &&
	       c->minute <= 59 && c->second >= 0 && c->second <= 59;
}

int64_t civil_seconds(const struct civil *c)
{
	return civil_days(c->year, c->month, c->day) * DAY_S + c->hour * HOUR_S + c->minute * 60 +
	       c->second;
}

struct civil civil_at(int64_t seconds)
{
	int64_t days = civil_floor(seconds, DAY_S);
	int64_t rest = seconds - days * DAY_S;
	int64_t z = days + 719468;
	int64_t era = civil_floor(z, 146097);
	int64_t doe = z - era * 146097;
	int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
	int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
	int64_t mp = (5 * doy + 2) / 153;
	int month = (int)(mp < 10 ? mp + 3 : mp - 9);
	return (struct civil){
		.year = (int)(yoe + era * 400 + (month <= 2)),
		.month = month,
		.day = (int)(doy - (153 * mp + 2) / 5 + 1),
		.hour = (int)(rest / 3600),
		.minute = (int)(rest / 60 % 60),
		.second = (int)(rest % 60),
	};
}
