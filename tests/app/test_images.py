"""Images on the simulator: found by their fading, listed, and passed over from then on.

The receiver lets what is 910 kHz above a channel through 30 dB down. Radio Tarn on 8120 kHz is
heard on 7210 kHz; on 7230 kHz a station is on for 24 hours, and another one on its image frequency.
"""

from pathlib import Path

import pytest

from tests.app.reloading import BASE, attended, swapped
from vfod import events as e
from vfod import requests as r
from vfod.cli import spurs as verb

SCENARIO = """
box: {output: true}
floor: {bands: [{from: 5500kHz, to: 9000kHz, hours: {0: -115}}]}
receiver: {image_rejection: 30dB}
stations:
  - {name: Radio Tarn, frequency: 8120kHz, power: -45,
     fading: {kind: slow, depth: 20, period: 1m}}
  - {name: Radio Brackwater, frequency: 7230kHz, power: -70,
     fading: {kind: slow, depth: 20, period: 1m}}
  - {name: Radio Orrin, frequency: 8140kHz, power: -80,
     fading: {kind: slow, depth: 20, period: 1m}}
"""

BOTH = (
    "evening: {bands: [corner], dwell: 1s, readings: 4, hold: off}",
    "evening: {channels: [7210k, 8120k, 7220k, 8130k, 7230k, 8140k, 7240k, 7250k, 8200k],"
    " dwell: 1s, readings: 4, hold: off}",
)


async def test_images_are_found_listed_and_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The image is no station any more; the one that is on for 24 hours is."""
    async with attended(tmp_path, text=swapped(BASE, BOTH), scenario=SCENARIO) as it:
        for _ in range(30):
            await it.until(e.PassCompleted)
        before = {one.dial // 1000: one.active for one in await it.visits()}
        assert (True, True) == (before[7210], before[7230])
        asked: list[r.Request] = []

        def call(_: str | None, method: str, **params: object) -> dict[str, str]:
            params.pop("vfo")
            asked.append(r.make_request(method, params))
            return {"text": "taken"}

        monkeypatch.setattr(verb, "call", call)
        monkeypatch.setattr(verb, "now", it.clock.wall)
        words = ["evening", "--images", "--config", str(it.config), "--journal", str(it.journal)]
        assert 0 == verb.spurs([*words, "--json"])
        assert '"images":{"7210000":' in capsys.readouterr().out
        (request,) = asked
        assert isinstance(request, r.TakeOwnSignals)
        assert [7_210_000] == list(request.parts())
        await it.ask(request)
        await it.until(e.SweepChanged)
        after = [(one.dial // 1000, one.active) for one in await it.visits()]
        assert (7210, None) in after
        assert dict(after)[7230] is True
