"""What a sound file becomes, and that the examples of configs/ are sound and complete."""

import json
import re
from dataclasses import FrozenInstanceError
from datetime import time
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from vfod.config import model as m
from vfod.config.loading import load, parse
from vfod.config.reader import understand
from vfod.config.schema import schema, schema_text
from vfod.config.secrets import secret
from vfod.errors import ConfigError, OutOfRangeError
from vfod.plan.sweep import Hold, Order
from vfod.radio.levels import Bound, Level
from vfod.radio.receiver import Detector

CONFIGS = Path(__file__).parents[2] / "configs"

TINY = """
vfos: {main: {port: /dev/vfo}}
sweeps: {evening: {bands: [41m]}}
windows: [{sweep: evening, from: 22:00, until: 06:00}]
"""


def test_defaults() -> None:
    """Three lines are enough for a night; all else is as the README's table of defaults says."""
    config = parse(TINY, "/etc/vfod/vfod.yaml")
    assert "UTC" == config.place.zone.key
    assert 1 == config.place.region
    (vfo,) = config.vfos.values()
    assert ("main", "/dev/vfo", 115_200, 600.0) == (vfo.name, vfo.port, vfo.baud, vfo.quiet)
    assert (m.ControlLine.ON, m.ControlLine.ON) == (vfo.dtr, vfo.rts)
    assert (m.OutputPolicy.ON, m.SpeakerPolicy.MUTE_IN_SWEEPS) == (vfo.output, vfo.speaker)
    assert m.Afterwards.RETURN is vfo.afterwards
    sweep = config.sweeps["evening"]
    assert ("main", 2.0, 8, None, None) == (
        sweep.vfo,
        sweep.dwell,
        sweep.readings,
        sweep.settle,
        sweep.raster,
    )
    assert (Order.UP, 6.0, 3.0, ()) == (sweep.order, sweep.margin, sweep.margin_stay, sweep.skip)
    assert Hold(limit=30.0, quiet=3.0, rest=600.0, most=3) == sweep.hold
    (window,) = config.windows
    assert ("evening", "evening", time(22), time(6), frozenset(range(7))) == (
        window.name,
        window.sweep,
        window.start,
        window.end,
        window.weekdays,
    )
    assert config.mqtt is None
    assert m.Web(host="127.0.0.1", port=8073) == config.web
    assert m.Control(socket=None, group=None) == config.control
    assert config.journal is None


def test_without_a_receiver_the_dial_is_the_oscillator() -> None:
    """No intermediate frequency and no offset; the box's greeting narrows the range."""
    receiver = parse(TINY, "f").vfos["main"].receiver
    assert 9_420_000_000 == receiver.millihertz_for(9_420_000)
    assert 9_420_000 == receiver.dial_for(9_420_000_000)
    with pytest.raises(OutOfRangeError):
        receiver.limited(1_000_000_000, 9_000_000_000).millihertz_for(9_420_000)


def test_receiver() -> None:
    """Ranges, correction and level tables arrive in the law and in the levels."""
    config = parse(
        """
        vfos:
          main:
            port: socket://box:2000
            correction: -1.5ppm
            afterwards: 9420k
            level_table: {0: -120dBm, 100: -20dBm}
            receiver:
              - {from: 10M, to: 30M, detector: product, intermediate_frequency: 9M,
                 injection: low, oscillator_per_mixer: 1/2, offset: -1.2k, select: 3, settle: 2s,
                 level_table: {0: 50dB, 1000: 0dB}}
              - {from: 100k, to: 10M, detector: envelope, intermediate_frequency: 455k}
        """,
        "f",
    )
    vfo = config.vfos["main"]
    low, high = vfo.receiver.ranges
    assert Fraction(-3, 2) == vfo.receiver.correction
    assert (100_000, 10_000_000, 0, 0.3, None) == (
        low.low,
        low.high,
        low.pitch,
        low.settling,
        low.select,
    )
    assert (Detector.PRODUCT, 9_000_000, Fraction(1, 2), -1200, 3, 2.0) == (
        high.detector,
        high.intermediate_frequency,
        high.ratio,
        high.pitch,
        high.select,
        high.settling,
    )
    assert 9_420_000 == vfo.afterwards
    assert Level(-70.0, "dBm") == vfo.level(50, 9_420_000)
    assert Level(25.0, "dB") == vfo.level(500, 15_000_000)
    assert Level(0.0, "dB", Bound.AT_MOST) == vfo.level(1001, 15_000_000)
    with pytest.raises(OutOfRangeError):
        vfo.level(50, 50_000_000)


