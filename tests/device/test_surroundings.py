"""Which devices are there, on a /sys, /dev and /proc of the test's own (sysfs: from memory)."""

from pathlib import Path

import pytest

from vfod.device.diagnosis import Device
from vfod.device.surroundings import Surroundings


@pytest.fixture
def around(tmp_path: Path) -> Surroundings:
    """One USB device with a stable name, one without, a port of the board and one that is none."""
    for name in ("sys", "by-id", "proc", "dev"):
        (tmp_path / name).mkdir()
    bus = tmp_path / "bus"
    for tty, facts in (
        ("ttyACM0", {"idVendor": "1209", "idProduct": "0001", "manufacturer": "maker",
                     "product": "vfo", "serial": "0007"}),
        ("ttyUSB0", {"idVendor": "1209", "idProduct": "0002"}),
    ):  # fmt: skip
        interface = bus / tty / "1-1:1.0"
        interface.mkdir(parents=True)
        for key, text in facts.items():
            (bus / tty / key).write_text(f"{text}\n")
        (tmp_path / "sys" / tty).mkdir()
        (tmp_path / "sys" / tty / "device").symlink_to(interface)
        (tmp_path / "dev" / tty).touch()
    for tty, kind in (("ttyS0", "4"), ("ttyS1", "0")):
        (tmp_path / "sys" / tty / "device").mkdir(parents=True)
        (tmp_path / "sys" / tty / "type").write_text(f"{kind}\n")
        (tmp_path / "dev" / tty).touch()
    # A virtual terminal hangs on nothing.
    (tmp_path / "sys" / "tty1").mkdir()
    (tmp_path / "by-id" / "usb-maker_vfo_0007-if00").symlink_to(tmp_path / "dev" / "ttyACM0")
    for pid, name in ((7, "cat"), (9, "brltty"), (12, "ModemManager")):
        (tmp_path / "proc" / str(pid)).mkdir()
        (tmp_path / "proc" / str(pid) / "comm").write_text(f"{name}\n")
    (tmp_path / "proc" / "self").mkdir()
    return Surroundings(
        ttys=tmp_path / "sys",
        stable=tmp_path / "by-id",
        processes=tmp_path / "proc",
        devices=tmp_path / "dev",
    )


def test_the_devices_and_what_hangs_on_them(around: Surroundings) -> None:
    """USB devices with their own words; names without a port behind them are left out."""
    dev = around.devices
    assert (
        Device(
            path=str(dev / "ttyACM0"),
            stable=str(around.stable / "usb-maker_vfo_0007-if00"),
            about="USB 1209:0001 maker vfo 0007",
            vendor="1209",
            product="0001",
            serial="0007",
        ),
        Device(path=str(dev / "ttyS0")),
        Device(
            path=str(dev / "ttyUSB0"), about="USB 1209:0002", vendor="1209", product="0002"
        ),
    ) == around.there()  # fmt: skip


def test_a_stable_name_leads_to_its_device(around: Surroundings) -> None:
    """And a path that is none of them to nothing."""
    named = around.device(str(around.stable / "usb-maker_vfo_0007-if00"))
    assert named == around.device(str(around.devices / "ttyACM0"))
    assert named is not None
    assert around.device(str(around.devices / "ttyS9")) is None


def test_the_services_that_probe(around: Surroundings) -> None:
    """By the names that the kernel has of them."""
    assert ((9, "brltty"), (12, "ModemManager")) == around.probers()


def test_a_machine_without_any_of_it(tmp_path: Path) -> None:
    """Folders that are not there are empty, not an error."""
    none = tmp_path / "none"
    nowhere = Surroundings(ttys=none, stable=none, processes=none, devices=none)
    assert ((), ()) == (nowhere.there(), nowhere.probers())
