"""What the metrics say of the state: families made from it when asked. Pure."""

from collections.abc import Callable, Iterable

from prometheus_client import Metric
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily

from vfod.state import LinkPhase, SoundPhase, State, SweepPhase, VfoState
from vfod.units import MILLI


def of_state(state: State) -> Iterable[Metric]:
    """Everything that can be read from the state alone."""
    yield from _configuration(state)
    for name, says, unit, read in _GAUGES:
        family = GaugeMetricFamily(name, says, labels=["vfo"], unit=unit)
        for vfo, known in state.vfos.items():
            # What is not known has no sample.
            if (value := read(known)) is not None:
                family.add_metric([vfo], value)
        yield family
    yield _filter_switchings(state)
    yield from _levels(state)
    yield _sweep_phase(state)
    yield _sound_state(state)
    yield GaugeMetricFamily(
        "vfod_clock_doubted",
        "Whether the machine's clock cannot be believed, so that no window runs.",
        bool(state.clock_doubted),
    )
    up = GaugeMetricFamily("vfod_door_up", "Whether a door works.", labels=["door"])
    for name, door in state.doors.items():
        up.add_metric([name], door.up)
    yield up


#: One sample a VFO: name, help, unit, value.
_GAUGES: tuple[tuple[str, str, str, Callable[[VfoState], float | None]], ...] = (
    (
        "vfod_dial_frequency",
        "Frequency the receiver is tuned to.",
        "hertz",
        lambda vfo: vfo.dial,
    ),
    (
        "vfod_oscillator_frequency",
        "Frequency the VFO says it produces.",
        "hertz",
        lambda vfo: None if vfo.produced is None else vfo.produced / MILLI,
    ),
    (
        "vfod_link_up",
        "Whether the line to the VFO works.",
        "",
        lambda vfo: vfo.link.phase is LinkPhase.UP,
    ),
    ("vfod_battery", "Voltage of the VFO's battery.", "volts", lambda vfo: vfo.battery),
    ("vfod_battery_low", "Whether the VFO's battery is low.", "", lambda vfo: vfo.battery_low),
    ("vfod_temperature", "Temperature in the VFO.", "celsius", lambda vfo: vfo.temperature),
    ("vfod_output_on", "Whether the oscillator's output is on.", "", lambda vfo: vfo.output),
    (
        "vfod_sound_delay",
        "By how much the receiver's sound is late, as reckoned with.",
        "seconds",
        lambda vfo: vfo.sound.delay,
    ),
    (
        "vfod_sweep_without_levels",
        "Whether the sweep goes on though there is no sound to take levels from.",
        "",
        lambda vfo: vfo.sweep.without_levels is not None,
    ),
    (
        "vfod_window_open",
        "Whether a window of the agenda is open.",
        "",
        lambda vfo: vfo.window.name is not None,
    ),
)


def _configuration(state: State) -> Iterable[Metric]:
    in_force = InfoMetricFamily("vfod_config", "Digest of the configuration in force.")
    in_force.add_metric([], {"digest": state.config_digest})
    yield in_force
    yield GaugeMetricFamily(
        "vfod_config_last_reload_successful",
        "Whether the configuration file was sound when it was last read.",
        not state.config_refused,
    )
    if state.config_read is not None:
        yield GaugeMetricFamily(
            "vfod_config_last_reload_success_timestamp",
            "When the configuration in force was read, seconds since 1970 UTC.",
            state.config_read,
            unit="seconds",
        )
    yield GaugeMetricFamily(
        "vfod_config_waiting_keys",
        "Keys of the configuration that wait for a restart.",
        len(state.config_waiting),
    )


def _filter_switchings(state: State) -> Metric:
    family = CounterMetricFamily(
        "vfod_filter_switchings", "Times the band filter was switched.", labels=["vfo"]
    )
    for vfo, known in state.vfos.items():
        family.add_metric([vfo], known.filter_switchings)
    return family


def _levels(state: State) -> Iterable[Metric]:
    """Decibels, by what they are over: dBm, or dB over nothing in particular."""
    level = GaugeMetricFamily(
        "vfod_level",
        "Level at the last visit.",
        labels=["vfo", "reference"],
        unit="decibels",
    )
    floor = GaugeMetricFamily(
        "vfod_noise_floor",
        "Noise floor of the band of the last visit.",
        labels=["vfo", "reference"],
        unit="decibels",
    )
    for vfo, known in state.vfos.items():
        for family, value in ((level, known.level), (floor, known.floor)):
            if value is not None:
                family.add_metric([vfo, known.level_unit], value)
    yield level
    yield floor


def _sweep_phase(state: State) -> Metric:
    family = GaugeMetricFamily(
        "vfod_sweep_phase", "1 for what the sweep is doing, else 0.", labels=["vfo", "phase"]
    )
    for vfo, known in state.vfos.items():
        for phase in SweepPhase:
            family.add_metric([vfo, phase], known.sweep.phase is phase)
    return family


def _sound_state(state: State) -> Metric:
    """Of VFOs whose levels come from sound, once anything is known of it."""
    family = GaugeMetricFamily(
        "vfod_sound_state",
        "1 for what the receiver's sound is, else 0.",
        labels=["vfo", "state"],
    )
    for vfo, known in state.vfos.items():
        if known.sound.phase is SoundPhase.NONE:
            continue
        for phase in SoundPhase:
            if phase is not SoundPhase.NONE:
                family.add_metric([vfo, phase], known.sound.phase is phase)
    return family
