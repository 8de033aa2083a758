#include "daemon/gate_address.h"

#include <arpa/inet.h>
#include <stdint.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

#include "core/number.h"

static bool parse_port(const char *text, in_port_t *port)
{
	int64_t value;
	if (text[strspn(text, "0123456789")] || !number_int(text, &value) || value < 1 ||
		value > 65535)
		return false;
	*port = htons((uint16_t)value);
	return true;
}

static bool parse_6(const char *host, in_port_t port, struct gate_address *out)
{
	struct sockaddr_in6 a = { .sin6_family = AF_INET6, .sin6_port = port };
	if (inet_pton(AF_INET6, host, &a.sin6_addr) != 1)
		return false;
	*out = (struct gate_address){ .n = sizeof a,
		.loopback = IN6_IS_ADDR_LOOPBACK(&a.sin6_addr) };
	memcpy(&out->at, &a, sizeof a);
	return true;
}

static bool parse_4(const char *host, in_port_t port, struct gate_address *out)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = port };
	if (inet_pton(AF_INET, host[0] ? host : "127.0.0.1", &a.sin_addr) != 1)
		return false;
	*out = (struct gate_address){ .n = sizeof a,
		.loopback = ntohl(a.sin_addr.s_addr) >> 24 == 127 };
	memcpy(&out->at, &a, sizeof a);
	return true;
}

bool gate_address_parse(const char *text, struct gate_address *out)
{
	char host[INET6_ADDRSTRLEN + 2];
	const char *colon = strrchr(text, ':');
	const char *port_text = colon ? colon + 1 : text;
	size_t n = colon ? (size_t)(colon - text) : 0;
	in_port_t port;
	if (n >= sizeof host || !parse_port(port_text, &port))
		return false;
	(void)snprintf(host, sizeof host, "%.*s", (int)n, text);
	if (host[0] != '[')
		return parse_4(host, port, out);
	if (host[n - 1] != ']')
		return false;
	host[n - 1] = '\0';
	return parse_6(host + 1, port, out);
}
