"""Single entries of a form as the parts of radio and plan; nothing is checked here."""

from collections.abc import Container, Sequence
from fractions import Fraction

from vfod.config.forms import AudioForm, BandForm, RangeForm, SweepForm, SynthesiserForm, VfoForm
from vfod.config.model import AudioConfig
from vfod.config.quantities import HIGHEST
from vfod.plan.channels import Skip
from vfod.plan.sweep import Hold, Sweep
from vfod.radio.bands import Band
from vfod.radio.receiver import Detector, Range, Receiver
from vfod.radio.synthesiser import ClockGenerator


def band(name: str, form: BandForm) -> Band:
    """A band of the listener's own."""
    return Band(name=name, low=form.low, high=form.high, raster=form.raster, source="own")


def audio(form: AudioForm) -> AudioConfig:
    """What records the receiver's sound."""
    return AudioConfig(program=form.program, device=form.device, delay=form.delay)


def range_of(form: RangeForm, level_table: str | None) -> Range:
    """A range of the receiver that names its level table."""
    return Range(
        low=form.low,
        high=form.high,
        detector=form.detector,
        intermediate_frequency=form.intermediate_frequency or 0,
        injection=form.injection,
        ratio=form.oscillator_per_mixer,
        offset=form.offset,
        select=form.select,
        settle=form.settle,
        level_table=level_table,
    )


def without_receiver(level_table: str | None) -> Range:
    """The dial is the oscillator; the box's greeting narrows it to what it can tune."""
    return Range(low=1, high=HIGHEST, detector=Detector.DIRECT, offset=0, level_table=level_table)


def receiver(form: VfoForm, ranges: Sequence[Range]) -> Receiver:
    """The receiver of a VFO, in ranges that fit together."""
    return Receiver(
        ranges=tuple(ranges),
        correction=Fraction(0) if form.correction is None else form.correction,
        crystal=form.crystal_drives,
    )


def synthesiser(form: SynthesiserForm) -> ClockGenerator:
    """The clock generator, whose ranges are not empty."""
    return ClockGenerator(
        crystal=form.crystal,
        loop_low=form.loop_from,
        loop_high=form.loop_to,
        denominator=form.denominator,
        fixed=form.fixed,
        divider_high=form.divider,
        divider_low=min(form.divider, 4),
        extra_high=form.extra,
    )


def sweep(
    name: str, vfo: str, form: SweepForm, bands: tuple[Band, ...], own_signals: tuple[Skip, ...]
) -> Sweep:
    """A sweep over those bands, or over the channels of the form."""
    hold = form.hold
    return Sweep(
        name=name,
        vfo=vfo,
        bands=bands,
        channels=tuple(form.channels or ()),
        joined=form.joined,
        raster=form.raster,
        dwell=form.dwell,
        settle=form.settle,
        readings=form.readings,
        order=form.order,
        skip=tuple(form.skip),
        known_quiet=tuple(form.known_quiet),
        own_signals=own_signals,
        margin=form.margin.active,
        margin_stay=form.margin.stay,
        hold=None
        if hold is None
        else Hold(limit=hold.limit, quiet=hold.quiet, rest=hold.rest, most=hold.times),
    )


def free_name(wanted: str, taken: Container[str]) -> str:
    """The name, or with the first number behind it that is free."""
    name, number = wanted, 1
    while name in taken:
        number += 1
        name = f"{wanted}-{number}"
    return name
