#include "daemon/bluez.h"

#include <assert.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/epoll.h>

#include "core/mem.h"
#include "daemon/bluez_told.h"

enum state {
	APART, /* no connection to the bus */
	IDLE, /* connected; discovery was refused, or has ended */
	ASKING, /* waiting for an answer */
	LISTENING
};

/* Messages handled in one wake, so that a busy street does not keep the others waiting. */
enum { AT_ONCE = 64, PATH_MAX_BYTES = 96 };

struct bluez {
	struct bluez_owner owner;
	char path[PATH_MAX_BYTES]; /* of the adapter */
	enum state state;
	sd_bus *bus;
	sd_bus_slot *call; /* the one waited for */
	char sender[64]; /* BlueZ's own name on this bus, "" while it is not known */
	struct timer timer; /* time-outs of the bus */
	int fd; /* watched; < 0: none */
	uint32_t events;
	int64_t now_s;
};

static void rearm(struct bluez *b);

/* ---- coming apart ---- */

static void unwatch(struct bluez *b)
{
	loop_unwatch(b->owner.loop, b->fd);
	b->fd = -1;
	loop_unset(&b->timer);
}

static void forget_call(struct bluez *b)
{
	b->call = sd_bus_slot_unref(b->call);
}

static void part(struct bluez *b)
{
	unwatch(b);
	forget_call(b);
	b->bus = sd_bus_close_unref(b->bus);
	b->state = APART;
}

/* Discovery does not run; told once for each time. */
static void fail(struct bluez *b, enum state state, const char *why)
{
	forget_call(b);
	bool news = b->state == ASKING || b->state == LISTENING;
	b->state = state;
	if (news)
		b->owner.failed(b->owner.arg, why, b->now_s);
}

static void fail_bus(struct bluez *b, int error)
{
	char why[160];
	(void)snprintf(why, sizeof why, "system bus: %s", strerror(-error));
	b->state = b->state == APART ? ASKING : b->state; /* it was asked for just now */
	fail(b, APART, why);
	part(b);
}

/* ---- who speaks ---- */

/* Any process may send us a signal; the bus puts the true name of its sender on it. */
static bool is_from(sd_bus_message *m, const char *name)
{
	const char *sender = sd_bus_message_get_sender(m);
	return sender && strcmp(sender, name) == 0;
}

static void know_bluez(struct bluez *b, const char *sender)
{
	(void)snprintf(b->sender, sizeof b->sender, "%s", sender ? sender : "");
}

/* ---- asking ---- */

static bool is_one_of(const char *name, const char *const *names)
{
	for (; *names; names++)
		if (strcmp(name, *names) == 0)
			return true;
	return false;
}

static void refused(struct bluez *b, const sd_bus_error *e)
{
	static const char *const away[] = { SD_BUS_ERROR_SERVICE_UNKNOWN,
		SD_BUS_ERROR_NAME_HAS_NO_OWNER, "org.freedesktop.DBus.Error.Disconnected",
		"org.freedesktop.systemd1.NoSuchUnit", NULL };
	static const char *const absent[] = { SD_BUS_ERROR_UNKNOWN_OBJECT,
		SD_BUS_ERROR_UNKNOWN_METHOD, SD_BUS_ERROR_UNKNOWN_INTERFACE, NULL };
	char why[320];
	const char *name = e->name ? e->name : "";
	if (is_one_of(name, away))
		(void)snprintf(why, sizeof why,
			"BlueZ does not run: it has to be installed and bluetooth.service started");
	else if (is_one_of(name, absent))
		(void)snprintf(why, sizeof why, "no adapter \"%s\"", b->owner.adapter);
	else if (strcmp(name, "org.bluez.Error.NotReady") == 0)
		(void)snprintf(why, sizeof why, "adapter \"%s\" is switched off", b->owner.adapter);
	else if (strcmp(name, SD_BUS_ERROR_ACCESS_DENIED) == 0)
		(void)snprintf(why, sizeof why,
			"the system bus lets us not talk to BlueZ: the service's user has to be in "
			"group bluetooth");
	else
		(void)snprintf(why, sizeof why, "adapter \"%s\": %.200s", b->owner.adapter,
			e->message ? e->message : name);
	fail(b, IDLE, why);
}

static int discovery_answered(sd_bus_message *m, void *arg, sd_bus_error *ignored)
{
	struct bluez *b = arg;
	(void)ignored;
	const sd_bus_error *e = sd_bus_message_get_error(m);
	if (e && !sd_bus_error_has_name(e, "org.bluez.Error.InProgress")) {
		refused(b, e);
		return 0;
	}
	forget_call(b);
	b->state = LISTENING;
	b->owner.well(b->owner.arg);
	return 0;
}

