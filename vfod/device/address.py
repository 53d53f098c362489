"""The port that a text names: the path of a serial device, or `socket://host:port`."""

from typing import get_args
from urllib.parse import urlsplit

from vfod.device.port import Port
from vfod.device.serial import Lead, SerialPort
from vfod.device.tcp import TcpPort
from vfod.errors import UsageError

_REMEDY = "write the path of a serial device, or socket://host:port"


def port_from(text: str, *, baud: int = 115200, dtr: str = "on", rts: str = "on") -> Port:
    """The port named by `text`; `baud`, `dtr` and `rts` are for serial devices only.

    Nothing is opened. Raises UsageError for a text, a speed or a policy that cannot be.
    """
    if "://" in text:
        return _socket(text)
    if not text or "\0" in text:
        raise UsageError(f"{text!r} is no port", remedy=_REMEDY)
    if baud <= 0:
        raise UsageError(f"{baud} is no speed of a serial line", remedy="usual is 115200")
    return SerialPort(text, baud, dtr=_lead(dtr, "dtr"), rts=_lead(rts, "rts"))


def _socket(text: str) -> TcpPort:
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError:
        raise UsageError(f"{text!r} has no usable host and port", remedy=_REMEDY) from None
    if parts.scheme != "socket":
        raise UsageError(f"{text!r}: {parts.scheme}:// is not spoken here", remedy=_REMEDY)
    if not host or not port:
        raise UsageError(f"{text!r} has no {'port' if host else 'host'}", remedy=_REMEDY)
    if parts.path.strip("/") or parts.query or parts.fragment or "@" in parts.netloc:
        raise UsageError(f"{text!r} says more than host and port", remedy=_REMEDY)
    return TcpPort(host, port)


def _lead(text: str, name: str) -> Lead:
    for word in get_args(Lead):
        if text == word:
            return word  # type: ignore[no-any-return]  # get_args gives Any; it is one of Lead's
    raise UsageError(f"{name}: {text!r} is no policy", remedy=f"write {', '.join(get_args(Lead))}")