def test_level_without_a_table() -> None:
    """A tenth of a decibel a count, and it does not pretend to be dBm."""
    assert Level(12.3, "dB") == parse(TINY, "f").vfos["main"].level(123, 7_300_000)


def test_own_band_goes_before_the_table() -> None:
    """A band of one's own replaces the one of the same name; a sweep finds it."""
    text = TINY + "bands: {41m: {from: 7250k, to: 7350k, raster: 10k}}\n"
    (band,) = parse(text, "f").sweeps["evening"].bands
    assert (7_250_000, 7_350_000, 10_000) == (band.low, band.high, band.raster)


def test_skip_and_channels() -> None:
    """Single frequencies and stretches, in hertz."""
    text = TINY.replace("[41m]", "[41m], skip: [7.3M, 7310k - 7320k]").replace(
        "sweeps: {", "sweeps: {a: {channels: [9420k, 6.07 MHz, 7200000Hz], hold: off}, "
    )
    config = parse(text, "f")
    assert (7_300_000, (7_310_000, 7_320_000)) == config.sweeps["evening"].skip
    assert (9_420_000, 6_070_000, 7_200_000) == config.sweeps["a"].channels
    assert config.sweeps["a"].hold is None


def test_what_is_known_of_the_floor() -> None:
    """Quiet channels are the sweep's, the receiver's own signals the VFO's and so its sweeps'."""
    text = TINY.replace("[41m]", "[41m], known_quiet: [7450k]").replace(
        "port:", "own_signals: [7235k, 7400k-7410k], port:", 1
    )
    sweep = parse(text, "f").sweeps["evening"]
    assert (7_450_000,) == sweep.known_quiet
    assert (7_235_000, (7_400_000, 7_410_000)) == sweep.own_signals


def test_names_of_windows() -> None:
    """A window is called like its sweep, with a number where that is taken."""
    windows = ", ".join("{sweep: evening, from: 22:00, until: 06:00}" for _ in range(3))
    named = "{name: evening-2, sweep: evening, from: 22:00, until: 06:00}"
    config = parse(TINY.split("windows")[0] + f"windows: [{windows}, {named}]\n", "f")
    assert ["evening", "evening-3", "evening-4", "evening-2"] == [w.name for w in config.windows]


def test_paths_are_meant_from_the_file() -> None:
    """A relative path follows the configuration, an absolute one stays."""
    text = TINY + (
        "journal: {path: night.sqlite}\ncontrol: {socket: /run/x.sock}\n"
        "mqtt: {user: me, password_file: secret, tls: {ca_file: /etc/ca.pem}}\n"
    )
    config = parse(text, "/etc/vfod/vfod.yaml")
    assert "/etc/vfod/night.sqlite" == config.journal
    assert "/run/x.sock" == config.control.socket
    assert config.mqtt is not None
    assert ("/etc/vfod/secret", "/etc/ca.pem", 8883) == (
        config.mqtt.password_file,
        config.mqtt.ca_file,
        config.mqtt.port,
    )


def test_switched_off() -> None:
    """The word off switches a door off, and the broker is off by itself."""
    config = parse(TINY + "web: off\nmqtt: off\n", "f")
    assert config.web is None
    assert config.mqtt is None


def test_frozen() -> None:
    """A Config can be handed to anyone."""
    config = parse(TINY, "f")
    with pytest.raises(FrozenInstanceError):
        config.digest = "x"  # type: ignore[misc]  # what must not be possible is tried
    with pytest.raises(TypeError):
        config.vfos["other"] = config.vfos["main"]  # type: ignore[index]  # as above


