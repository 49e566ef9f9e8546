"""Fretboard charts: where a tune lies and how often each place is used, as SVG.

Task: draw one chart for one setup.
In: a Tune, a Setup, the player's profile (left-handed, frets to the body, scale length).
Out: SVG text, black on white, readable without colour: shape and size carry the meaning.
Method: fret wires at their true distances from the capo; a round mark on each place that the
optimal fingering uses, its area by the number of times in one round (repeats taken), the number
inside; the tonic is a square on its point. Left-handed charts are mirrored, letters are not.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from html import escape
from math import sqrt

from liltwright.guitar.fingering import finger_stops
from liltwright.guitar.fretboard import Place, fret_mm, open_midi
from liltwright.guitar.melody import line_of
from liltwright.guitar.player import Player
from liltwright.guitar.setups import capo_words
from liltwright.guitar.tunings import LETTERS
from liltwright.keys import note_name, pitch_class, scale_steps, signature_of
from liltwright.tab import Setup
from liltwright.tune import Tune

WIDTH, LEFT, RIGHT = 760.0, 96.0, 24.0  # in units of the drawing, as all below
TOP, STRING_GAP = 58.0, 30.0  # above the first string, and from string to string
INK, PALE = "#161616", "#8a8a8a"
SMALLEST, LARGEST = 7.5, 13.0  # radius of a dot
FEWEST_FRETS = 5  # shown
INLAYS = (3, 5, 7, 9, 12, 15)  # frets that carry a mark (common practice)


@dataclass(frozen=True, slots=True)
class _Neck:
    """Where things are drawn."""

    capo: int
    frets: int
    scale_mm: float
    left_handed: bool

    def wire_x(self, fret: float) -> float:
        """Centre line of a fret wire; 0 is the nut or the capo."""
        whole = fret_mm(self.capo + self.frets, self.scale_mm) - fret_mm(self.capo, self.scale_mm)
        part = fret_mm(self.capo + fret, self.scale_mm) - fret_mm(self.capo, self.scale_mm)
        return self.mirrored(LEFT + (WIDTH - LEFT - RIGHT) * part / whole)

    def place_x(self, fret: int) -> float:
        """Where a finger stands: between the wires, behind the front one."""
        if fret == 0:
            return self.mirrored(LEFT - 24.0)
        return 0.38 * self.wire_x(fret - 1) + 0.62 * self.wire_x(fret)

    def mirrored(self, x: float) -> float:
        """The same place for a left-handed player."""
        return WIDTH - x if self.left_handed else x


def string_y(string: int) -> float:
    """Height of a string's line, the first string on top as in tablature."""
    return TOP + (string - 1) * STRING_GAP


def use_of_places(tune: Tune, setup: Setup, player: Player | None = None) -> Counter[Place]:
    """How often each place is played in one round, repeats taken."""
    line = line_of(tune)
    stops, _ = finger_stops(tune, setup, player=player)
    times = Counter(tune.performed_order())
    used: Counter[Place] = Counter()
    for stop, (bar, _) in zip(stops, line.place, strict=True):
        used[Place(stop.string, stop.fret)] += times[bar]
    return +used


def fretboard_chart(tune: Tune, setup: Setup, *, player: Player | None = None) -> str:
    """The chart as SVG text.

    Raises UsageError when a note of the tune has no place on the setup.
    """
    player = player or Player()
    used = use_of_places(tune, setup, player)
    top_fret = max(place.fret for place in used)
    room = player.body_fret + player.past_body - setup.capo
    frets = min(max(FEWEST_FRETS, top_fret + 1), max(room, top_fret))
    neck = _Neck(setup.capo, frets, player.scale_mm, player.left_handed)
    height = string_y(6) + 72.0
    title = f"{setup.tuning}, {capo_words(setup.capo)}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img" '
        f'font-family="Helvetica, Arial, sans-serif" fill="{INK}">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(_in_words(used, setup))}</desc>",
        f'<rect width="{WIDTH:g}" height="{height:g}" fill="white"/>',
        _heading(title, setup, neck),
        *_frets(neck, player),
        *_strings(setup, neck),
        *_marks(used, setup, neck),
        _legend(setup, height),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _in_words(used: Counter[Place], setup: Setup) -> str:
    told = ", ".join(
        f"string {place.string} {'open' if not place.fret else f'fret {place.fret}'} {count} times"
        for place, count in sorted(used.items())
    )
    return f"Places used in one round with {setup.tuning}, {capo_words(setup.capo)}: {told}."