static int call_adapter(struct bluez *b, const char *method, sd_bus_message_handler_t answered,
	const char *types, ...)
{
	va_list more;
	va_start(more, types);
	sd_bus_slot *call = NULL;
	int r = sd_bus_call_method_asyncv(b->bus, &call, "org.bluez", b->path, "org.bluez.Adapter1",
		method, answered, b, types, more);
	va_end(more);
	if (r < 0)
		return r;
	forget_call(b);
	b->call = call;
	return 0;
}

static int filter_answered(sd_bus_message *m, void *arg, sd_bus_error *ignored)
{
	struct bluez *b = arg;
	(void)ignored;
	const sd_bus_error *e = sd_bus_message_get_error(m);
	know_bluez(b, sd_bus_message_get_sender(m));
	if (e) {
		refused(b, e);
		return 0;
	}
	return call_adapter(b, "StartDiscovery", discovery_answered, "");
}

static int ask(struct bluez *b)
{
	b->state = ASKING;
	return call_adapter(b, "SetDiscoveryFilter", filter_answered, "a{sv}", 2, "Transport", "s",
		"le", "DuplicateData", "b", 1);
}

/* ---- what the bus tells ---- */

/* Properties of one interface of one object. */
static int hear(struct bluez *b, sd_bus_message *m, const char *path, const char *interface)
{
	struct bluez_told t;
	uint8_t address[BTHOME_ADDRESS];
	int r = bluez_read_properties(m, &t);
	if (r < 0)
		return r;
	if (strcmp(interface, "org.bluez.Device1") == 0 && t.n > 0 &&
		bluez_device(b->path, path, address))
		b->owner.heard(b->owner.arg, address, t.bytes, t.n, b->now_s);
	if (strcmp(interface, "org.bluez.Adapter1") != 0 || strcmp(path, b->path) != 0)
		return 0;
	if (t.powered > 0 && b->state != LISTENING)
		return ask(b);
	if (t.powered == 0) {
		char why[80];
		(void)snprintf(why, sizeof why, "adapter \"%s\" is switched off", b->owner.adapter);
		fail(b, IDLE, why);
	}
	return 0;
}

/* A message of a form that we do not know says nothing; only what sending returns ends the connection. */
static int changed(sd_bus_message *m, void *arg, sd_bus_error *ignored)
{
	struct bluez *b = arg;
	const char *interface;
	(void)ignored;
	if (is_from(m, b->sender) && sd_bus_message_read(m, "s", &interface) >= 0)
		(void)hear(b, m, sd_bus_message_get_path(m), interface);
	return 0;
}

static int added(sd_bus_message *m, void *arg, sd_bus_error *ignored)
{
	struct bluez *b = arg;
	const char *path, *interface;
	(void)ignored;
	int r = is_from(m, b->sender) ? sd_bus_message_read(m, "o", &path) : -EPERM;
	if (r >= 0)
		r = sd_bus_message_enter_container(m, 'a', "{sa{sv}}");
	while (r >= 0 && sd_bus_message_enter_container(m, 'e', "sa{sv}") > 0) {
		r = sd_bus_message_read(m, "s", &interface);
		if (r >= 0)
			r = hear(b, m, path, interface);
		if (r >= 0)
			r = sd_bus_message_exit_container(m);
	}
	return 0;
}

static int removed(sd_bus_message *m, void *arg, sd_bus_error *ignored)
{
	struct bluez *b = arg;
	const char *path, *interface;
	(void)ignored;
	if (!is_from(m, b->sender) || sd_bus_message_read(m, "o", &path) < 0 ||
		strcmp(path, b->path) != 0 || sd_bus_message_enter_container(m, 'a', "s") < 0)
		return 0;
	while (sd_bus_message_read(m, "s", &interface) > 0)
		if (strcmp(interface, "org.bluez.Adapter1") == 0) {
			char why[80];
			(void)snprintf(
				why, sizeof why, "adapter \"%s\" has gone", b->owner.adapter);
			fail(b, IDLE, why);
		}
	return 0;
}

static int owner_changed(sd_bus_message *m, void *arg, sd_bus_error *ignored)
{
	struct bluez *b = arg;
	const char *name, *before, *after;
	(void)ignored;
	if (!is_from(m, "org.freedesktop.DBus") ||
		sd_bus_message_read(m, "sss", &name, &before, &after) < 0)
		return 0;
	know_bluez(b, after);
	if (before[0])
		fail(b, IDLE, "BlueZ has gone");
	return after[0] ? ask(b) : 0;
}

