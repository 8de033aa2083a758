#!/usr/bin/python3 -B
"""Advertisements of sensors through a stand-in for BlueZ on a bus of the test's own.

Advertisements are the examples of bthome.io and the tests of the format's reference reader, read; what the bus is asked
for is as doc/adapter-api.txt of BlueZ has it (from memory).
"""
import pathlib
import sqlite3
import subprocess
import tempfile
import time

import bench
from bench import REPO, Bench, Skip, until

try:
    import dbus
    import dbus.lowlevel
    import dbusmock
except ImportError as why:
    dbus, missing = None, str(why)

UUID = "0000fcd2-0000-1000-8000-00805f9b34fb"
DEVICE, ADAPTER = "org.bluez.Device1", "org.bluez.Adapter1"
PROPERTIES = "org.freedesktop.DBus.Properties"
MANAGER = "org.freedesktop.DBus.ObjectManager"
PLAIN, SEALED, STRANGER = "A4:C1:38:00:11:22", "54:48:E6:8F:80:A5", "A4:C1:38:99:99:99"
KEY = "231d39c1d7cc1ab1aee224cd096db932"
AIR = "40 02 C4 09 03 BF 13"  # 25.00 degC, 50.55 %
CIPHERED = "41 E4 45 F3 C9 96 2B 33 22 11 00 6C 7C 45 19"  # 25.06 degC, 50.55 %, counter 1122867
LATER = "41 A4 72 66 C9 5F 73 00 11 22 33 78 23 72 14"  # the same air, counter 857870592
NAMED = "43 A5 80 8F E6 48 54 F1 96 C0 6F FB 49 00 11 22 33 F0 8E CB DE"  # ... with the address

SETTINGS = """zone = "UTC";
store = "bench.db";
library = [ "%s/conf" ];
places = ( { name = "room"; band = [40, 60]; }, { name = "case"; room = "room"; } );
sensors = (
	{ name = "room"; place = "room"; silent_after = "20 d"; },
	{ name = "case"; place = "case"; silent_after = "20 d"; }
);
sources = ( { name = "air"; kind = "bluetooth"; interval = "10 s"; } );
streams = (
	{ name = "plain"; source = "air"; sensor = "room"; address = "%s"; },
	{ name = "sealed"; source = "air"; sensor = "case"; address = "%s"; key = "KEY"; }
);
outputs = ( { name = "bench"; folder = "calendars"; } );
""" % (REPO, PLAIN, SEALED.lower())

BUS = """<busconfig><listen>unix:path=%s</listen><auth>EXTERNAL</auth>
<policy context="default"><allow user="*"/><allow own="*"/><allow send_destination="*"/><allow send_type="signal"/>
<allow eavesdrop="false"/></policy></busconfig>"""


def octets(text):
    return dbus.Array(bytes.fromhex(text), signature="y", variant_level=1)


def service_data(text, uuid=UUID):
    return dbus.Dictionary({uuid: octets(text)}, signature="sv", variant_level=1)


