r"""The control socket: how the shell asks.

A Unix stream socket that speaks JSON-RPC 2.0 (`vfod.outputs.rpc`), one object a line. Who asks is
told by the kernel and recorded with what they change.

For callers that cannot afford a JSON parser (the quick verbs, a key binding through `nc -U`) every
answer is one line of printable ASCII that can be cut with string operations:

    {"jsonrpc":"2.0","id":ID,"result":{...,"text":"TEXT"}}\n
    {"jsonrpc":"2.0","id":ID,"error":{"code":N,"data":{...,"exit":STATUS},"message":"TEXT"}}\n

There are no spaces between members, and the order of those shown is kept. A line with a result
begins as the first form does up to `"result":{`, and one with an error up to `"error":{`; ID is
the id of the request, which such callers choose to be `"plain"`. TEXT is what follows the last
`"text":"` (or `"message":"`) of the line, up to the last `"}}`: within TEXT a quotation mark is
always written `\"`, so neither can occur in it. It is escaped as JSON is (`\"`, `\\`, `\n`,
`\uXXXX` and so on, characters above U+FFFF as two surrogates), which Python's `unicode_escape`
undoes; the message is whole, remedy included. STATUS, the digits between the last `"exit":` and the
next `}`, is what the command should exit with.
"""

import asyncio
import contextlib
import errno
import fcntl
import grp
import itertools
import os
import pwd
import socket
import stat
import struct
from dataclasses import dataclass
from pathlib import Path

from vfod.clock import Clock
from vfod.errors import AlreadyRunningError, DoorError, RefusedError, RequestError
from vfod.events import Door, Origin
from vfod.outputs import rpc
from vfod.outputs.door import Count, Opened, Snapshot, Subscribe, keep_open
from vfod.state import Feed, State, Submit, Tell

NAME = "control"

#: Read and write for the owner and the group: whoever may use it may move the dial.
_MODE = 0o660

#: Seconds for a client that is shown out to fetch what was said to it.
_PARTING = 2.0


@dataclass(frozen=True, kw_only=True, slots=True)
class ControlSettings:
    """Where the socket is and what a client may do there."""

    path: Path
    #: Group whose members may use it; None leaves it with the daemon's own group.
    group: str | None = None
    #: Clients at the same time: a household has a handful, the limit keeps descriptors free.
    clients: int = 200
    #: Seconds after which a client that neither asks nor watches is shown out.
    idle: float = 300.0
    #: Bytes waiting for a client that does not read, before it is dropped.
    backlog: int = 256 * 1024


