/* Addresses, credentials and faults of fetching: what needs no transfer. */
#include "daemon/fetch_int.h"

#include <ctype.h>
#include <inttypes.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* ---- addresses ---- */

static bool part_of(CURLU *u, CURLUPart part, char *buf, size_t size)
{
	char *text = NULL;
	bool fits = curl_url_get(u, part, &text, CURLU_DEFAULT_PORT) == CURLUE_OK &&
		    snprintf(buf, size, "%s", text) < (int)size;
	curl_free(text);
	return fits;
}

bool fetch_origin_of(const char *url, struct fetch_origin *out)
{
	CURLU *u = curl_url();
	*out = (struct fetch_origin){ 0 };
	bool good = u &&
		    curl_url_set(u, CURLUPART_URL, url, CURLU_NON_SUPPORT_SCHEME) == CURLUE_OK &&
		    part_of(u, CURLUPART_SCHEME, out->scheme, sizeof out->scheme) &&
		    (strcmp(out->scheme, "http") == 0 || strcmp(out->scheme, "https") == 0) &&
		    part_of(u, CURLUPART_HOST, out->host, sizeof out->host) &&
		    part_of(u, CURLUPART_PORT, out->port, sizeof out->port);
	curl_url_cleanup(u);
	return good;
}

bool fetch_origin_same(const struct fetch_origin *a, const struct fetch_origin *b)
{
	return strcmp(a->scheme, b->scheme) == 0 && strcasecmp(a->host, b->host) == 0 &&
	       strcmp(a->port, b->port) == 0;
}

const char *fetch_key(const struct fetch_at *at)
{
	return at->key ? at->key : "url";
}

/* ---- credentials ---- */

enum rc fetch_check(const struct fetch_at *at, struct err *err)
{
	struct fetch_origin origin;
	if (!fetch_origin_of(at->url, &origin))
		return err_set(err, RC_CONFIG,
			"%s: no address of a page: as https://host/path or http://host:8080/path",
			fetch_key(at));
	if (at->auth == AUTH_BASIC && strchr(at->user, ':'))
		return err_set(err, RC_CONFIG, "user \"%s\": no colon in it (RFC 7617)", at->user);
	/* RFC 9110 section 5.6.2: tokens */
	for (const char *c = at->auth == AUTH_HEADER ? at->header : ""; *c; c++)
		if (!isalnum((unsigned char)*c) && !strchr("!#$%&'*+-.^_`|~", *c))
			return err_set(err, RC_CONFIG,
				"header \"%s\": no name of a header: letters, digits and -",
				at->header);
	return RC_OK;
}

static void show_basic(const char *user, const char *password, char *line, size_t size)
{
	char pair[TITLE_SIZE + SECRET_MAX + 2];
	int start = snprintf(line, size, "Authorization: Basic ");
	int n = snprintf(pair, sizeof pair, "%s:%s", user, password);
	(void)EVP_EncodeBlock((unsigned char *)line + start, (const unsigned char *)pair, n);
	explicit_bzero(pair, sizeof pair);
}

enum rc fetch_show(const struct fetch_at *at, char *line, size_t size, struct err *err)
{
	struct secret secret;
	line[0] = '\0';
	if (at->auth == AUTH_NONE)
		return RC_OK;
	enum rc rc = secret_read(at->credential, &secret, err);
	if (rc != RC_OK)
		return rc;
	if (at->auth == AUTH_BASIC)
		show_basic(at->user, secret.text, line, size);
	else if (at->auth == AUTH_BEARER)
		(void)snprintf(line, size, "Authorization: Bearer %s", secret.text);
	else
		(void)snprintf(line, size, "%s: %s", at->header, secret.text);
	secret_wipe(&secret);
	return RC_OK;
}

/* ---- faults ---- */

