"""Why a box cannot be reached: a pure function over what was found out.

The order of the advice is that of likelihood; what would be noticed first comes first.
"""

from dataclasses import dataclass

from vfod.wire.host import NEWEST


@dataclass(frozen=True, kw_only=True, slots=True)
class Device:
    """A serial device that is there now; `stable` is its name under /dev/serial, "" if none."""

    path: str
    stable: str = ""
    #: What hangs on it, in the words of the device itself.
    about: str = ""
    vendor: str = ""
    product: str = ""
    serial: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sounding:
    """What came of an attempt at one speed."""

    baud: int
    #: Whether anything of our protocol came, and whether all three questions were answered.
    ours: bool = False
    greeted: bool = False
    #: Oldest and newest version that the box speaks; None when it did not say.
    versions: tuple[int, int] | None = None
    #: Who it says it is.
    name: str = ""
    #: The last bytes that were nothing of ours.
    sample: bytes = b""


@dataclass(frozen=True, kw_only=True, slots=True)
class Findings:
    """Everything that was found out about one port.

    `refused` is the reason of the LineError that opening it ended with, "" when it could be
    opened; `says` and `remedy` are that error's.
    """

    port: str
    baud: int = 115_200
    is_network: bool = False
    refused: str = ""
    says: str = ""
    remedy: str = ""
    there: tuple[Device, ...] = ()
    #: The device that `port` is, when it is a serial one.
    device: Device | None = None
    #: Other processes that have the port open, and services that try serial ports out: their
    #: numbers and names.
    holders: tuple[tuple[int, str], ...] = ()
    probers: tuple[tuple[int, str], ...] = ()
    soundings: tuple[Sounding, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Advice:
    """One thing that is so and what to do about it; `cause` False: not why it fails now."""

    code: str
    says: str
    remedy: str
    cause: bool = True


#: Longest piece shown of what something else says.
_SHOWN = 60


def is_greeted(found: Findings) -> bool:
    """Whether the box answered the greeting at the speed that was asked for."""
    return any(one.greeted and one.baud == found.baud for one in found.soundings)


def diagnose(found: Findings) -> list[Advice]:
    """What is wrong, in order of likelihood; after a greeting only what may go wrong later."""
    greeted = is_greeted(found)
    advice = [
        _refused(found),
        _shared(found, greeted),
        _prober(found, greeted),
        _name(found),
        _talk(found, greeted),
    ]
    return [one for one in advice if one is not None]


def _refused(found: Findings) -> Advice | None:
    remedy = found.remedy
    if found.refused in ("missing", "no-port") and not found.is_network:
        remedy = _there_are(found.there)
    if found.refused in ("busy", "forbidden") and any(_is_daemon(n) for _, n in found.holders):
        remedy = "that is the daemon: ask it with `vfod status`, or stop it for this"
    return Advice(code=found.refused, says=found.says, remedy=remedy) if found.refused else None


def _there_are(devices: tuple[Device, ...]) -> str:
    if not devices:
        return (
            "no serial device is there at this moment: plug the VFO in, with a cable that carries"
            " data and not power alone; `sudo dmesg` tells whether the kernel has seen it"
        )
    lines = [f"{one.stable or one.path} ({one.about or 'says nothing of itself'})"
             for one in devices]  # fmt: skip
    return "at this moment there is " + ", ".join(lines)


def _is_daemon(command: str) -> bool:
    words = command.split()
    return "serve" in words and any("vfod" in word for word in words)


def _shared(found: Findings, greeted: bool) -> Advice | None:
    if found.refused or not found.holders:
        return None
    who = " and ".join(f"process {pid} ({command})" for pid, command in found.holders)
    return Advice(
        code="shared",
        says=f"{who} has {found.port} open as well, and takes away a part of what comes",
        remedy="end it",
        cause=not greeted,
    )


def _prober(found: Findings, greeted: bool) -> Advice | None:
    if not found.probers or found.is_network:
        return None
    who = " and ".join(f"{name} (process {pid})" for pid, name in found.probers)
    remedy = f"stop it if you do not need it: sudo systemctl disable --now {found.probers[0][1]}"
    if found.device is not None and found.device.vendor:
        remedy += f"; or keep it off this device by a udev rule: {_rule(found.device, ignore=True)}"
    return Advice(
        code="prober",
        says=f"{who} tries serial ports out when they appear, and may hold or disturb this one",
        remedy=remedy,
        cause=not greeted and found.refused in ("", "busy"),
    )


def _name(found: Findings) -> Advice | None:
    device = found.device
    if device is None or found.port != device.path:
        return None
    if device.stable:
        remedy = f"write {device.stable} instead"
    elif device.vendor:
        remedy = f"give it a name by a udev rule: {_rule(device)}; then write /dev/vfo"
    else:
        return None
    return Advice(
        code="name",
        says=f"{found.port} may be another device's name after the next boot",
        remedy=remedy,
        cause=False,
    )


def _rule(device: Device, *, ignore: bool = False) -> str:
    parts = [
        'SUBSYSTEM=="tty"',
        f'ATTRS{{idVendor}}=="{device.vendor}"',
        f'ATTRS{{idProduct}}=="{device.product}"',
    ]
    if device.serial:
        parts.append(f'ATTRS{{serial}}=="{device.serial}"')
    parts.append('SYMLINK+="vfo"')
    if ignore:
        # What the prober of modems looks at.
        parts.append('ENV{ID_MM_DEVICE_IGNORE}="1"')
    return ", ".join(parts)


def _talk(found: Findings, greeted: bool) -> Advice | None:
    """What the bytes tell, when the port could be opened."""
    if found.refused or greeted:
        return None
    here = next((one for one in found.soundings if one.baud == found.baud), None)
    if here is not None and here.ours:
        return _our_own(found, here)
    elsewhere = next((one for one in found.soundings if one.ours), None)
    if elsewhere is not None:
        return Advice(
            code="speed",
            says=f"it speaks at {elsewhere.baud} baud, not at {found.baud}",
            remedy=f"write `baud: {elsewhere.baud}`, or let the box speak at {found.baud}",
        )
    sample = next((one.sample for one in found.soundings if one.sample), b"")
    if sample:
        shown = ascii(sample[-_SHOWN:].decode("latin-1"))
        return Advice(
            code="other",
            says=f"something else answers: {shown}",
            remedy="look whether the VFO hangs on this port, and which program runs in it",
        )
    return Advice(
        code="silent",
        says=f"{found.port} can be opened, and nothing answers",
        remedy="look whether the VFO is switched on and its firmware runs, and whether sending and"
        " receiving are crossed; `dtr: off` and `rts: off` help where these lines reset it",
    )


def _our_own(found: Findings, here: Sounding) -> Advice:
    if here.versions is not None:
        oldest, newest = here.versions
        if oldest > NEWEST:
            return Advice(
                code="version",
                says=f"the box speaks version {oldest} and newer of the line protocol, this"
                f" program version {NEWEST}",
                remedy="update this program",
            )
        if newest < 1:
            return Advice(
                code="version",
                says=f"the box speaks version {newest} of the line protocol, which is too old",
                remedy="update the firmware of the box",
            )
    return Advice(
        code="greeting",
        says="the box speaks the line protocol, but does not answer the greeting as it should",
        remedy=f"see where it fails: vfod conform {found.port}",
    )
