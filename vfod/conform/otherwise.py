"""How a check of a point ends when the box does not keep the promise, or it cannot be tried."""


class DeviationError(Exception):
    """The box did otherwise; never leaves this room."""

    def __init__(self, expected: str, *, sent: bytes, received: bytes | None) -> None:
        super().__init__(expected)
        self.expected = expected
        self.sent = sent
        self.received = received


class PassedOverError(Exception):
    """The point cannot be tried here, for this reason; never leaves this room."""