/* What CURLINFO_SSL_VERIFYRESULT tells: X509_V_* of OpenSSL's x509_vfy.h, with which Debian's libcurl4 is built. */
enum {
	VERIFY_OK = 0,
	VERIFY_NOT_ASKED = 1, /* libcurl's start value */
	VERIFY_NO_ISSUER = 2,
	VERIFY_NOT_YET_VALID = 9,
	VERIFY_EXPIRED = 10,
	VERIFY_SELF_SIGNED = 18,
	VERIFY_SELF_SIGNED_IN_CHAIN = 19,
	VERIFY_NO_LOCAL_ISSUER = 20,
	VERIFY_LEAF_ALONE = 21
};

/* libcurl compares the host's name itself, after OpenSSL found the chain good and before it asks for that verdict. */
static enum rc certificate_fault(
	CURL *easy, const struct fetch_at *at, const char *host, struct err *err)
{
	long verdict = VERIFY_OK;
	(void)curl_easy_getinfo(easy, CURLINFO_SSL_VERIFYRESULT, &verdict);
	switch (verdict) {
	case VERIFY_OK:
	case VERIFY_NOT_ASKED:
		return err_set(err, RC_IO,
			"%s: its certificate is for another name: the name that stands in it, as "
			"%s",
			host, fetch_key(at));
	case VERIFY_EXPIRED:
		return err_set(err, RC_IO,
			"%s: its certificate has expired: a new one, or the clock is wrong", host);
	case VERIFY_NOT_YET_VALID:
		return err_set(err, RC_IO,
			"%s: its certificate is not valid yet: is the clock here or there wrong?",
			host);
	case VERIFY_NO_ISSUER:
	case VERIFY_SELF_SIGNED:
	case VERIFY_SELF_SIGNED_IN_CHAIN:
	case VERIFY_NO_LOCAL_ISSUER:
	case VERIFY_LEAF_ALONE:
		return err_set(err, RC_IO,
			"%s: its certificate is of no authority that is trusted here: ca_file for "
			"one of your own",
			host);
	default:
		return err_set(err, RC_IO,
			"%s: its certificate is not good: `openssl verify` calls it error %ld",
			host, verdict);
	}
}

static enum rc time_fault(CURL *easy, const struct fetch_at *at, const char *host, int64_t took_ms,
	size_t got, struct err *err)
{
	curl_off_t resolved = 0, connected = 0, asked = 0;
	int64_t after_s = (took_ms + 500) / 1000;
	(void)curl_easy_getinfo(easy, CURLINFO_NAMELOOKUP_TIME_T, &resolved);
	(void)curl_easy_getinfo(easy, CURLINFO_CONNECT_TIME_T, &connected);
	(void)curl_easy_getinfo(easy, CURLINFO_PRETRANSFER_TIME_T, &asked); /* kept connections */
	if (!asked && !resolved)
		return err_set(err, RC_IO,
			"%s: its name was not resolved within %" PRId64
			" s: does the name service answer?",
			host, after_s);
	if (!asked && !connected)
		return err_set(err, RC_IO,
			"%s: no connection within %" PRId64 " s: is it switched on, is a firewall "
			"between?",
			host, after_s);
	if (took_ms < at->limit_s * 1000 - 500)
		return err_set(err, RC_IO,
			"%s: too slow, %zu bytes of the page in %" PRId64
			" s: fewer than %d a second for %d s",
			host, got, after_s, FETCH_SLOW_BYTES, FETCH_SLOW_S);
	if (at->fixed_limits)
		return err_set(err, RC_IO,
			"%s: too slow, %zu bytes of the answer in %" PRId64
			" s: is the server busy?",
			host, got, after_s);
	return err_set(err, RC_IO,
		"%s: too slow, %zu bytes of the page in %" PRId64 " s: time_limit (%" PRId64
		" s) for one that needs longer",
		host, got, after_s, at->limit_s);
}