def test_digest() -> None:
    """The digest names the content: not its spacing and comments, not what is a default anyway."""
    digest = parse(TINY, "f").digest
    assert re.fullmatch("[0-9a-f]{16}", digest)
    same = "# a night\n" + TINY.replace("[41m]", "[ 41m ]").replace("{b", "{dwell: 2000ms, b")
    assert digest == parse(same, "g").digest
    assert digest != parse(TINY.replace("41m", "31m"), "f").digest
    assert digest != parse(TINY.replace("06:00", "06:01"), "f").digest


# --- secrets --------------------------------------------------------------------------------------


def test_secret(tmp_path: Path) -> None:
    """The first line of a file of its own, and a complaint where there is none."""
    file = tmp_path / "password"
    file.write_text("s3cret word\r\nnot this\n")
    assert "s3cret word" == secret(str(file))
    file.write_text("\n")
    with pytest.raises(ConfigError, match="first line is empty"):
        secret(str(file))
    file.write_bytes(b"\xff\n")
    with pytest.raises(ConfigError, match="no text"):
        secret(str(file))
    with pytest.raises(ConfigError, match="No such file"):
        secret(str(tmp_path / "nothing"))


# --- the examples ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["minimal.yaml", "documented.yaml"])
def test_examples_are_sound(name: str) -> None:
    """What we hand out has no mistakes."""
    config = load(str(CONFIGS / name))
    assert config.windows
    assert config.vfos


def _keys(form: dict[str, Any], forms: dict[str, Any], above: str) -> dict[str, Any]:
    """Every key of the schema with its default; `x` stands for a name, `#` for an entry."""
    if "$ref" in form:
        form = forms[form["$ref"].rpartition("/")[2]]
    found: dict[str, Any] = {}
    for arm in form.get("anyOf", ()):
        found |= _keys(arm, forms, above)
    for arm in form.get("patternProperties", {}).values():
        found |= _keys(arm, forms, f"{above}.x")
    if "items" in form:
        found |= _keys(form["items"], forms, f"{above}.#")
    for key, item in form.get("properties", {}).items():
        found[f"{above}.{key}"] = item.get("default")
        found |= _keys(item, forms, f"{above}.{key}")
    return found


def _written(value: Any, above: str, names: tuple[str, ...]) -> dict[str, Any]:
    """Every key of a file with its value; the first of several that the schema calls alike."""
    found: dict[str, Any] = {above: value}
    items = value.items() if isinstance(value, dict) else ()
    for key, item in items:
        below = f"{above}.x" if above in names else f"{above}.{key}"
        found = _written(item, below, names) | found
    for item in value if isinstance(value, list) else ():
        found |= {k: v for k, v in _written(item, f"{above}.#", names).items() if k not in found}
    return found


#: Keys whose default the comment of the example tells instead.
ELSEWHERE = {
    ".place.zone",
    ".vfos",
    ".bands",
    ".sweeps",
    ".windows",
    ".windows.#.except",
    ".windows.#.with",
    ".watches",
    ".mqtt",
    ".sweeps.x.skip",
    ".sweeps.x.known_quiet",
    ".vfos.x.own_signals",
    ".vfos.x.receiver.#.oscillator_per_mixer",
}


def test_documented_example_is_complete() -> None:
    """Every key of the schema stands in the documented example, with its default as its value."""
    found = schema()
    keys = _keys(found, found["$defs"], "")
    text = (CONFIGS / "documented.yaml").read_text()
    data = understand(text, "f").data
    written = _written(data, "", (".vfos", ".bands", ".sweeps"))
    assert set() == keys.keys() - written.keys()
    differing = {
        key for key, default in keys.items() if default is not None and default != written[key]
    }
    assert ELSEWHERE == differing


def test_schema_is_the_committed_one() -> None:
    """Editors are told what the code reads; write it anew with `vfod config schema`."""
    assert schema_text() == (CONFIGS / "vfod.schema.json").read_text()


def test_schema_explains_every_key() -> None:
    """Whoever points at a key in an editor is told what it is for."""
    found = json.loads(schema_text())
    for name, form in found["$defs"].items():
        for key, item in form["properties"].items():
            section = found["$defs"].get(item.get("$ref", "").rpartition("/")[2], {})
            assert item.get("description") or section.get("description"), f"{name}.{key}"
    assert "null" not in schema_text()
