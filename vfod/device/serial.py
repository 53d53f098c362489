"""A serial device by its path: pyserial opens and configures it, this file reads and writes it.

Opening and closing may block in the kernel, so both happen in a thread. Between them the bare
descriptor is watched by the loop; end of file and every error of a read or write mean lost, and
the descriptor is closed at once, so that a device that comes back gets its old name.
"""

import asyncio
import contextlib
import fcntl
import os
import termios
import threading
from typing import Literal

import serial

from vfod.device.places import refusal, wrong_kind
from vfod.device.port import WRITE_LIMIT, Line, Lost, Received
from vfod.device.timing import CLOSE_LIMIT
from vfod.errors import LineError, LineLostError

#: What to do with DTR or RTS: raise it, lower it, leave it as the kernel set it at opening.
Lead = Literal["on", "off", "leave"]

#: Major device numbers of pseudo-terminals (kernel: Documentation/admin-guide/devices.txt).
_PSEUDO_TERMINALS = range(136, 144)

#: The last close of each path in this process. Whoever opens it next, be it another object with
#: another speed, would find it still locked by ourselves.
_closings: dict[str, threading.Thread] = {}

_READ_SIZE = 4096
#: Index of the control flags and of the special characters in what termios.tcgetattr gives.
_CFLAG, _CC = 2, 6


class SerialPort:
    """The device at `path`, opened by name each time, so a re-pointed symbolic link is followed.

    `dtr` and `rts` are what these lines become at opening. The kernel raises both inside open()
    itself, so "off" only shortens a pulse; clearing HUPCL keeps them as they are over a close and
    the next open. "on" is the default because native USB boards are silent while DTR is low.
    """

    def __init__(self, path: str, baud: int = 115200, dtr: Lead = "on", rts: Lead = "on") -> None:
        self._path = path
        self._baud = baud
        self._dtr = dtr
        self._rts = rts
        self._opening: asyncio.Future[int] | None = None

    @property
    def name(self) -> str:
        """See Port."""
        return self._path

    async def open(self, received: Received, lost: Lost) -> Line:
        """See Port."""
        if self._opening is not None and not self._opening.done():
            # Nobody waits for that one any more; with it under way this one would find us busy.
            await asyncio.wait([self._opening])
        opening = self._opening = asyncio.get_running_loop().run_in_executor(None, self._open)
        try:
            fd = await asyncio.shield(opening)
        except asyncio.CancelledError:
            opening.add_done_callback(self._discard)
            raise
        return _SerialLine(self, fd, received, lost)

    def close_fd(self, fd: int) -> None:
        """Close in a thread, which no exit of the program waits for."""
        closing = threading.Thread(
            target=_close, args=(fd,), name=f"close {self._path}", daemon=True
        )
        closing.start()
        _closings[self._path] = closing

    def _discard(self, opening: "asyncio.Future[int]") -> None:
        if not opening.cancelled() and opening.exception() is None:
            self.close_fd(opening.result())

    def _open(self) -> int:
        """The configured descriptor, in a thread."""
        if (closing := _closings.pop(self._path, None)) is not None:
            closing.join(CLOSE_LIMIT)
        if (error := wrong_kind(self._path)) is not None:
            raise error
        device = _Device(leave_dtr=self._dtr == "leave", leave_rts=self._rts == "leave")
        device.port = self._path
        device.dtr = self._dtr == "on"
        device.rts = self._rts == "on"
        try:
            device.baudrate = self._baud
            device.exclusive = True
            device.open()
        except ValueError as error:
            raise LineError(
                f"{self._path} cannot be set to {self._baud} baud",
                remedy="choose a usual speed, such as 115200",
                port=self._path,
            ) from error
        except (OSError, termios.error) as error:
            raise refusal(self._path, error) from error
        try:
            with contextlib.suppress(ValueError):
                device.set_low_latency_mode(True)
            # The descriptor outlives pyserial's object, whose pipes are not needed.
            fd = os.dup(device.fileno())
        finally:
            device.close()
        try:
            _finish(fd)
        except (OSError, termios.error) as error:
            os.close(fd)
            raise refusal(self._path, error) from error
        return fd


