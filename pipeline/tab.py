"""The records of the guitar: setups, their ranking, tab, layers and arrangements.

The same conventions as in tune.py, which holds the records of the tune.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

from liltwright.tune import KeyName

LayerName = Literal[
    "melody", "drone", "plain-bass", "moving-bass", "fuller", "finished-bass", "finished",
    "still", "steady", "restless",
]  # fmt: skip
LineName = Literal["still", "steady", "restless"]
PartName = Literal["melody", "bass", "inner"]
Dynamic = Literal["p", "mp", "mf", "f"]
Technique = Literal["hammer-on", "pull-off", "slide"]

LAYER_NAMES: tuple[LayerName, ...] = get_args(LayerName)[:5]
"""The layers that are made; of LayerName the next two are read from a finished page, the others
are the bass lines to choose from."""
LINE_NAMES: tuple[LineName, ...] = get_args(LineName)


@dataclass(frozen=True, slots=True)
class Setup:
    """How the guitar is set up for a tune. Open string i sounds strings_midi[i] + capo."""

    tuning: str
    strings_midi: tuple[int, int, int, int, int, int]
    capo: int
    transpose: int
    sounds_in: KeyName
    shapes_in: KeyName


@dataclass(frozen=True, slots=True)
class RankedSetup:
    """A setup with its score, what the score is made of, and why, in a guitarist's words."""

    rank: int
    tuning: str
    strings_midi: tuple[int, int, int, int, int, int]
    capo: int
    transpose: int
    sounds_in: KeyName
    shapes_in: KeyName
    score: float
    partial: dict[str, float]
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def setup(self) -> Setup:
        """The setup alone."""
        return Setup(
            self.tuning,
            self.strings_midi,
            self.capo,
            self.transpose,
            self.sounds_in,
            self.shapes_in,
        )


@dataclass(frozen=True, slots=True)
class Ranking:
    """Setups best first; the content of tunings.json."""

    searched: int
    setups: tuple[RankedSetup, ...]
    format: Literal["liltwright-tunings"] = "liltwright-tunings"
    version: Literal[1] = 1
    lower: tuple[str, ...] = ()
    """Why setups a player would expect came lower, one sentence each."""
    robustness: dict[str, float] = field(default_factory=dict)
    """Share of weight changes of +-30 % under which each of the top three stays among them."""
    asked: int = 0
    """Place of the best setup with the tuning and capo that the user named; 0 when none was."""

    near: int = 1
    """How many of the first setups are so close that the score does not tell them apart."""

    @property
    def chosen(self) -> RankedSetup | None:
        """The setup that the user named; None when none was."""
        return next((setup for setup in self.setups if setup.rank == self.asked), None)


@dataclass(frozen=True, slots=True)
class TabNote:
    """One note on the guitar. `midi` is as it sounds: open string + capo + fret."""

    part: PartName
    string: int
    fret: int
    midi: int
    start: Fraction
    length: Fraction
    finger: int = 0
    pluck: Literal["p", "i", "m", "a"] = "i"
    technique: Technique | None = None
    """How the note is reached from the one before on its string, when it is not plucked."""
    grace: bool = False
    """A grace note: takes no time of its own in the bar; length says how short it is played."""
    confidence: float | None = None
    """How sure the part is, where it was found in a finished page."""


TabBar = tuple[TabNote, ...]


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord over a bar, named as it sounds; `bar` indexes the layer's bars, from 0."""

    bar: int
    start: Fraction
    symbol: str
    root: str


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer, bar for bar like Tune.written_bars()."""

    name: LayerName
    bars: tuple[TabBar, ...]
    chords: tuple[Chord, ...] = ()
    difficulty: dict[str, float] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    """What is new, and where the fingering of the layer below had to change."""


@dataclass(frozen=True, slots=True)
class RoundPart:
    """What one part of the tune does in a round."""

    part: str
    layer: LayerName
    dynamic: Dynamic = "mf"


@dataclass(frozen=True, slots=True)
class Round:
    """One time through the tune in a performance."""

    layer: LayerName
    dynamic: Dynamic = "mf"
    parts: tuple[RoundPart, ...] = ()
    """Parts of the tune that do something else."""

    def of(self, part: str) -> tuple[LayerName, Dynamic]:
        """Layer and dynamic of a part, by its name."""
        mine = [(one.layer, one.dynamic) for one in self.parts if one.part == part]
        return mine[-1] if mine else (self.layer, self.dynamic)


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A tune on one setup in layers; the content of arrangement-N.json."""

    setup: Setup
    meter: str
    beats_per_minute: float
    layers: tuple[Layer, ...]
    rounds: tuple[Round, ...]
    format: Literal["liltwright-arrangement"] = "liltwright-arrangement"
    version: Literal[1] = 1
    title: str = ""
    cautions: tuple[str, ...] = ()
    pins: tuple[str, ...] = ()
    """What the user's hand fixed in it; see pins.py."""
    lines: tuple[Layer, ...] = ()
    """Bass lines to choose from, each over the whole tune under the same melody."""
    picked: dict[str, LineName] = field(default_factory=dict)
    """By part: the line that the layers are made of; steady where it is not named."""
    lead_in: tuple[TabBar, ...] = ()
    """Bars before the first round of a performance, from the tune before in a set."""
    change: str = ""
    """What stands over the lead-in: what has to be changed before."""

    def layer(self, name: str) -> Layer:
        """The layer or line with this name. Raises KeyError when the arrangement has none."""
        for layer in (*self.layers, *self.lines):
            if layer.name == name:
                return layer
        raise KeyError(name)
