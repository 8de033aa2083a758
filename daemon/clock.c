#include "daemon/clock.h"

#include <time.h>

#include "core/civil.h"

static int64_t ms_of(clockid_t id)
{
	struct timespec t = { 0 };
	(void)clock_gettime(id, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static int64_t real_wall_ms(const struct clock *c)
{
	(void)c;
	return ms_of(CLOCK_REALTIME);
}

static struct mono real_mono(const struct clock *c)
{
	(void)c;
	return (struct mono){ ms_of(CLOCK_MONOTONIC) };
}

static int64_t virtual_wall_ms(const struct clock *c)
{
	return c->offset_ms + c->gone_ms;
}

static struct mono virtual_mono(const struct clock *c)
{
	return (struct mono){ c->gone_ms };
}

struct clock clock_real(void)
{
	return (struct clock){ .wall_ms = real_wall_ms, .mono = real_mono };
}

struct clock clock_virtual(int64_t start_s)
{
	return (struct clock){
		.wall_ms = virtual_wall_ms,
		.mono = virtual_mono,
		.jumps = true,
		.offset_ms = start_s * 1000,
	};
}

void clock_jump(struct clock *c, int64_t ms)
{
	c->gone_ms += ms;
}

int64_t clock_now_s(const struct clock *c)
{
	return civil_floor(c->wall_ms(c), 1000);
}
