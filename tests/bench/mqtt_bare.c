/* The baseline of the MQTT bench: a bare libmosquitto subscriber that puts readings into SQLite in batches, each durable.
 *
 *   mqtt_bare PORT CLIENT STORE BATCH
 *
 * Subscribes to bench/+/air with QoS 1 and a durable session, commits after BATCH readings or when none has come for
 * 100 ms, WAL and synchronous=FULL. It leaves acknowledging to the library, which does it before the reading is even
 * looked at: this one loses readings when it dies. Prints `connected`; ends by SIGTERM. */
#include <mosquitto.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct bare {
	sqlite3 *db;
	sqlite3_stmt *insert;
	int n, batch; /* readings of the open transaction */
};

static void die(const char *what, const char *why)
{
	(void)fprintf(stderr, "mqtt_bare: %s: %s\n", what, why);
	exit(1);
}

static void sql(struct bare *b, const char *text)
{
	if (sqlite3_exec(b->db, text, NULL, NULL, NULL) != SQLITE_OK)
		die(text, sqlite3_errmsg(b->db));
}

static void commit(struct bare *b)
{
	if (b->n > 0)
		sql(b, "COMMIT");
	b->n = 0;
}

static void on_connect(struct mosquitto *m, void *arg, int rc)
{
	(void)arg;
	if (rc || mosquitto_subscribe(m, NULL, "bench/+/air", 1) != MOSQ_ERR_SUCCESS)
		die("connecting", mosquitto_connack_string(rc));
}

static void on_subscribe(struct mosquitto *m, void *arg, int mid, int n, const int *granted)
{
	(void)m, (void)arg, (void)mid, (void)n, (void)granted;
	(void)puts("connected");
	(void)fflush(stdout);
}

static void on_message(struct mosquitto *m, void *arg, const struct mosquitto_message *message)
{
	struct bare *b = arg;
	char sensor[32];
	long long t = 0;
	double rh = 0, temp = 0;
	(void)m;
	if (sscanf(message->topic, "bench/%31[^/]/air", sensor) != 1 ||
		sscanf(message->payload, "{\"t\": %lld, \"rh\": %lf, \"temp\": %lf}", &t, &rh,
			&temp) != 3)
		die("message", message->topic);
	if (b->n++ == 0)
		sql(b, "BEGIN IMMEDIATE");
	(void)sqlite3_bind_text(b->insert, 1, sensor, -1, SQLITE_STATIC);
	(void)sqlite3_bind_int64(b->insert, 2, t);
	(void)sqlite3_bind_double(b->insert, 3, rh);
	(void)sqlite3_bind_double(b->insert, 4, temp);
	if (sqlite3_step(b->insert) != SQLITE_DONE)
		die("insert", sqlite3_errmsg(b->db));
	(void)sqlite3_reset(b->insert);
	if (b->n == b->batch)
		commit(b);
}

static void open_store(struct bare *b, const char *path)
{
	if (sqlite3_open(path, &b->db) != SQLITE_OK)
		die(path, sqlite3_errmsg(b->db));
	sql(b, "PRAGMA journal_mode = WAL");
	sql(b, "PRAGMA synchronous = FULL");
	sql(b, "CREATE TABLE IF NOT EXISTS reading(sensor TEXT, t INTEGER, rh REAL, temp REAL,"
	       " PRIMARY KEY(sensor, t)) WITHOUT ROWID");
	if (sqlite3_prepare_v2(b->db, "INSERT OR IGNORE INTO reading VALUES(?1, ?2, ?3, ?4)", -1,
		    &b->insert, NULL) != SQLITE_OK)
		die("prepare", sqlite3_errmsg(b->db));
}

int main(int argc, char **argv)
{
	struct bare b = { 0 };
	if (argc != 5)
		die("usage", "mqtt_bare PORT CLIENT STORE BATCH");
	b.batch = (int)strtol(argv[4], NULL, 10);
	open_store(&b, argv[3]);
	(void)mosquitto_lib_init();
	struct mosquitto *m = mosquitto_new(argv[2], false, &b);
	if (!m)
		die(argv[2], "no client");
	mosquitto_connect_callback_set(m, on_connect);
	mosquitto_subscribe_callback_set(m, on_subscribe);
	mosquitto_message_callback_set(m, on_message);
	int rc = mosquitto_connect(m, "127.0.0.1", (int)strtol(argv[1], NULL, 10), 60);
	while (rc == MOSQ_ERR_SUCCESS) {
		int before = b.n;
		rc = mosquitto_loop(m, 100, 1);
		if (b.n == before)
			commit(&b);
	}
	die("connection", mosquitto_strerror(rc));
	return 1;
}