static int listen_for(struct bluez *b)
{
	char properties[256];
	(void)snprintf(properties, sizeof properties,
		"type='signal',sender='org.bluez',path_namespace='%s',"
		"interface='org.freedesktop.DBus.Properties',member='PropertiesChanged'",
		b->path);
	const struct {
		const char *rule;
		sd_bus_message_handler_t got;
	} rules[] = {
		{ properties, changed },
		{ "type='signal',sender='org.bluez',interface='org.freedesktop.DBus.ObjectManager',"
		  "member='InterfacesAdded'",
			added },
		{ "type='signal',sender='org.bluez',interface='org.freedesktop.DBus.ObjectManager',"
		  "member='InterfacesRemoved'",
			removed },
		{ "type='signal',sender='org.freedesktop.DBus',path='/org/freedesktop/DBus',"
		  "interface='org.freedesktop.DBus',member='NameOwnerChanged',arg0='org.bluez'",
			owner_changed },
	};
	int r = 0;
	for (size_t i = 0; i < sizeof rules / sizeof *rules && r >= 0; i++)
		r = sd_bus_add_match_async(b->bus, NULL, rules[i].rule, rules[i].got, NULL, b);
	return r;
}

/* ---- in the loop ---- */

static void pump(struct bluez *b)
{
	int r = 1;
	for (int i = 0; i < AT_ONCE && r > 0; i++)
		r = sd_bus_process(b->bus, NULL);
	if (r < 0)
		fail_bus(b, r);
	else
		rearm(b);
}

static void ready(void *arg, uint32_t events, int64_t now_s)
{
	struct bluez *b = arg;
	(void)events;
	b->now_s = now_s;
	pump(b);
}

static void timed(void *arg, int64_t now_s)
{
	ready(arg, 0, now_s);
}

/* While it connects the bus may change its descriptor for another of the same number. */
static int watch(struct bluez *b)
{
	int fd = sd_bus_get_fd(b->bus), events = sd_bus_get_events(b->bus);
	if (fd < 0 || events < 0)
		return fd < 0 ? fd : events;
	if (fd == b->fd && (uint32_t)events == b->events && sd_bus_is_ready(b->bus) > 0)
		return 0;
	static_assert(EPOLLIN == 1 && EPOLLOUT == 4, "the bits of poll(2)");
	loop_unwatch(b->owner.loop, b->fd);
	b->fd = -1;
	if (loop_watch(b->owner.loop, fd, (uint32_t)events, ready, b, NULL) != RC_OK)
		return -EMFILE;
	b->fd = fd;
	b->events = (uint32_t)events;
	return 0;
}

/* What the bus waits for may be another thing after each step. */
static void rearm(struct bluez *b)
{
	uint64_t due_us = UINT64_MAX;
	int r = watch(b);
	if (r >= 0)
		r = sd_bus_get_timeout(
			b->bus, &due_us); /* since the start of the monotonic clock */
	if (r < 0) {
		fail_bus(b, r);
		return;
	}
	loop_unset(&b->timer);
	if (due_us == UINT64_MAX)
		return;
	int64_t left_ms = (int64_t)(due_us / 1000) + 1 - b->owner.clock->mono(b->owner.clock).ms;
	loop_after(b->owner.loop, &b->timer, left_ms > 0 ? left_ms : 0);
}

static int connect_bus(struct bluez *b)
{
	int r = sd_bus_open_system(&b->bus);
	return r < 0 ? r : listen_for(b);
}

void bluez_listen(struct bluez *b)
{
	b->now_s = clock_now_s(b->owner.clock);
	int r = b->bus ? 0 : connect_bus(b);
	if (r >= 0)
		r = ask(b);
	if (r < 0)
		fail_bus(b, r);
	else
		rearm(b);
}

void bluez_wait(struct bluez *b, int64_t limit_ms)
{
	if (!b->bus)
		return;
	b->now_s = clock_now_s(b->owner.clock);
	int r = sd_bus_process(b->bus, NULL);
	if (r == 0)
		r = sd_bus_wait(b->bus, (uint64_t)limit_ms * 1000);
	if (r < 0 && r != -EINTR)
		fail_bus(b, r);
}

enum rc bluez_new(const struct bluez_owner *owner, struct bluez **out, struct err *err)
{
	struct bluez *b = mem_new(1, sizeof *b);
	if (!b)
		return err_set(err, RC_MEM, "bluetooth: out of memory");
	*b = (struct bluez){ .owner = *owner, .fd = -1, .timer = { .fire = timed, .arg = b } };
	(void)snprintf(b->path, sizeof b->path, "/org/bluez/%s", owner->adapter);
	*out = b;
	return RC_OK;
}

void bluez_free(struct bluez *b)
{
	if (!b)
		return;
	part(b);
	mem_free(b);
}

bool bluez_adapter_valid(const char *name)
{
	static const char allowed[] =
		"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_";
	return name[0] && name[strspn(name, allowed)] == '\0';
}
