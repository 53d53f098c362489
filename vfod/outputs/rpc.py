"""JSON-RPC 2.0 over lines, for the control socket and for HTTP alike.

One object a line, no batches. The methods are those of the table of requests and no others; beside
a method's own parameters, which are always named, there may be `vfo`. All answers are ASCII, and
`text` is the last member of every result and `message` of every error, so that a client as small
as a key binding can cut them out (see `vfod.outputs.control`).
"""

import json
import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any, NoReturn

from vfod.errors import RefusedError, RequestError, VfodError
from vfod.events import Origin, Stamped
from vfod.outputs.door import OTHER, Count
from vfod.requests import TABLE, Asked, Request, Watch, make_request
from vfod.state import State, Submit, show

#: Longest line, or body, that is read: a thousand times what a request needs, and small enough
#: that hundreds of callers who fill it hurt nobody.
LINE_LIMIT = 64 * 1024

#: Codes of JSON-RPC 2.0, section 5.1.
PARSE_ERROR, INVALID_REQUEST, INTERNAL_ERROR = -32700, -32600, -32603

#: Digits of the longest number that is read: those of a 64-bit integer, and its sign.
_DIGITS = 20

Id = str | int | float | None

_log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True, slots=True)
class Call:
    """A request as it came; `silent` where it has no id, which forbids an answer."""

    method: str
    params: dict[str, Any]
    id: Id = None
    silent: bool = False


class _BadCallError(Exception):
    """A line that is no call: why, and the id to answer with as far as it could be read."""

    def __init__(self, error: VfodError, id: Id = None) -> None:
        super().__init__(error)
        self.error = error
        self.id = id


class Exchange:
    """Answers one caller's lines.

    `label` makes the ids of its requests unique in the daemon. `watch` begins to stream and gives
    the state that the stream goes on from; a door that cannot stream has none. `may` raises a
    VfodError where this caller may not ask for that.
    """

    def __init__(
        self,
        *,
        submit: Submit,
        origin: Origin,
        label: str,
        count: Count,
        watch: Callable[[], State] | None = None,
        may: Callable[[Request], None] = lambda _: None,
    ) -> None:
        self._submit = submit
        self._origin = origin
        self._label = label
        self._count = count
        self._watch = watch
        self._may = may
        self._calls = 0

    async def answer(self, line: bytes) -> bytes | None:
        """The line that answers a line; None where there must be no answer. Never raises."""
        method, id_, silent = OTHER, None, False
        try:
            call = _read(line)
            id_, silent = call.id, call.silent
            method = call.method if call.method in TABLE else OTHER
            reply, result = _success(id_, await self._do(call)), "ok"
        except _BadCallError as bad:
            reply, result = failure(bad.id, bad.error), bad.error.code
        except VfodError as error:
            reply, result = failure(id_, error), error.code
        except Exception:  # a defect must not close the door
            _log.exception("a request failed: %r", line[:200])
            reply, result = failure(id_, _internal()), "internal"
        self._count(self._origin.door, method, result)
        return None if silent else reply

    async def _do(self, call: Call) -> dict[str, Any]:
        params = dict(call.params)
        vfo = params.pop("vfo", None)
        if vfo is not None and not isinstance(vfo, str):
            raise RequestError(f"{call.method}: vfo must be a text")
        request = make_request(call.method, params)
        self._may(request)
        if isinstance(request, Watch):
            if self._watch is None:
                raise RefusedError(
                    "this address cannot stream events", remedy="watch at the control socket"
                )
            return show.to_plain(self._watch())
        self._calls += 1
        id_ = f"{self._label}.{self._calls}"
        return await self._submit(Asked(request=request, origin=self._origin, vfo=vfo, id=id_))


def _read(line: bytes) -> Call:
    found = _parse(line)
    if isinstance(found, list):
        _refuse(INVALID_REQUEST, "batches are not answered", "send one object a line")
    if not isinstance(found, dict):
        _refuse(INVALID_REQUEST, "a request is an object")
    id_ = found.get("id")
    if isinstance(id_, bool) or not isinstance(id_, Id):
        _refuse(INVALID_REQUEST, "id must be a text or a number")
    method = found.get("method")
    if found.get("jsonrpc") != "2.0":
        _refuse(INVALID_REQUEST, "the member jsonrpc must be the text 2.0", id=id_)
    if not isinstance(method, str):
        _refuse(INVALID_REQUEST, "the member method is missing or no text", id=id_)
    params = found.get("params", {})
    if not isinstance(params, dict):
        error = RequestError(f"{method[:40]}: the parameters must be an object with names")
        raise _BadCallError(error, id_)
    return Call(method=method, params=params, id=id_, silent="id" not in found)


def _parse(line: bytes) -> object:
    try:
        return json.loads(
            line.decode("utf-8"),
            parse_int=_whole,
            parse_float=_finite,
            parse_constant=_no_number,
        )
    except RecursionError:
        _refuse(PARSE_ERROR, "nested too deep")
    except UnicodeDecodeError:
        _refuse(PARSE_ERROR, "not UTF-8")
    except json.JSONDecodeError as error:
        _refuse(PARSE_ERROR, f"not JSON: {error.msg} at character {error.pos + 1}")
    except ValueError as error:
        _refuse(PARSE_ERROR, f"not JSON: {error}")


def _whole(text: str) -> int:
    if len(text) > _DIGITS:
        raise ValueError(f"a number of more than {_DIGITS} digits")
    return int(text)


def _finite(text: str) -> float:
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise ValueError("a number that is too large")
    return value


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")


def _refuse(rpc_code: int, message: str, remedy: str = "", id: Id = None) -> NoReturn:
    error = RequestError(message, remedy=remedy)
    error.rpc_code = rpc_code
    raise _BadCallError(error, id)


def _internal() -> VfodError:
    error = VfodError("a defect of the daemon itself", remedy="its log says more")
    error.rpc_code = INTERNAL_ERROR
    return error


def _success(id: Id, result: dict[str, Any]) -> bytes:
    members = {name: value for name, value in result.items() if name != "text"}
    members["text"] = result.get("text", "")
    return _line({"jsonrpc": "2.0", "id": id, "result": members})


def failure(id: Id, error: VfodError) -> bytes:
    """The answer to a request that failed.

    `message` is the whole sentence for a person, remedy included; `data` has for machines the
    error's word, the remedy by itself, and the status that a command should exit with.
    """
    data = {"code": error.code, "remedy": error.remedy, "exit": error.exit_code}
    shown = {"code": error.rpc_code, "data": data, "message": str(error)}
    return _line({"jsonrpc": "2.0", "id": id, "error": shown})


def notification(stamped: Stamped, zone: tzinfo) -> bytes:
    """An event as one who watches receives it, with times of that zone in its text."""
    return _line({"jsonrpc": "2.0", "method": "event", "params": show.answer(stamped, zone)})


def _line(value: dict[str, Any]) -> bytes:
    """Compact and ASCII; NaN and infinity, which are not JSON, raise ValueError."""
    return json.dumps(value, separators=(",", ":"), allow_nan=False).encode("ascii") + b"\n"
