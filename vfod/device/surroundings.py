"""What is around a serial port: which devices are there, what hangs on them, who probes them.

Everything here reads /sys, /dev and /proc, may take a moment, and belongs in a thread.
"""

import os
from dataclasses import dataclass
from pathlib import Path

from vfod.device.diagnosis import Device

#: Services that open serial ports by themselves to find out what hangs there: the manager of
#: cellular modems, the driver of Braille displays, the daemon of positioning receivers. As the
#: kernel has their names, which it cuts to 15 characters.
PROBERS = frozenset({"ModemManager", "brltty", "gpsd"})

#: The type of a port that the kernel keeps a name for though there is none
#: (PORT_UNKNOWN of linux/serial_core.h).
_NO_PORT = "0"


@dataclass(frozen=True, kw_only=True, slots=True)
class Surroundings:
    """Where to look; the places of the system, unless a test has its own."""

    ttys: Path = Path("/sys/class/tty")
    stable: Path = Path("/dev/serial/by-id")
    processes: Path = Path("/proc")
    devices: Path = Path("/dev")

    def there(self) -> tuple[Device, ...]:
        """The serial devices that are there, those with a stable name first."""
        names = self._stable_names()
        found = [
            self._device(entry, names)
            for entry in _inside(self.ttys)
            if (entry / "device").exists() and _text(entry / "type") != _NO_PORT
        ]
        return tuple(sorted(found, key=lambda device: (not device.stable, device.path)))

    def device(self, port: str) -> Device | None:
        """The device that the path `port` names, through links; None when it is none of them."""
        real = os.path.realpath(port)
        return next((one for one in self.there() if os.path.realpath(one.path) == real), None)

    def probers(self) -> tuple[tuple[int, str], ...]:
        """The running services of PROBERS, by number and name."""
        found = [
            (int(entry.name), name)
            for entry in _inside(self.processes)
            if entry.name.isdigit() and (name := _text(entry / "comm")) in PROBERS
        ]
        return tuple(sorted(found))

    def _stable_names(self) -> dict[str, str]:
        return {os.path.realpath(link): str(link) for link in sorted(_inside(self.stable))}

    def _device(self, entry: Path, names: dict[str, str]) -> Device:
        path = str(self.devices / entry.name)
        usb = _usb(entry / "device")
        words = [_text(usb / name) for name in ("manufacturer", "product", "serial")] if usb else []
        vendor, product = (_text(usb / "idVendor"), _text(usb / "idProduct")) if usb else ("", "")
        about = " ".join(word for word in words if word)
        if usb:
            about = f"USB {vendor}:{product} {about}".strip()
        return Device(
            path=path,
            stable=names.get(os.path.realpath(path), ""),
            about=about,
            vendor=vendor,
            product=product,
            serial=words[2] if words else "",
        )


def _usb(device: Path) -> Path | None:
    """The folder of the USB device that this belongs to: one of those above it."""
    real = Path(os.path.realpath(device))
    return next((one for one in (real, *real.parents) if (one / "idVendor").exists()), None)


def _text(path: Path) -> str:
    try:
        return path.read_text(errors="replace").strip()
    except OSError:
        return ""


def _inside(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:
        return []
