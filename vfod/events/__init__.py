"""Everything that can happen, in the past tense. Read this file and you know the program.

An event is a frozen value that says what happened and asks for nothing. The stream
(`vfod.run.stream`) stamps it once with a sequence number, the wall clock and the VFO it is about,
applies it to the state and hands the pair to every output in the same order.

Frequencies of the dial are whole hertz, of the oscillator whole millihertz; times are seconds
since 1970 UTC; durations are seconds; levels are decibels in the unit the event names.

Seven files hold them: `daemon` (the daemon and its doors), `line` (the line and the box), `dial`,
`sweeps` (windows, sweeps, observations), `notes`, `receiver` (the receiver), `sound` (of it).
Here they are one vocabulary.
"""

from dataclasses import dataclass

from vfod.events.daemon import ClockDoubted as ClockDoubted
from vfod.events.daemon import ClockJumped as ClockJumped
from vfod.events.daemon import ClockTrusted as ClockTrusted
from vfod.events.daemon import ConfigRefused as ConfigRefused
from vfod.events.daemon import ConfigReloaded as ConfigReloaded
from vfod.events.daemon import DaemonStarted as DaemonStarted
from vfod.events.daemon import DaemonStopped as DaemonStopped
from vfod.events.daemon import DoorClosed as DoorClosed
from vfod.events.daemon import DoorFailed as DoorFailed
from vfod.events.daemon import DoorOpened as DoorOpened
from vfod.events.daemon import JournalSetAside as JournalSetAside
from vfod.events.dial import BandEntered as BandEntered
from vfod.events.dial import ButtonPressed as ButtonPressed
from vfod.events.dial import DialFound as DialFound
from vfod.events.dial import DialTuned as DialTuned
from vfod.events.dial import EncoderJittered as EncoderJittered
from vfod.events.dial import FilterSelected as FilterSelected
from vfod.events.dial import KnobTurned as KnobTurned
from vfod.events.dial import OutputSwitched as OutputSwitched
from vfod.events.dial import SpeakerMuted as SpeakerMuted
from vfod.events.dial import StepChanged as StepChanged
from vfod.events.line import BatteryFine as BatteryFine
from vfod.events.line import BatteryLow as BatteryLow
from vfod.events.line import BoxMeasured as BoxMeasured
from vfod.events.line import BoxReset as BoxReset
from vfod.events.line import LinkGreeted as LinkGreeted
from vfod.events.line import LinkLost as LinkLost
from vfod.events.line import OutputHeldOff as OutputHeldOff
from vfod.events.notes import NoteTaken as NoteTaken
from vfod.events.receiver import CorrectionTaken as CorrectionTaken
from vfod.events.receiver import CrystalCalibrated as CrystalCalibrated
from vfod.events.receiver import LevelWatched as LevelWatched
from vfod.events.receiver import OwnSignalsMeasured as OwnSignalsMeasured
from vfod.events.root import Event as Event
from vfod.events.sound import AudioEnded as AudioEnded
from vfod.events.sound import AudioHeard as AudioHeard
from vfod.events.sound import AudioJudged as AudioJudged
from vfod.events.sound import AudioLost as AudioLost
from vfod.events.sound import AudioTimed as AudioTimed
from vfod.events.sound import LevelsFound as LevelsFound
from vfod.events.sound import LevelsMissed as LevelsMissed
from vfod.events.sweeps import ActivityBegan as ActivityBegan
from vfod.events.sweeps import ActivityEnded as ActivityEnded
from vfod.events.sweeps import ChannelObserved as ChannelObserved
from vfod.events.sweeps import ChannelSkipped as ChannelSkipped
from vfod.events.sweeps import HoldBegan as HoldBegan
from vfod.events.sweeps import HoldEnded as HoldEnded
from vfod.events.sweeps import HoldLeft as HoldLeft
from vfod.events.sweeps import HoldResumed as HoldResumed
from vfod.events.sweeps import PassCompleted as PassCompleted
from vfod.events.sweeps import SweepChanged as SweepChanged
from vfod.events.sweeps import SweepEnded as SweepEnded
from vfod.events.sweeps import SweepPaused as SweepPaused
from vfod.events.sweeps import SweepRefused as SweepRefused
from vfod.events.sweeps import SweepResumed as SweepResumed
from vfod.events.sweeps import SweepStarted as SweepStarted
from vfod.events.sweeps import SweepYielded as SweepYielded
from vfod.events.sweeps import WindowAwaited as WindowAwaited
from vfod.events.sweeps import WindowClosed as WindowClosed
from vfod.events.sweeps import WindowMissed as WindowMissed
from vfod.events.sweeps import WindowMoved as WindowMoved
from vfod.events.sweeps import WindowOpened as WindowOpened
from vfod.origin import Door as Door
from vfod.origin import Origin as Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class Stamped:
    """An event in its envelope, made by the stream and nowhere else.

    `sequence` rises by one within a run of the daemon; `time` is the wall clock; `vfo` is the name
    of the VFO or empty for the daemon; `cause` the id of the request that led to it, or None.
    `doubted`: the clock could not be believed then (ClockDoubted), so `time` is wrong.
    """

    sequence: int
    time: float
    vfo: str
    event: Event
    cause: str | None = None
    doubted: bool = False
