"""What must fit together in a sweep: its channels, its times and the receiver it is laid over."""

from collections.abc import Iterator
from dataclasses import replace

from vfod.config.complaints import Fault, Where
from vfod.config.model import VfoConfig
from vfod.config.quantities import other_scale
from vfod.config.reader import Document
from vfod.errors import VfodError
from vfod.plan.channels import skipped
from vfod.plan.sweep import Sweep, plan_sweep
from vfod.radio.receiver import Receiver
from vfod.units import format_duration, format_frequency

#: A question for the level and its answer on the serial line: 120 bytes with every field that a
#: box can send, ten bits a byte.
READING_BITS = 1200


def sweep_faults(where: Where, sweep: Sweep, vfo: VfoConfig, document: Document) -> list[Fault]:
    """Everything that does not fit, of the first kind that is met."""
    receiver = vfo.receiver
    reach = list(_reach(where, sweep, receiver, document))
    if reach:
        return reach
    times = list(_times(where, sweep, vfo, document))
    if times:
        return times
    try:
        # First without its skip list: what it skips must be among its channels.
        full = plan_sweep(replace(sweep, skip=()), receiver)
        dials = [channel.dial for channel in full.channels]
        skips = list(_skips(where, sweep, dials, document))
        if not skips:
            dials = [channel.dial for channel in plan_sweep(sweep, receiver).channels]
            skips = list(_quiet(where, sweep, dials, document))
    except VfodError as error:
        return [Fault(where, str(error), key=True)]
    return skips


def outside(where: Where, dial: int, receiver: Receiver, document: Document) -> Iterator[Fault]:
    """A fault where the receiver does not tune a frequency."""
    low, high = receiver.low, receiver.high
    if not low <= dial <= high:
        remedy = other_scale(document.text(where), low, high) or "choose one inside it"
        reach = f"{format_frequency(low)} to {format_frequency(high)}"
        text = f"{format_frequency(dial)} is outside the receiver's range, {reach}; {remedy}"
        yield Fault(where, text)


def _reach(where: Where, sweep: Sweep, receiver: Receiver, document: Document) -> Iterator[Fault]:
    low, high = receiver.low, receiver.high
    reach = f"{format_frequency(low)} to {format_frequency(high)}"
    for index, band in enumerate(sweep.bands):
        if band.low < low or band.high > high:
            remedy = "leave it out"
            if band.source == "own":
                written = document.text(("bands", band.name, "from"))
                if meant := other_scale(written, low, high):
                    remedy = f"its lower edge: {meant}"
            text = f"{band} is not inside the receiver's range, {reach}; {remedy}"
            yield Fault((*where, "bands", index), text)
    for index, dial in enumerate(sweep.channels):
        yield from outside((*where, "channels", index), dial, receiver, document)


def _times(where: Where, sweep: Sweep, vfo: VfoConfig, document: Document) -> Iterator[Fault]:
    swept = [(band.low, band.high) for band in sweep.bands] or [(d, d) for d in sweep.channels]
    settle = max(
        item.settling if sweep.settle is None else sweep.settle
        for item in vfo.receiver.ranges
        if any(low <= item.high and high >= item.low for low, high in swept)
    )
    dwell = format_duration(sweep.dwell)
    if sweep.dwell < settle:
        by_settle = sweep.settle is not None and not document.text((*where, "dwell"))
        text = f"a dwell of {dwell} is shorter than the settle time of {format_duration(settle)}"
        yield Fault(
            (*where, "settle" if by_settle else "dwell"),
            f"{text}; dwell longer, or settle shorter",
        )
    shortest = sweep.readings * READING_BITS / vfo.baud
    if sweep.dwell < shortest:
        fitting = int(sweep.dwell * vfo.baud / READING_BITS)
        yield Fault(
            (*where, "readings"),
            f"{sweep.readings} readings take {format_duration(shortest)} at {vfo.baud} baud and do "
            f"not fit into a dwell of {dwell}; write {fitting} or fewer, or dwell longer",
        )


def _quiet(where: Where, sweep: Sweep, dials: list[int], document: Document) -> Iterator[Fault]:
    for index, dial in enumerate(sweep.known_quiet):
        place = (*where, "known_quiet", index)
        if dial not in dials:
            far = not dials[0] <= dial <= dials[-1]
            remedy = other_scale(document.text(place), dials[0], dials[-1]) if far else ""
            nearest = min(dials, key=lambda other: abs(other - dial))
            yield Fault(
                place,
                f"{format_frequency(dial)} is no channel that this sweep visits; "
                f"{remedy or f'write {format_frequency(nearest)}, or remove it'}",
            )
        elif skipped(dial, sweep.own_signals):
            text = f"{format_frequency(dial)} is among the receiver's own signals; choose another"
            yield Fault(place, text)


def _skips(where: Where, sweep: Sweep, dials: list[int], document: Document) -> Iterator[Fault]:
    first, last = dials[0], dials[-1]
    for index, item in enumerate(sweep.skip):
        if not any(skipped(dial, [item]) for dial in dials):
            place = (*where, "skip", index)
            remedy = other_scale(document.text(place), first, last)
            yield Fault(
                place,
                "no channel of this sweep is there, which goes from "
                f"{format_frequency(first)} to {format_frequency(last)}; {remedy or 'remove it'}",
            )
