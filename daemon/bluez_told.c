#include "daemon/bluez_told.h"

#include <string.h>
#include <strings.h>

#include "daemon/bluez.h"

bool bluez_device(const char *adapter, const char *path, uint8_t address[BTHOME_ADDRESS])
{
	char text[3 * BTHOME_ADDRESS];
	size_t n = strlen(adapter);
	if (!path || strncmp(path, adapter, n) != 0 || strncmp(path + n, "/dev_", 5) != 0 ||
		strlen(path + n + 5) != sizeof text - 1)
		return false;
	memcpy(text, path + n + 5, sizeof text);
	for (char *c = text; *c; c++)
		*c = *c == '_' ? ':' : *c;
	return bthome_address(text, address);
}

/* The bytes in a variant of service data; *n stays 0 where there are none. */
static int read_bytes(sd_bus_message *m, const uint8_t **bytes, size_t *n)
{
	char type;
	const char *contents;
	int r = sd_bus_message_peek_type(m, &type, &contents);
	if (r <= 0 || strcmp(contents, "ay") != 0)
		return r < 0 ? r : sd_bus_message_skip(m, "v");
	r = sd_bus_message_enter_container(m, 'v', "ay");
	if (r >= 0)
		r = sd_bus_message_read_array(m, 'y', (const void **)bytes, n);
	return r < 0 ? r : sd_bus_message_exit_container(m);
}

/* Goes through a{sv} and calls each with the key; each reads or skips the variant. */
static int read_dictionary(
	sd_bus_message *m, int (*each)(sd_bus_message *m, const char *key, void *arg), void *arg)
{
	const char *key;
	int r = sd_bus_message_enter_container(m, 'a', "{sv}");
	while (r >= 0 && (r = sd_bus_message_enter_container(m, 'e', "sv")) > 0) {
		r = sd_bus_message_read(m, "s", &key);
		if (r >= 0)
			r = each(m, key, arg);
		if (r >= 0)
			r = sd_bus_message_exit_container(m);
	}
	return r < 0 ? r : sd_bus_message_exit_container(m);
}

static int each_service(sd_bus_message *m, const char *key, void *arg)
{
	struct bluez_told *t = arg;
	return strcasecmp(key, BLUEZ_BTHOME) == 0 ? read_bytes(m, &t->bytes, &t->n)
						  : sd_bus_message_skip(m, "v");
}

static int each_property(sd_bus_message *m, const char *key, void *arg)
{
	struct bluez_told *t = arg;
	char type;
	const char *contents;
	int r = sd_bus_message_peek_type(m, &type, &contents);
	if (r <= 0)
		return r;
	if (strcmp(key, "Powered") == 0 && strcmp(contents, "b") == 0)
		return sd_bus_message_read(m, "v", "b", &t->powered);
	if (strcmp(key, "ServiceData") != 0 || strcmp(contents, "a{sv}") != 0)
		return sd_bus_message_skip(m, "v");
	r = sd_bus_message_enter_container(m, 'v', contents);
	if (r >= 0)
		r = read_dictionary(m, each_service, t);
	return r < 0 ? r : sd_bus_message_exit_container(m);
}

int bluez_read_properties(sd_bus_message *m, struct bluez_told *out)
{
	*out = (struct bluez_told){ .powered = -1 };
	return read_dictionary(m, each_property, out);
}