def _heading(title: str, setup: Setup, neck: _Neck) -> str:
    x, anchor = (WIDTH - 24, "end") if neck.left_handed else (24, "start")
    keys = f"sounds in {setup.sounds_in.tonic} {setup.sounds_in.mode}"
    if setup.capo:
        keys += f", {setup.shapes_in.tonic} shapes"
    return (
        f'<text x="{x:g}" y="26" font-size="17" font-weight="bold" text-anchor="{anchor}">'
        f'{escape(title)}<tspan font-weight="normal" font-size="13">  {escape(keys)}</tspan></text>'
    )


def _frets(neck: _Neck, player: Player) -> list[str]:
    top, bottom = string_y(1), string_y(6)
    drawn = []
    for fret in range(neck.frets + 1):
        x = neck.wire_x(fret)
        wide = 5.0 if fret == 0 else 1.2
        drawn.append(_line(x, top, x, bottom, wide, INK if fret == 0 else PALE))
        if fret:
            drawn.append(_text(neck.place_x(fret), bottom + 22, str(fret), 11))
        if fret and neck.capo + fret in INLAYS:
            x = neck.place_x(fret)
            drawn.append(f'<circle cx="{x:.1f}" cy="{bottom + 31:.1f}" r="2" fill="{PALE}"/>')
    body = player.body_fret - neck.capo
    if 0 < body <= neck.frets:
        x = neck.wire_x(body)
        drawn.append(_line(x, top - 12, x, bottom + 12, 1.5, INK, dash="5 4"))
        drawn.append(_text(x, top - 17, "body", 10))
    if neck.capo:
        drawn.append(_text(neck.wire_x(0), bottom + 22, f"capo {neck.capo}", 11))
    return drawn


def _strings(setup: Setup, neck: _Neck) -> list[str]:
    drawn = []
    for string in range(1, 7):
        y = string_y(string)
        drawn.append(_line(neck.wire_x(0), y, neck.wire_x(neck.frets), y, 0.7 + 0.28 * string, INK))
        name = _open_name(open_midi(setup.strings_midi, string) + setup.capo, setup)
        drawn.append(_text(neck.mirrored(36.0), y + 4.5, name, 14, bold=True))
        drawn.append(_text(neck.mirrored(14.0), y + 4, str(string), 10, PALE))
    return drawn


def _open_name(midi: int, setup: Setup) -> str:
    """Spelled by the key when it has the note, else as players write an open string."""
    key = setup.sounds_in
    if (midi - pitch_class(key.tonic)) % 12 in scale_steps(key.mode):
        return note_name(midi, signature_of(key.tonic, key.mode))
    return LETTERS[midi % 12]


def _marks(used: Counter[Place], setup: Setup, neck: _Neck) -> list[str]:
    most = max(used.values())
    narrowest = abs(neck.place_x(neck.frets) - neck.place_x(neck.frets - 1))
    largest = max(SMALLEST, min(LARGEST, 0.48 * narrowest))
    tonic = pitch_class(setup.sounds_in.tonic)
    drawn = []
    for place, count in sorted(used.items()):
        x, y = neck.place_x(place.fret), string_y(place.string)
        size = SMALLEST + (largest - SMALLEST) * sqrt(count / most)
        midi = open_midi(setup.strings_midi, place.string) + setup.capo + place.fret
        fill, ink = (INK, "white") if place.fret else ("white", INK)
        drawn.append(_diamond(x, y, size, fill) if midi % 12 == tonic else _disc(x, y, size, fill))
        drawn.append(_text(x, y + 3.6, str(count), 10 if count < 100 else 8, ink, bold=True))
    return drawn


def _legend(setup: Setup, height: float) -> str:
    return _text(
        WIDTH / 2,
        height - 14,
        f"number: times played in one round · on its point: the tonic {setup.sounds_in.tonic} · "
        "white: open string · frets count from the "
        f"{'capo' if setup.capo else 'nut'}, dots as on the neck",
        11,
    )


def _line(
    x1: float, y1: float, x2: float, y2: float, width: float, ink: str, dash: str = ""
) -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{ink}" stroke-width="{width:.2f}"{dashes}/>'
    )


def _text(x: float, y: float, text: str, size: float, ink: str = INK, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="middle" '
        f'fill="{ink}"{weight}>{escape(text)}</text>'
    )


def _disc(x: float, y: float, size: float, fill: str) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:.1f}" fill="{fill}" '
        f'stroke="{INK}" stroke-width="1.6"/>'
    )


def _diamond(x: float, y: float, size: float, fill: str) -> str:
    r = size * 1.15
    return (
        f'<path d="M{x:.1f} {y - r:.1f}L{x + r:.1f} {y:.1f}L{x:.1f} {y + r:.1f}'
        f'L{x - r:.1f} {y:.1f}Z" fill="{fill}" stroke="{INK}" stroke-width="1.6"/>'
    )
