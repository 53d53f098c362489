"""What is the case now (`model`), how events change it (`change`), how it is shown (`show`)."""

from vfod.state.change import apply as apply
from vfod.state.model import Feed as Feed
from vfod.state.model import LinkPhase as LinkPhase
from vfod.state.model import SoundPhase as SoundPhase
from vfod.state.model import SoundState as SoundState
from vfod.state.model import State as State
from vfod.state.model import Submit as Submit
from vfod.state.model import SweepPhase as SweepPhase
from vfod.state.model import Tell as Tell
from vfod.state.model import VfoState as VfoState
from vfod.state.model import initial as initial
