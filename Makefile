# seasond: see `make help`. Objects and programs go to $(B); nothing is written beside the sources.
B ?= build
PREFIX ?= /usr/local
SYSCONFDIR ?= /etc
DATADIR ?= $(PREFIX)/share/seasond
MANDIR ?= $(PREFIX)/share/man
UNITDIR ?= $(PREFIX)/lib/systemd/system
VERSION := 0.1.0

PACKAGES := sqlite3 libconfig libical libsystemd libcurl json-c libcrypto libmosquitto libmicrohttpd libxml-2.0 icu-i18n icu-uc
# Asked once and only when first needed: `make deps all` installs pkg-config before that.
PKG_CFLAGS = $(eval PKG_CFLAGS := $(shell pkg-config --cflags $(PACKAGES)))$(PKG_CFLAGS)
PKG_LIBS = $(eval PKG_LIBS := $(shell pkg-config --libs $(PACKAGES)))$(PKG_LIBS)
APT_BUILD := gcc libc6-dev make pkg-config libsqlite3-dev libconfig-dev libical-dev libsystemd-dev \
	libcurl4-openssl-dev libjson-c-dev libssl-dev libmosquitto-dev libmicrohttpd-dev libxml2-dev libicu-dev \
	libcmocka-dev tzdata
APT_CHECK := python3 python3-icalendar python3-vobject python3-caldav python3-aiosmtpd python3-scipy openssl dbus-daemon \
	python3-dbusmock mosquitto mosquitto-clients radicale xandikos dovecot-imapd mandoc
APT_NODE := nodejs npm
APT_BENCH := python3-scipy python3-icalendar sqlite3 mosquitto

WARN := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wstrict-prototypes \
	-Wmissing-prototypes -Wold-style-definition -Wformat=2 -Wundef -Wvla -Wcast-qual \
	-Wwrite-strings -Wswitch-enum -Wdouble-promotion -Wimplicit-fallthrough -Wnull-dereference
CFLAGS ?= -O2 -g -D_FORTIFY_SOURCE=2
LDFLAGS ?=
SANITIZED := -g -fno-omit-frame-pointer -fsanitize=address,undefined,float-cast-overflow,float-divide-by-zero \
	-fno-sanitize-recover=all
ALL_CFLAGS = -std=c17 $(WARN) -ffp-contract=off -ffile-prefix-map=$(CURDIR)=. -fPIE \
	-fstack-protector-strong $(CFLAGS)
ALL_LDFLAGS = -pie -Wl,-z,relro,-z,now,--as-needed $(LDFLAGS)
DEFINES := -D_GNU_SOURCE -DVERSION='"$(VERSION)"' -DDATADIR='"$(DATADIR)"' -DSYSCONFDIR='"$(SYSCONFDIR)"'

