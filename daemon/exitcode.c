#include "daemon/exitcode.h"

#include <sysexits.h>

int exitcode_of(enum rc rc)
{
	switch (rc) {
	case RC_OK:
		return EX_OK;
	case RC_USAGE:
		return EX_USAGE;
	case RC_CONFIG:
		return EX_CONFIG;
	case RC_INPUT:
	case RC_ASK:
		return EX_DATAERR;
	case RC_UNKNOWN:
		return EX_NOINPUT;
	case RC_IO:
		return EX_IOERR;
	case RC_STORE:
		return EX_SOFTWARE;
	case RC_BUSY:
		return EX_TEMPFAIL;
	case RC_FULL:
		return EX_CANTCREAT;
	case RC_MEM:
		return EX_OSERR;
	}
	return EX_SOFTWARE;
}
