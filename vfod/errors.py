"""Every error this program raises on purpose, as one tree.

    VfodError                  something a person can read and act on
    ├── UsageError             the caller's words are wrong; saying the same again will not help
    │   ├── QuantityError      a text that is no frequency, no duration, no step
    │   ├── RequestError       a request that is not in the table, or has wrong arguments
    │   └── ConfigError        the configuration file; carries every complaint at once
    ├── RefusedError           right words, but not now or not here; the state is unchanged
    │   ├── OutOfRangeError    outside the limits of the receiver or of the box
    │   ├── HandError          a hand is on the knob; asking again later may help
    │   ├── LinkDownError      the box is not reachable at this moment
    │   └── BoxRefusedError    the box answered with an error of its own
    ├── LineError              the serial line or socket below the link
    │   ├── PortMissingError   there is no such port
    │   ├── PortForbiddenError the port exists, this process may not open it
    │   ├── PortBusyError      another process holds the port
    │   ├── LineLostError      it was open and is gone (end of file, unplugged, reset by peer)
    │   └── NoReplyError       open, but nothing that speaks our protocol answered in time
    ├── WireError              a line that breaks the grammar of the line protocol
    ├── StoreError             the journal's file
    ├── DoorError              an output: broker refused, address in use
    ├── DaemonAbsentError      no daemon listens at the control socket
    └── AlreadyRunningError    a second daemon for the same port, socket, journal or identifier

An error names the place and says the remedy; the command line prints both and exits with
`exit_code`, the doors answer with `code`. Nothing here imports anything, so that the quick verbs
may use it.
"""


class VfodError(Exception):
    """Root of the tree.

    `remedy` is what the reader can do about it, as a sentence, or empty.
    `code` is the word for machines; `exit_code` the process's status; `rpc_code` the number that
    JSON-RPC 2.0 wants (its range -32000 to -32099 is left to applications, section 5.1).
    """

    code = "error"
    exit_code = 1
    rpc_code = -32000

    def __init__(self, message: str, *, remedy: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.message}; {self.remedy}" if self.remedy else self.message


class UsageError(VfodError):
    """The caller's words are wrong; saying the same again will not help."""

    code = "usage"
    exit_code = 2
    rpc_code = -32602


class QuantityError(UsageError):
    """A text that is no frequency, no duration or no step."""

    code = "quantity"


class RequestError(UsageError):
    """A request that is not in the table of requests, or whose arguments do not fit it."""

    code = "request"

    def __init__(self, message: str, *, remedy: str = "", unknown_method: bool = False) -> None:
        super().__init__(message, remedy=remedy)
        if unknown_method:
            self.rpc_code = -32601


class ConfigError(UsageError):
    """The configuration file cannot be used; `complaints` are all of them, ready to print."""

    code = "config"
    exit_code = 3

    def __init__(self, complaints: list[str]) -> None:
        super().__init__("\n".join(complaints))
        self.complaints = complaints


class RefusedError(VfodError):
    """Right words, but not now or not here; the state is unchanged."""

    code = "refused"
    exit_code = 4
    rpc_code = -32001


class OutOfRangeError(RefusedError):
    """Outside the limits of the receiver or of the box."""

    code = "range"
    rpc_code = -32002


class HandError(RefusedError):
    """A hand moved the dial after the last movement the asker could know of.

    `frequency` is where the hand left the oscillator, millihertz, where the box says so.
    """

    code = "hand"
    rpc_code = -32003

    def __init__(self, message: str, *, frequency: int | None = None, remedy: str = "") -> None:
        super().__init__(message, remedy=remedy)
        self.frequency = frequency


class LinkDownError(RefusedError):
    """The box is not reachable at this moment."""

    code = "link-down"
    exit_code = 5
    rpc_code = -32004


class BoxRefusedError(RefusedError):
    """The box answered with an error; `box_code` is the code it gave (docs/protocol.md)."""

    code = "box"
    rpc_code = -32005

    def __init__(self, message: str, *, box_code: str, remedy: str = "") -> None:
        super().__init__(message, remedy=remedy)
        self.box_code = box_code


class LineError(VfodError):
    """The serial line or socket below the link.

    `reason` is a short word for metrics, `port` the line's name as far as known.
    """

    code = "line"
    exit_code = 5
    rpc_code = -32006
    reason = "line"

    def __init__(self, message: str, *, remedy: str = "", port: str = "", reason: str = "") -> None:
        super().__init__(message, remedy=remedy)
        self.port = port
        self.reason = reason or type(self).reason


class PortMissingError(LineError):
    """There is no such port."""

    reason = "missing"


class PortForbiddenError(LineError):
    """The port exists, but this process may not open it."""

    reason = "forbidden"


class PortBusyError(LineError):
    """Another process holds the port."""

    reason = "busy"


class LineLostError(LineError):
    """The line was open and is gone."""

    reason = "lost"


class NoReplyError(LineError):
    """The line is open, but nothing that speaks the protocol answered in time."""

    reason = "silent"


class WireError(VfodError):
    """A line that breaks the grammar of the line protocol.

    `line` is the offending line without its line feed; `box_code` the error code of
    docs/protocol.md that a device answers with ("syntax", "checksum", "unknown", "range").
    """

    code = "wire"
    rpc_code = -32007

    def __init__(self, message: str, *, line: bytes, box_code: str = "syntax") -> None:
        super().__init__(message)
        self.line = line
        self.box_code = box_code


class StoreError(VfodError):
    """The journal's file cannot be read or written."""

    code = "store"
    exit_code = 7
    rpc_code = -32008


class DoorError(VfodError):
    """An output could not do its work: broker refused, address in use.

    `reason` is a short word for metrics.
    """

    code = "door"
    exit_code = 8
    rpc_code = -32009

    def __init__(self, message: str, *, remedy: str = "", reason: str = "door") -> None:
        super().__init__(message, remedy=remedy)
        self.reason = reason


class DaemonAbsentError(VfodError):
    """No daemon listens at the control socket."""

    code = "no-daemon"
    exit_code = 6


class AlreadyRunningError(VfodError):
    """A second daemon for the same port, socket, journal or identifier."""

    code = "already-running"
    exit_code = 9