class Radio:
    """A bus, and a stand-in for BlueZ on it."""

    def __init__(self, bluez=True, adapter=True):
        if not dbus:
            raise Skip(missing)
        self.folder = tempfile.TemporaryDirectory(prefix="seasond-bus-")
        self.socket = pathlib.Path(self.folder.name) / "bus"
        self.address = "unix:path=%s" % self.socket
        self.config = pathlib.Path(self.folder.name) / "bus.conf"
        self.config.write_text(BUS % self.socket)
        self.bus = self.daemon = self.mock = None
        self.wanted = bluez, adapter

    def __enter__(self):
        self.start_bus()
        if self.wanted[0]:
            try:
                self.start_bluez(self.wanted[1])
            except BaseException:
                self.__exit__()
                raise
        return self

    def __exit__(self, *_):
        self.stop_bluez()
        self.stop_bus()
        self.folder.cleanup()

    def start_bus(self):
        try:
            self.daemon = subprocess.Popen(["dbus-daemon", "--nofork", "--print-address=1", "--config-file", str(self.config)],
                                           stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        except FileNotFoundError as why:
            raise Skip(str(why)) from why
        assert self.daemon.stdout.readline(), "no bus"  # it listens once it has said where
        self.bus = dbus.bus.BusConnection(self.address)

    def stop_bus(self):
        self.bus.close()
        self.daemon.terminate()
        self.daemon.wait()
        self.daemon.stdout.close()
        self.socket.unlink(missing_ok=True)

    def start_bluez(self, adapter=True):
        self.mock = subprocess.Popen(["/usr/bin/python3", "-m", "dbusmock", "--system", "--template", "bluez5"],
                                     env={"DBUS_SYSTEM_BUS_ADDRESS": self.address, "PATH": "/usr/bin:/bin"},
                                     stdout=subprocess.DEVNULL)
        until(lambda: self.bus.name_has_owner("org.bluez"), "the stand-in")
        if adapter:
            self.bluez("AddAdapter", "hci0", "radio")

    def stop_bluez(self):
        if self.mock:
            self.mock.terminate()
            self.mock.wait()
            self.mock = None

    def object(self, path):
        return self.bus.get_object("org.bluez", path, introspect=False)

    def bluez(self, method, *arguments):
        return dbus.Interface(self.object("/"), "org.bluez.Mock").get_dbus_method(method)(*arguments)

    def on(self, path, method, *arguments):
        return dbus.Interface(self.object(path), dbusmock.MOCK_IFACE).get_dbus_method(method)(*arguments)

    def emit(self, path, interface, name, signature, *arguments):
        """A signal; the stand-in's own way to change a property can not take bytes in a dictionary."""
        mock = dbus.Interface(self.object(path), dbusmock.MOCK_IFACE)
        mock.get_dbus_method("EmitSignal")(interface, name, signature, dbus.Array(arguments, signature="v"),
                                           signature="sssav")

    def calls(self, method, adapter="hci0"):
        return self.on("/org/bluez/" + adapter, "GetMethodCalls", method)

    def listening(self, times=1):
        until(lambda: len(self.calls("StartDiscovery")) >= times, "discovery")

    def path(self, address):
        return "/org/bluez/hci0/dev_" + address.replace(":", "_")

    def add(self, address):
        self.bluez("AddDevice", "hci0", address, "sensor")

    def say(self, address, text, uuid=UUID):
        self.change(address, service_data(text, uuid))

    def change(self, address, value):
        properties = dbus.Dictionary({"ServiceData": value}, signature="sv")
        self.emit(self.path(address), PROPERTIES, "PropertiesChanged", "sa{sv}as",
                  DEVICE, properties, dbus.Array([], signature="s"))

    def appear(self, address, text):
        """A device that BlueZ has not known, as it is told first."""
        properties = dbus.Dictionary({"Address": dbus.String(address, variant_level=1), "ServiceData": service_data(text)},
                                     signature="sv")
        self.emit("/", MANAGER, "InterfacesAdded", "oa{sa{sv}}", dbus.ObjectPath(self.path(address)),
                  dbus.Dictionary({DEVICE: properties}, signature="sa{sv}"))

    def adapter(self, **properties):
        self.on("/org/bluez/hci0", "UpdateProperties", ADAPTER, properties)


class Bluetooth(Bench):
    def __init__(self, radio, key=KEY):
        super().__init__(SETTINGS.replace("KEY", "/KEY"))
        self.key(key)
        self.config.write_text(SETTINGS.replace("KEY", str(self.folder / "key")))
        self.environment["DBUS_SYSTEM_BUS_ADDRESS"] = radio.address

    def key(self, text):
        self.file("key", text + "\n").chmod(0o600)

    def values(self, sensor):
        return list(self.readings(sensor).values()) if self.store.exists() else []


def test_plain_and_encrypted_arrive_and_strangers_do_not():
    with Radio() as radio, Bluetooth(radio) as b:
        for address in (PLAIN, SEALED, STRANGER):
            radio.add(address)
        service = b.start()
        radio.listening()
        (_, [asked]), = radio.calls("SetDiscoveryFilter")
        assert asked == {"Transport": "le", "DuplicateData": True}, asked
        radio.say(STRANGER, "40 02 00 00 03 10 27")
        radio.say(PLAIN, "40 03 10 27", uuid="0000181a-0000-1000-8000-00805f9b34fb")
        radio.say(PLAIN, "40 01 61")  # charge by itself: 97 %
        radio.say(PLAIN, AIR)
        radio.say(SEALED, CIPHERED)
        until(lambda: b.values("room") and b.values("case"), "the readings")
        assert b.values("room") == [(5055, 2500)], b.values("room")
        assert b.values("case") == [(5055, 2506)], b.values("case")
        assert b.query("SELECT name, battery FROM health JOIN sensor ON sensor = id") == [("room", 97)]
        assert service.end() == 0
        b.whole()


def test_first_advertisement_of_a_new_device():
    with Radio() as radio, Bluetooth(radio) as b:
        b.start()
        radio.listening()
        radio.appear(PLAIN, AIR)
        # an address that changes for privacy; its own stands in the payload
        radio.appear("5A:11:22:33:44:55", NAMED)
        until(lambda: b.values("room") and b.values("case"), "the readings")
        assert b.values("case") == [(5055, 2506)], b.values("case")


def test_one_reading_an_interval():
    with Radio() as radio, Bluetooth(radio) as b:
        radio.add(PLAIN)
        b.start()
        radio.listening()

        def two():
            radio.say(PLAIN, AIR)
            time.sleep(0.2)
            return len(b.readings("room")) == 2
        until(two, "the second reading")
        first, second = sorted(b.readings("room"))
        assert second - first >= 10, second - first


def test_wrong_key_and_replay_in_words():
    with Radio() as radio, Bluetooth(radio, key=KEY[:-1] + "3") as b:
        radio.add(SEALED)
        service = b.start()
        radio.listening()
        radio.say(SEALED, CIPHERED)
        line = service.log('stream "sealed"')
        assert line.endswith("not encrypted with this key, or changed on its way"), line
        radio.say(SEALED, CIPHERED)
        b.key(KEY)
        radio.say(SEALED, LATER)
        until(lambda: b.values("case"), "the reading")
        radio.say(SEALED, CIPHERED)
        service.log("counter 1122867 after 857870592")
        assert b.values("case") == [(5055, 2506)]
        assert len([x for x in service.lines if "not encrypted with" in x]) == 1, service.lines
        assert not [x for x in service.lines if KEY[:8] in x], "the key is in the log"
        assert service.end() == 0


def test_what_bluez_may_say_besides():
    with Radio() as radio, Bluetooth(radio) as b:
        radio.add(PLAIN)
        service = b.start()
        radio.listening()
        radio.say(PLAIN, "")
        radio.say(PLAIN, "40 03 BF")
        service.log("object 0x03 is cut short")
        radio.say(PLAIN, "40" + "00" * 300)
        radio.change(PLAIN, dbus.String("nothing", variant_level=1))
        radio.change(PLAIN, dbus.Dictionary({UUID: dbus.String("text", variant_level=1)}, signature="sv", variant_level=1))
        radio.change(PLAIN, dbus.Array([], signature="a{sv}", variant_level=1))
        radio.emit(radio.path(PLAIN), PROPERTIES, "PropertiesChanged", "s", "odd")
        radio.say(PLAIN, AIR)
        until(lambda: b.values("room"), "the reading")
        assert service.end() == 0


def test_only_bluez_is_believed():
    with Radio() as radio, Bluetooth(radio) as b:
        service = b.start()
        radio.listening()
        ours, = [x for x in radio.bus.list_names() if x.startswith(":") and
                 radio.bus.call_blocking("org.freedesktop.DBus", "/org/freedesktop/DBus", "org.freedesktop.DBus",
                                         "GetConnectionUnixProcessID", "s", [x]) == service.child.pid]
        forged = dbus.lowlevel.SignalMessage(radio.path(PLAIN), PROPERTIES, "PropertiesChanged")
        forged.set_destination(ours)
        forged.append(DEVICE, dbus.Dictionary({"ServiceData": service_data("40 02 00 00 03 10 27")}, signature="sv"),
                      dbus.Array([], signature="s"), signature="sa{sv}as")
        radio.bus.send_message(forged)
        radio.bus.flush()
        radio.add(PLAIN)
        radio.say(PLAIN, AIR)
        until(lambda: b.values("room"), "the reading")
        assert b.values("room") == [(5055, 2500)], b.values("room")


def test_bluez_restarts():
    with Radio() as radio, Bluetooth(radio) as b:
        service = b.start()
        radio.listening()
        radio.stop_bluez()
        service.log('source "air": BlueZ has gone, retrying in 10 s')
        radio.start_bluez()
        service.log('source "air": listens again')
        radio.add(PLAIN)
        radio.say(PLAIN, AIR)
        until(lambda: b.values("room"), "the reading")
        assert service.end() == 0


def test_adapter_comes_goes_and_is_switched():
    with Radio(adapter=False) as radio, Bluetooth(radio) as b:
        service = b.start()
        service.log('source "air": no adapter "hci0", retrying in 10 s')
        assert b.query("SELECT name, error FROM source") == [("air", 'no adapter "hci0"')]
        radio.bluez("AddAdapter", "hci1", "another")
        radio.bluez("AddAdapter", "hci0", "radio")
        service.log("listens again")
        radio.adapter(Powered=False)
        service.log('adapter "hci0" is switched off')
        after = len(service.lines)
        radio.adapter(Powered=True)
        service.log("listens again", after)
        after = len(service.lines)
        radio.bluez("RemoveAdapter", "hci0")
        service.log('adapter "hci0" has gone', after)
        assert service.end() == 0


def test_without_bluez_and_without_bus():
    with Radio(bluez=False) as radio, Bluetooth(radio) as b:
        service = b.start()
        service.log("BlueZ does not run")
        radio.stop_bus()
        radio.start_bus()
        radio.start_bluez()
        service.log("listens again")
        after = len(service.lines)
        radio.stop_bluez()
        service.log("BlueZ has gone", after)
        radio.stop_bus()
        assert service.end() == 0
        service = b.start()
        service.log('source "air": system bus: ')
        assert service.end() == 0
        radio.start_bus()


def test_readings_wait_for_a_store_that_is_held():
    with Radio() as radio, Bluetooth(radio) as b:
        service = b.start()
        radio.listening()
        radio.add(PLAIN)
        radio.say(PLAIN, AIR)
        until(lambda: b.values("room"), "the first reading")
        other = sqlite3.connect(b.store, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        radio.add(SEALED)
        radio.say(SEALED, CIPHERED)
        service.log("retrying with the next reading")
        other.execute("ROLLBACK")
        other.close()

        def second():
            radio.say(PLAIN, AIR)
            time.sleep(0.2)
            return len(b.values("room")) == 2
        until(second, "the next reading")
        assert b.values("case") == [(5055, 2506)], "what waited is there with it"
        assert service.end() == 0


def test_once():
    with Radio() as radio, Bluetooth(radio) as b:
        for address in (PLAIN, SEALED):
            radio.add(address)
        # said again and again, as sensors do, while it listens
        talk = subprocess.Popen([bench.program("seasond"), "--config", str(b.config), "--once"], cwd=b.folder,
                                env=b.environment, stderr=subprocess.PIPE, text=True)
        radio.listening()
        radio.say(PLAIN, AIR)
        radio.say(SEALED, CIPHERED)
        begun = time.monotonic()
        assert talk.communicate(timeout=bench.LIMIT_S)[1] == "" and talk.returncode == 0
        assert time.monotonic() - begun < 28, "it waited, though it had heard each"
        assert b.values("room") == [(5055, 2500)] and b.values("case") == [(5055, 2506)]
        # silence has an end
        result = b.daemon("--once", code=None)
        assert result.code and 'stream "plain": nothing of %s in 30 s' % PLAIN in result.err, result
        assert result.seconds > 29, result.seconds
        radio.stop_bluez()
        result = b.daemon("--once", code=None)
        assert result.code and "BlueZ does not run" in result.err, result


def test_a_replay_listens_to_nothing():
    with Radio() as radio, Bluetooth(radio) as b:
        b.daemon("--replay", "2026-01-01..2026-01-03")
        assert radio.calls("StartDiscovery") == []


if __name__ == "__main__":
    bench.main(globals())
