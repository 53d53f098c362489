"""Where a receiver may hear itself, or an image: elementary arithmetic, worked by hand."""

import pytest

from vfod.radio.bands import bands_for
from vfod.radio.receiver import Detector, Injection, Range, Receiver
from vfod.radio.spurs import images, predicted


def receiver(intermediate: int = 455_000, injection: Injection = Injection.HIGH) -> Receiver:
    """A superhet from long wave to the end of short wave."""
    part = Range(
        low=150_000,
        high=30_000_000,
        detector=Detector.ENVELOPE,
        intermediate_frequency=intermediate,
        injection=injection,
    )
    return Receiver(ranges=(part,))


def test_multiples() -> None:
    """16 x 455 = 7280 and 27 MHz / 4 is no multiple; 455 itself is not looked for."""
    dials = [455_000, 910_000, *range(7_200_000, 7_300_001, 5000), 25_000_000]
    found = predicted(receiver(), dials, [25_000_000])
    assert [(910_000, "2 x"), (7_280_000, "16 x"), (25_000_000, "1 x")] == [
        (one.dial, one.why[:4].rstrip()) for one in found if one.dial != 25_025_000
    ]
    assert "1 x crystal of 25000 kHz" == found[-1].why


def test_only_near_ones() -> None:
    """2.5 kHz to either side, half of what a receiver for speech lets pass."""
    assert [7_277_500, 7_282_500] == [
        one.dial for one in predicted(receiver(), [7_277_499, 7_277_500, 7_282_500, 7_282_501])
    ]


@pytest.mark.parametrize(
    ("injection", "dial", "image", "band"),
    [
        (Injection.HIGH, 6_300_000, 7_210_000, "41m"),
        (Injection.HIGH, 7_210_000, 8_120_000, None),
        (Injection.LOW, 8_120_000, 7_210_000, "41m"),
    ],
)
def test_images(injection: Injection, dial: int, image: int, band: str | None) -> None:
    """Twice the intermediate frequency away, on the side of the oscillator.

    41 m is 7200 to 7450 kHz in Region 1 (docs/standards.md, section 2).
    """
    (found,) = images(receiver(injection=injection), [dial], bands_for(1, ()))
    assert (image, band) == (found.frequency, found.broadcast)


def test_an_amateur_band_is_no_broadcast_band() -> None:
    """7100 kHz is in no broadcast band of Region 1."""
    (found,) = images(receiver(), [7_100_000 - 910_000], bands_for(1, ()))
    assert found.broadcast is None


def test_a_direct_receiver_has_no_image() -> None:
    """And no intermediate frequency to hear multiples of."""
    direct = Receiver(ranges=(Range(low=1, high=30_000_000, detector=Detector.DIRECT),))
    assert [] == images(direct, [7_210_000], bands_for(1, ()))
    assert [] == predicted(direct, [7_280_000])
