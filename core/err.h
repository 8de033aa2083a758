/* Result codes and the caller-owned error text.
 *
 * Anything that can fail returns enum rc. The text says where, what, the value and what would do:
 * no capital, no full stop, no newline. The first error set is kept; later ones are ignored. */
#ifndef CORE_ERR_H
#define CORE_ERR_H

#define MUST_USE __attribute__((warn_unused_result))
#define PRINTF_LIKE(f, a) __attribute__((format(printf, f, a)))

enum rc {
	RC_OK,
	RC_USAGE, /* the command line is wrong */
	RC_CONFIG, /* settings, library or records text is wrong */
	RC_INPUT, /* outside data is wrong */
	RC_ASK, /* outside data is ambiguous: a person has to say */
	RC_UNKNOWN, /* a name that is not there */
	RC_IO, /* a file or the system failed */
	RC_STORE, /* the store failed or is damaged */
	RC_BUSY, /* the store is held by another process: try again */
	RC_FULL, /* no room left on the disk */
	RC_MEM /* out of memory */
};

struct err {
	enum rc code;
	char text[640];
};

/* Sets code and text unless err is NULL or already holds an error; long text is cut.
 * Returns code, so that a failing path reads `return err_set(err, RC_IO, ...)`. */
enum rc err_set(struct err *err, enum rc code, const char *fmt, ...) PRINTF_LIKE(3, 4);

#endif