class _Device(serial.Serial):
    """A port of pyserial that can leave a control line alone, which pyserial itself cannot."""

    def __init__(self, *, leave_dtr: bool, leave_rts: bool) -> None:
        super().__init__()
        self._leave_dtr = leave_dtr
        self._leave_rts = leave_rts

    def _update_dtr_state(self) -> None:
        if not self._leave_dtr:
            super()._update_dtr_state()  # type: ignore[misc]  # not in the stubs

    def _update_rts_state(self) -> None:
        if not self._leave_rts:
            super()._update_rts_state()  # type: ignore[misc]  # not in the stubs


class _SerialLine:
    def __init__(self, port: SerialPort, fd: int, received: Received, lost: Lost) -> None:
        self._port = port
        self._fd = fd
        self._received = received
        self._lost = lost
        self._unsent = bytearray()
        #: Whether the loop tells us when the device takes bytes again.
        self._waiting = False
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(fd, self._readable)

    def write(self, data: bytes) -> None:
        if self._fd < 0:
            return
        self._unsent += data
        if not self._waiting:
            self._send()
        if len(self._unsent) > WRITE_LIMIT:
            self._fail(f"{self._port.name} accepts no more bytes", "stuck")

    def close(self) -> None:
        self._lost = _nobody
        self._release()

    def _send(self) -> None:
        try:
            del self._unsent[: os.write(self._fd, self._unsent)]
        except BlockingIOError:
            pass
        except OSError as error:
            self._fail(f"{self._port.name}: writing failed ({error.strerror})")
            return
        if self._waiting != bool(self._unsent):
            self._waiting = not self._waiting
            if self._waiting:
                self._loop.add_writer(self._fd, self._send)
            else:
                self._loop.remove_writer(self._fd)

    def _readable(self) -> None:
        try:
            data = os.read(self._fd, _READ_SIZE)
        except BlockingIOError:
            return
        except OSError as error:
            self._fail(f"{self._port.name}: reading failed ({error.strerror})")
            return
        if data:
            self._received(data)
        else:
            self._fail(f"{self._port.name} is gone (unplugged, or closed at the far end)")

    def _fail(self, message: str, reason: str = "lost") -> None:
        if self._fd >= 0:
            self._release()
            self._loop.call_soon(
                self._tell, LineLostError(message, reason=reason, port=self._port.name)
            )

    def _tell(self, error: LineError) -> None:
        self._lost(error)

    def _release(self) -> None:
        fd, self._fd = self._fd, -1
        if fd >= 0:
            self._loop.remove_reader(fd)
            self._loop.remove_writer(fd)
            self._unsent.clear()
            self._port.close_fd(fd)


def _nobody(_: LineError) -> None:
    """The owner has closed the line and wants to hear no more."""


def _finish(fd: int) -> None:
    """Alone on the device, without hang-up at close, and ready for the loop."""
    if os.major(os.fstat(fd).st_rdev) not in _PSEUDO_TERMINALS:
        # The lock that pyserial takes is seen only by those who ask for one. A pseudo-terminal
        # would stay exclusive after this process was killed, as long as its far end lives.
        fcntl.ioctl(fd, termios.TIOCEXCL)
    attributes = termios.tcgetattr(fd)
    attributes[_CFLAG] &= ~termios.HUPCL
    # pyserial's 0 makes an empty read look like the end of file.
    attributes[_CC][termios.VMIN] = 1
    termios.tcsetattr(fd, termios.TCSANOW, attributes)
    os.set_blocking(fd, False)


def _close(fd: int) -> None:
    with contextlib.suppress(termios.error, OSError):
        # Unsent bytes of a device that takes nothing would hold the close for 30 s.
        termios.tcflush(fd, termios.TCIOFLUSH)
    with contextlib.suppress(OSError):
        os.close(fd)
