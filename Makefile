# seasond: see `make help`. Objects and programs go to $(B); nothing is written beside the sources.
B ?= build
CC ?= gcc
PREFIX ?= /usr/local
SYSCONFDIR ?= /etc
DATADIR ?= $(PREFIX)/share/seasond
UNITDIR ?= $(PREFIX)/lib/systemd/system
VERSION := 0.1.0

PACKAGES := libcurl sqlite3 libconfig libical libsystemd
PKG_CFLAGS := $(shell pkg-config --cflags $(PACKAGES) 2>/dev/null)
PKG_LIBS := $(shell pkg-config --libs $(PACKAGES) 2>/dev/null)

WARN := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wstrict-prototypes \
	-Wmissing-prototypes -Wold-style-definition -Wformat=2 -Wundef -Wvla -Wcast-qual \
	-Wwrite-strings -Wswitch-enum -Wdouble-promotion -Wimplicit-fallthrough -Wnull-dereference
HARDEN := -fPIE -fstack-protector-strong -D_FORTIFY_SOURCE=2
CFLAGS ?= -O2 -g
BASE := -std=c17 $(WARN) -ffp-contract=off -ffile-prefix-map=$(CURDIR)=.
ALL_CFLAGS = $(BASE) $(HARDEN) $(CFLAGS)
LDFLAGS ?=
ALL_LDFLAGS = -pie -Wl,-z,relro,-z,now $(LDFLAGS)

CORE := $(sort $(wildcard core/*.c))
MAINS := daemon/seasond.c daemon/seasonctl.c
DAEMON := $(filter-out $(MAINS),$(sort $(wildcard daemon/*.c)))
UNIT := $(sort $(wildcard tests/unit/test_*.c))
LIBCORE := $(B)/libcore.a
LIBDAEMON := $(B)/libdaemon.a
PROGRAMS := $(B)/seasond $(B)/seasonctl
UNIT_BIN := $(UNIT:%.c=$(B)/%)
OBJ := $(patsubst %.c,$(B)/%.o,$(CORE) $(DAEMON) $(MAINS) $(UNIT) $(wildcard tests/unit/support.c))

all: $(PROGRAMS)

$(B)/core/%.o: core/%.c Makefile
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -Icore -MMD -MP -c -o $@ $<

$(B)/%.o: %.c Makefile
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -D_GNU_SOURCE -DVERSION='"$(VERSION)"' -DDATADIR='"$(DATADIR)"' \
		-DSYSCONFDIR='"$(SYSCONFDIR)"' -I. $(PKG_CFLAGS) -MMD -MP -c -o $@ $<

$(LIBCORE): $(CORE:%.c=$(B)/%.o)
	@rm -f $@
	ar rcsD $@ $^

$(LIBDAEMON): $(DAEMON:%.c=$(B)/%.o)
	@rm -f $@
	ar rcsD $@ $^

$(PROGRAMS): $(B)/%: $(B)/daemon/%.o $(LIBDAEMON) $(LIBCORE)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $^ $(PKG_LIBS) -lm

$(B)/tests/unit/test_%: $(B)/tests/unit/test_%.o $(B)/tests/unit/support.o $(LIBDAEMON) $(LIBCORE)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $^ $(PKG_LIBS) -lcmocka -lm

unit: $(UNIT_BIN)

-include $(OBJ:.o=.d)
.SECONDARY:
.PHONY: all unit
