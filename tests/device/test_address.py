"""Texts that name a port."""

import pytest

from vfod.device.address import port_from
from vfod.device.serial import SerialPort
from vfod.device.tcp import TcpPort
from vfod.errors import UsageError


@pytest.mark.parametrize("text", ["/dev/ttyACM0", "/dev/serial/by-id/usb-One:VFO", "./pty"])
def test_a_path_is_a_serial_device(text: str) -> None:
    port = port_from(text)
    assert isinstance(port, SerialPort)
    assert text == port.name


@pytest.mark.parametrize(
    "text",
    ["socket://shack:4000", "socket://[::1]:4000", "socket://10.0.0.7:1", "socket://a:65535"],
)
def test_a_socket(text: str) -> None:
    port = port_from(text)
    assert isinstance(port, TcpPort)
    assert text == port.name


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is no port"),
        ("/dev/tty\0", "is no port"),
        ("socket://shack", "has no port"),
        ("socket://:4000", "has no host"),
        ("socket://shack:0", "has no port"),
        ("socket://shack:70000", "no usable host and port"),
        ("socket://shack:serial", "no usable host and port"),
        ("socket://[::1:4000", "no usable host and port"),
        ("socket://shack:4000/tty", "more than host and port"),
        ("socket://me@shack:4000", "more than host and port"),
        ("rfc2217://shack:4000", "rfc2217:// is not spoken here"),
        ("http://shack:4000", "http:// is not spoken here"),
    ],
)
def test_what_names_no_port(text: str, says: str) -> None:
    """Each has its own complaint, and the remedy shows both forms."""
    with pytest.raises(UsageError, match="write the path of a serial device, or socket://") as got:
        port_from(text)
    assert says in str(got.value)


@pytest.mark.parametrize(
    ("baud", "dtr", "rts"), [(0, "on", "on"), (9600, "no", "on"), (9600, "on", "")]
)
def test_what_cannot_be_set(baud: int, dtr: str, rts: str) -> None:
    with pytest.raises(UsageError):
        port_from("/dev/ttyACM0", baud=baud, dtr=dtr, rts=rts)
