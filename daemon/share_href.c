#include <stdio.h>
#include <string.h>

#include "core/hash.h"
#include "daemon/share_int.h"

/* The path of an address, or the path itself. */
static const char *path_of(const char *url)
{
	const char *host = strstr(url, "://");
	if (!host || strchr(url, '/') < host)
		return url;
	const char *path = strchr(host + 3, '/');
	return path ? path : "/";
}

static int hex(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	if (c >= 'a' && c <= 'f')
		return c - 'a' + 10;
	return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

/* The next character of a path, its percent sign taken away. */
static char next(const char **at)
{
	const char *p = *at;
	if (p[0] == '%' && hex(p[1]) >= 0 && hex(p[2]) >= 0) {
		*at = p + 3;
		return (char)(hex(p[1]) * 16 + hex(p[2]));
	}
	*at = p + 1;
	return *p;
}

uint64_t share_href_hash(const char *href)
{
	uint64_t h = HASH_START;
	for (const char *p = path_of(href); *p;) {
		char c = next(&p);
		h = hash_on(h, &c, 1);
	}
	return h;
}

bool share_new_href(const char *collection, const char *uid, char href[DAV_HREF])
{
	const char *path = path_of(collection);
	size_t n = strlen(path);
	int wrote = snprintf(
		href, DAV_HREF, "%s%s%s.ics", path, n && path[n - 1] == '/' ? "" : "/", uid);
	return wrote > 0 && wrote < DAV_HREF;
}

void share_parent(const char *href, char collection[DAV_HREF])
{
	(void)snprintf(collection, DAV_HREF, "%s", href);
	char *end = strrchr(collection, '/');
	if (end)
		end[1] = '\0';
}