class Control:
    """The door itself. `claim` takes the socket's place, `run` serves at it."""

    def __init__(
        self,
        settings: ControlSettings,
        *,
        submit: Submit,
        subscribe: Subscribe,
        snapshot: Snapshot,
        tell: Tell,
        count: Count,
        clock: Clock,
    ) -> None:
        self.settings = settings
        self.submit = submit
        self.subscribe = subscribe
        self.snapshot = snapshot
        self.count = count
        self._tell = tell
        self._clock = clock
        self._numbers = itertools.count(1)
        self._clients: set[asyncio.Task[None]] = set()
        self._claimed: tuple[socket.socket, int] | None = None

    def claim(self) -> None:
        """Take the place, so that a second daemon finds out before it has touched anything.

        Raises AlreadyRunningError when somebody serves there, DoorError when it cannot be had.
        """
        if self._claimed is None:
            try:
                self._claimed = _claim(self.settings.path, self.settings.group)
            except OSError as error:
                why = error.strerror or error
                # The kernel's word for a path over 107 bytes comes without a number.
                long = error.errno is None
                raise DoorError(
                    f"the control socket {self.settings.path} cannot be made: {why}",
                    remedy="give it a shorter path"
                    if long
                    else "see that its directory exists and may be written to",
                    reason="forbidden" if isinstance(error, PermissionError) else "system",
                ) from error

    def release(self) -> None:
        """Give the place up, where it was claimed."""
        if self._claimed is not None:
            sock, lock = self._claimed
            self._claimed = None
            with contextlib.suppress(OSError):
                self.settings.path.unlink()
            sock.close()
            os.close(lock)

    async def run(self) -> None:
        """Serve until cancelled."""
        try:
            await keep_open(NAME, self._serve, tell=self._tell, clock=self._clock)
        finally:
            self.release()

    async def _serve(self, opened: Opened) -> None:
        self.claim()
        assert self._claimed is not None
        server = await asyncio.start_unix_server(
            self._arrived,
            sock=self._claimed[0],
            limit=rpc.LINE_LIMIT,
            backlog=self.settings.clients,
        )
        try:
            opened(str(self.settings.path))
            await asyncio.get_running_loop().create_future()
        finally:
            server.close()
            for client in self._clients:
                client.cancel()
            await asyncio.gather(*self._clients, return_exceptions=True)
            self.release()

    def _arrived(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if len(self._clients) >= self.settings.clients:
            error = RefusedError(
                f"{len(self._clients)} clients are connected already", remedy="close some of them"
            )
            writer.write(rpc.failure(None, error))
            writer.close()
            return
        client = _Client(self, reader, writer, next(self._numbers))
        task = asyncio.create_task(client.talk(), name=f"control client {client.number}")
        self._clients.add(task)
        task.add_done_callback(self._clients.discard)


class _Client:
    """One connection: its lines are answered one after the other, and events may run beside."""

    def __init__(
        self,
        control: Control,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        number: int,
    ) -> None:
        self.number = number
        self._control = control
        self._reader = reader
        self._writer = writer
        self._watching: asyncio.Task[None] | None = None

    async def talk(self) -> None:
        """Answer until the client goes, is idle for too long or breaks the rules."""
        with contextlib.suppress(OSError):
            try:
                await self._answer_lines()
            finally:
                if self._watching is not None:
                    self._watching.cancel()
                await self._part()

    async def _answer_lines(self) -> None:
        exchange = rpc.Exchange(
            submit=self._control.submit,
            origin=Origin(door=Door.SHELL, who=_peer(self._writer)),
            label=f"{Door.SHELL}-{self.number}",
            count=self._control.count,
            watch=self._watch,
        )
        while True:
            try:
                async with asyncio.timeout(None if self._watching else self._control.settings.idle):
                    line = await self._reader.readuntil()
            except asyncio.LimitOverrunError:
                limit = rpc.LINE_LIMIT
                self._send(rpc.failure(None, RequestError(f"a line of more than {limit} bytes")))
                return
            except asyncio.IncompleteReadError as ended:
                # A last line whose end was forgotten is as good as any other.
                line = ended.partial
            except TimeoutError:
                return
            if line.strip() and (answer := await exchange.answer(line)) is not None:
                self._send(answer)
            if not line.endswith(b"\n"):
                return
            # Its next line may be here already; everybody else's turn comes first.
            await asyncio.sleep(0)  # noqa: TID251 - a turn of the loop, and no time

    def _watch(self) -> State:
        if self._watching is not None:
            raise RefusedError("this connection watches already")
        subscription = self._control.subscribe()
        feed = subscription.__enter__()
        self._watching = asyncio.create_task(self._stream(feed))
        self._watching.add_done_callback(lambda _: subscription.__exit__(None, None, None))
        return self._control.snapshot()

    async def _stream(self, feed: Feed) -> None:
        async for stamped, state in feed:
            self._send(rpc.notification(stamped, state.place))

    def _send(self, line: bytes) -> None:
        """Hand a line to the kernel or keep it; a client that lets too much lie is dropped."""
        if self._writer.is_closing():
            return
        self._writer.write(line)
        if self._writer.transport.get_write_buffer_size() > self._control.settings.backlog:
            self._writer.transport.abort()

    async def _part(self) -> None:
        self._writer.close()
        try:
            async with asyncio.timeout(_PARTING):
                await self._writer.wait_closed()
        except TimeoutError:
            self._writer.transport.abort()


def _peer(writer: asyncio.StreamWriter) -> str:
    """The login name of who is at the other end, or `uid N`."""
    asked = writer.get_extra_info("socket").getsockopt(
        socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i")
    )
    _, uid, _ = struct.unpack("3i", asked)
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"uid {uid}"


def _claim(path: Path, group: str | None) -> tuple[socket.socket, int]:
    """A socket bound at `path`, not yet listening, and the lock that goes with the place."""
    path.parent.mkdir(exist_ok=True)
    lock = os.open(f"{path}.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        # Between two daemons the lock decides, without a gap; a file that a dead one left behind
        # does not matter.
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise _taken(path) from None
        _clear(path)
        sock.setblocking(False)
        # Nobody can connect before it listens, so there is no moment with the wrong mode.
        sock.bind(os.fspath(path))
        try:
            path.chmod(_MODE)
            if group is not None:
                _give_to(path, group)
        except BaseException:
            # Nobody will serve there, and a later `vfod status` would take it for a daemon's.
            path.unlink()
            raise
    except BaseException:
        sock.close()
        os.close(lock)
        raise
    return sock, lock


def _clear(path: Path) -> None:
    """Remove a socket at which nobody answers; anything else is not ours to remove."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(mode):
        raise DoorError(
            f"{path} is in the way, and is no socket",
            remedy="move it, or set another path for the control socket",
            reason="in-the-way",
        )
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.setblocking(False)
        answer = probe.connect_ex(os.fspath(path))
    if answer != errno.ECONNREFUSED:
        raise _taken(path)
    path.unlink()


def _taken(path: Path) -> AlreadyRunningError:
    return AlreadyRunningError(
        f"another daemon serves at {path}",
        remedy="stop it, or give this one another control socket",
    )


def _give_to(path: Path, group: str) -> None:
    try:
        wanted = grp.getgrnam(group).gr_gid
    except KeyError:
        raise DoorError(
            f"the control socket is to belong to the group {group}, which does not exist",
            remedy=f"make it with: groupadd --system {group}",
            reason="group",
        ) from None
    # A hardened service may give nothing away, not even to the group that has it.
    if path.stat().st_gid != wanted:
        os.chown(path, -1, wanted)
