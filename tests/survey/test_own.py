"""What stands out of a pass without the antenna."""

from vfod.survey.own import own_signals


def test_what_stands_out() -> None:
    """At least the margin above the middle of all; the rest is the noise of the receiver."""
    levels = {7_200_000 + 5000 * index: -120.0 + index % 3 for index in range(20)}
    levels |= {7_210_000: -95.0, 7_235_000: -113.0, 7_240_000: -113.5}
    assert {7_210_000: -95.0, 7_235_000: -113.0} == own_signals(levels, 6.0)


def test_too_few_channels_say_nothing() -> None:
    """Of two nobody knows which is the noise."""
    assert {} == own_signals({7_210_000: -60.0, 7_215_000: -120.0})