static enum rc connect_fault(CURL *easy, const struct fetch_origin *at_host, struct err *err)
{
	long number = 0;
	(void)curl_easy_getinfo(easy, CURLINFO_OS_ERRNO, &number);
	return err_set(err, RC_IO, "%s: no connection to port %s: %s: does a server run there?",
		at_host->host, at_host->port, number ? strerror((int)number) : "failed");
}

enum rc fetch_fault(CURL *easy, CURLcode verdict, const struct fetch_at *at,
	const struct fetch_origin *at_host, int64_t took_ms, size_t got, struct err *err)
{
	const char *host = at_host->host;
	switch ((int)verdict) {
	case CURLE_COULDNT_RESOLVE_HOST:
		return err_set(err, RC_IO,
			"%s: no such host, or the name service does not answer: the host of %s",
			host, fetch_key(at));
	case CURLE_COULDNT_CONNECT:
		return connect_fault(easy, at_host, err);
	case CURLE_PEER_FAILED_VERIFICATION:
		return certificate_fault(easy, at, host, err);
	case CURLE_SSL_CACERT_BADFILE:
		if (!at->ca_file[0])
			return err_set(err, RC_CONFIG,
				"%s: the system's certificates can't be read: the package "
				"ca-certificates, or ca_file",
				host);
		return err_set(err, RC_CONFIG,
			"ca_file \"%.200s\": no certificates to read in it: PEM text of an "
			"authority's certificate",
			at->ca_file);
	case CURLE_SSL_CONNECT_ERROR:
		return err_set(err, RC_IO,
			"%s: port %s does not speak TLS as we do: http:// if it has none", host,
			at_host->port);
	case CURLE_OPERATION_TIMEDOUT:
		return time_fault(easy, at, host, took_ms, got, err);
	case CURLE_FILESIZE_EXCEEDED:
	case CURLE_WRITE_ERROR:
		if (at->fixed_limits)
			return err_set(err, RC_INPUT,
				"%s: its answer is larger than %zu bytes: is it the right address?",
				host, at->size_limit);
		return err_set(err, RC_INPUT,
			"%s: more than %zu bytes: size_limit for a larger page, if it is the "
			"right one",
			host, at->size_limit);
	case CURLE_GOT_NOTHING:
	case CURLE_PARTIAL_FILE:
	case CURLE_RECV_ERROR:
	case CURLE_SEND_ERROR:
		return err_set(err, RC_IO, "%s: the connection broke off", host);
	case CURLE_UNSUPPORTED_PROTOCOL: /* HTTP/0.9, that is: addresses are checked before */
	case CURLE_WEIRD_SERVER_REPLY:
		return err_set(
			err, RC_IO, "%s: port %s does not answer in HTTP", host, at_host->port);
	case CURLE_OUT_OF_MEMORY:
		return err_set(err, RC_MEM, "%s: out of memory", host);
	default:
		return err_set(err, RC_IO, "%s: %s", host, curl_easy_strerror(verdict));
	}
}

static const char *status_words(long status)
{
	switch (status) {
	case 401:
		return "wants to know who asks: auth, user and credential";
	case 403:
		return "does not show it to us: may whom auth names see it?";
	case 404:
	case 410:
		return "has no such page: the path of url";
	case 407:
		return "a proxy stands between: an address that is reached without one";
	case 429:
		return "is asked too often: a longer interval";
	case 503:
		return "has no time now";
	default:
		return status >= 500 ? "has a fault of its own: its log will tell"
				     : "is no page: the address of url";
	}
}

enum rc fetch_status(long status, const struct fetch_at *at, const struct fetch_origin *at_host,
	bool shown, struct err *err)
{
	if (at->auth != AUTH_NONE && !shown && (status == 401 || status == 403))
		return err_set(err, RC_INPUT,
			"%s: status %ld: led there by a redirect, where the credential is not "
			"shown: its address as url, if it is trusted",
			at_host->host, status);
	return err_set(
		err, RC_INPUT, "%s: status %ld: %s", at_host->host, status, status_words(status));
}