MAINS := daemon/seasond.c daemon/seasonctl.c
# V=1 shows commands.
CORE := $(sort $(wildcard core/*.c))
DAEMON := $(filter-out $(MAINS),$(sort $(wildcard daemon/*.c)))
UNIT := $(sort $(wildcard tests/unit/test_*.c))
HELPERS := $(sort $(wildcard tests/system/*.c tests/bench/*.c tests/demo/*.c))
FUZZ := $(sort $(wildcard tests/fuzz/fuzz_*.c))
PROGRAMS := $(B)/seasond $(B)/seasonctl
UNIT_BIN := $(UNIT:%.c=$(B)/%)
HELPER_BIN := $(HELPERS:%.c=$(B)/%)
FUZZ_BIN := $(FUZZ:%.c=$(B)/%)
FUZZ_MAIN = $(B)/tests/fuzz/replay.o
LIBS := $(B)/libdaemon.a $(B)/libcore.a
OBJ := $(patsubst %.c,$(B)/%.o,$(CORE) $(DAEMON) $(MAINS) $(UNIT) $(HELPERS) $(FUZZ) tests/unit/support.c \
	tests/fuzz/replay.c)

all: $(PROGRAMS)
Q := $(if $(V),,@)

$(B)/core/%.o: core/%.c Makefile
	@mkdir -p $(@D)
	@echo '  $@'
	$(Q)$(CC) $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

$(B)/%.o: %.c Makefile
	@mkdir -p $(@D)
	@echo '  $@'
	$(Q)$(CC) $(ALL_CFLAGS) $(DEFINES) -I. $(PKG_CFLAGS) -MMD -MP -c -o $@ $<

$(B)/libcore.a: $(CORE:%.c=$(B)/%.o)
$(B)/libdaemon.a: $(DAEMON:%.c=$(B)/%.o)
$(LIBS):
	@rm -f $@
	$(Q)ar rcsD $@ $^

$(PROGRAMS): $(B)/%: $(B)/daemon/%.o $(LIBS)
	$(Q)$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $^ $(PKG_LIBS) -lm

$(UNIT_BIN): $(B)/tests/unit/%: $(B)/tests/unit/%.o $(B)/tests/unit/support.o $(LIBS)
	$(Q)$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $^ $(PKG_LIBS) -lcmocka -lm

$(HELPER_BIN): $(B)/%: $(B)/%.o $(LIBS)
	$(Q)$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $^ $(PKG_LIBS) -lm

$(FUZZ_BIN): $(B)/%: $(B)/%.o $(LIBS) $(FUZZ_MAIN)
	$(Q)$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $^ $(PKG_LIBS) -lm

# What has paths or the version in it is compiled again when they change.
$(B)/.paths: FORCE
	@mkdir -p $(B)
	@echo '$(DATADIR) $(SYSCONFDIR) $(VERSION)' | cmp -s - $@ || echo '$(DATADIR) $(SYSCONFDIR) $(VERSION)' >$@
$(patsubst %,$(B)/daemon/%.o,seasond seasonctl settings_rows): $(B)/.paths
FORCE:

-include $(OBJ:.o=.d)
.SECONDARY:
ifneq ($(filter deps,$(MAKECMDGOALS)),)
$(OBJ) $(B)/npm/.done: | deps
endif

unit: $(UNIT_BIN)

# Node libraries that tests compare with; their tests announce a skip where the registry is out of reach.
$(B)/npm/.done: tests/npm/package.json tests/npm/package-lock.json
	@mkdir -p $(@D)
	cp tests/npm/package*.json $(@D)
	-cd $(@D) && npm ci --no-audit --no-fund --silent && touch .done

check: all $(UNIT_BIN) $(HELPER_BIN) $(FUZZ_BIN) $(B)/npm/.done
	B=$(B) SEASOND_NODE_MODULES=$(abspath $(B)/npm/node_modules) tests/run

demo: all $(HELPER_BIN)
	B=$(B) tests/demo/run

bench: all $(HELPER_BIN)
	B=$(B) ONLY="$(ONLY)" tests/bench/run

sanitize:
	$(MAKE) B=$(B)-san check ASAN_OPTIONS=detect_leaks=1 LDFLAGS=-fsanitize=address,undefined \
		CFLAGS="-O1 $(SANITIZED)"

fuzz:
	tests/deps clang libclang-rt-14-dev
	$(MAKE) B=$(B)-fuzz CC=clang FUZZ_MAIN= CFLAGS="-O1 -fsanitize=fuzzer-no-link $(SANITIZED)" \
		LDFLAGS=-fsanitize=address,undefined fuzz-targets
	B=$(B)-fuzz FUZZ_S="$(FUZZ_S)" ONLY="$(ONLY)" tests/fuzz/run

fuzz-targets: ALL_LDFLAGS += -fsanitize=fuzzer
fuzz-targets: $(FUZZ_BIN)

layers: $(B)/libcore.a
	B=$(B) tests/layers

lint:
	tests/lint

deps:
	@tests/deps $(APT_BUILD) $(APT_CHECK) $(if $(shell command -v npm),,$(APT_NODE))
deps-bench:
	@tests/deps $(APT_BENCH)

install: all
	install -D -t $(DESTDIR)$(PREFIX)/sbin $(B)/seasond
	install -D -t $(DESTDIR)$(PREFIX)/bin $(B)/seasonctl
	install -D -m 644 -t $(DESTDIR)$(DATADIR) conf/*.conf conf/seasond.conf.example systemd/network.conf
	install -D -m 644 -t $(DESTDIR)$(DATADIR)/builds conf/builds/*.conf
	install -D -m 644 -t $(DESTDIR)$(MANDIR)/man1 daemon/man/seasonctl.1
	install -D -m 644 -t $(DESTDIR)$(MANDIR)/man5 daemon/man/seasond.conf.5
	install -D -m 644 -t $(DESTDIR)$(MANDIR)/man8 daemon/man/seasond.8
	install -D -m 644 systemd/seasond.sysusers $(DESTDIR)$(PREFIX)/lib/sysusers.d/seasond.conf
	install -D -m 644 systemd/seasond.tmpfiles $(DESTDIR)$(PREFIX)/lib/tmpfiles.d/seasond.conf
	install -d $(DESTDIR)$(UNITDIR) $(DESTDIR)$(SYSCONFDIR)/seasond
	sed -e 's|@PREFIX@|$(PREFIX)|g' -e 's|@SYSCONFDIR@|$(SYSCONFDIR)|g' systemd/seasond.service \
		> $(DESTDIR)$(UNITDIR)/seasond.service

# What people edit in $(SYSCONFDIR)/seasond and the store stay.
uninstall:
	rm -f $(DESTDIR)$(PREFIX)/sbin/seasond $(DESTDIR)$(PREFIX)/bin/seasonctl \
		$(DESTDIR)$(MANDIR)/man1/seasonctl.1 $(DESTDIR)$(MANDIR)/man5/seasond.conf.5 \
		$(DESTDIR)$(MANDIR)/man8/seasond.8 $(DESTDIR)$(PREFIX)/lib/sysusers.d/seasond.conf \
		$(DESTDIR)$(PREFIX)/lib/tmpfiles.d/seasond.conf $(DESTDIR)$(UNITDIR)/seasond.service
	rm -rf $(DESTDIR)$(DATADIR)

clean:
	rm -rf $(B) $(B)-san $(B)-clang $(B)-fuzz

help:
	@echo 'deps        install the Debian packages that building and testing need (as root)'
	@echo 'deps-bench  the same for make bench'
	@echo 'all         seasond and seasonctl in $(B)/'
	@echo 'demo        play fourteen months of an invented bench through the service'
	@echo 'check       all tests (SEASOND_TEST_DATA=FOLDER adds those on open measurements)'
	@echo 'sanitize    all tests under address and undefined behaviour sanitizers'
	@echo 'fuzz        feed each reader of outside bytes for FUZZ_S seconds (600; ONLY=json picks)'
	@echo 'bench       measure, as ratios in one run (ONLY=import picks)'
	@echo 'layers lint proofs of purity and style'
	@echo 'install uninstall  PREFIX=$(PREFIX) SYSCONFDIR=$(SYSCONFDIR) DESTDIR='
	@echo 'clean       remove $(B)/'

.PHONY: all FORCE unit check demo fuzz fuzz-targets bench sanitize layers lint deps deps-bench install uninstall clean help
