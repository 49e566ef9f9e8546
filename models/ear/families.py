"""How families of sustained sounds are played: a table of ranges from which each clip draws.

References: N. Fletcher and T. Rossing, "The Physics of Musical Instruments", 1998 (attack times);
         J. Sundberg, "The Science of the Singing Voice", 1987 (vibrato); both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Family:
    """Ranges of one family of sustained sounds."""

    low: int
    high: int
    attack_s: tuple[float, float]
    glide_s: tuple[float, float]
    gap_s: tuple[float, float]
    slope: tuple[float, float]
    spread_db: float
    slur: tuple[float, float]
    dip_db: tuple[float, float]
    dip_s: tuple[float, float]
    vibrato: float = 0.4
    """Share of clips with vibrato."""
    cents: tuple[float, float] = (8, 40)
    odd: float = 0.0
    """Share of clips with weak even harmonics."""
    breath_db: tuple[float, float] = (-60, -30)
    ornaments: tuple[float, float] = (0.0, 0.35)
    drift: float = 0.0
    """Semitones of slow drift."""
    unit_s: tuple[float, float] = (0.1, 0.3)
    swell: float = 0.3


FAMILIES = {
    "flute": Family(59, 98, (0.012, 0.06), (0.006, 0.03), (0.0, 0.04), (0.8, 2.6), 6,
                    (0.1, 0.9), (3, 25), (0.02, 0.07), 0.45, breath_db=(-50, -20)),
    "whistle": Family(72, 99, (0.008, 0.04), (0.004, 0.025), (0.0, 0.035), (1.2, 3.2), 6,
                      (0.1, 0.95), (3, 25), (0.015, 0.06), 0.3, breath_db=(-50, -20),
                      ornaments=(0.05, 0.4)),
    "reed": Family(48, 90, (0.01, 0.05), (0.004, 0.03), (0.0, 0.04), (0.2, 1.6), 8,
                   (0.1, 0.9), (4, 25), (0.015, 0.06), 0.35, odd=0.4),
    "free reed": Family(50, 91, (0.01, 0.06), (0.001, 0.004), (0.0, 0.04), (0.3, 1.5), 8,
                        (0.0, 0.6), (5, 30), (0.02, 0.06), 0.05, breath_db=(-70, -45)),
    "bowed": Family(50, 96, (0.01, 0.09), (0.004, 0.04), (0.0, 0.03), (0.6, 1.6), 7,
                    (0.2, 0.8), (2, 22), (0.015, 0.09), 0.5, (8, 45), breath_db=(-55, -28)),
    "pipes": Family(60, 88, (0.004, 0.03), (0.003, 0.012), (0.0, 0.02), (0.0, 1.2), 8,
                    (0.5, 1.0), (8, 30), (0.012, 0.04), 0.15, odd=0.25,
                    ornaments=(0.2, 0.5), breath_db=(-70, -45), swell=0.05),
    "lip whistle": Family(70, 103, (0.012, 0.07), (0.01, 0.08), (0.0, 0.06), (2.5, 5.0), 5,
                          (0.2, 0.9), (2, 20), (0.025, 0.09), 0.6, (8, 60),
                          breath_db=(-40, -12), drift=0.12, ornaments=(0.0, 0.2)),
    "hum": Family(38, 76, (0.02, 0.1), (0.02, 0.12), (0.0, 0.06), (1.2, 3.0), 6,
                  (0.2, 0.9), (2, 18), (0.03, 0.1), 0.5, (8, 60), breath_db=(-60, -30),
                  drift=0.15, ornaments=(0.0, 0.1), unit_s=(0.13, 0.4)),
    "voice": Family(41, 84, (0.015, 0.08), (0.015, 0.12), (0.0, 0.05), (0.4, 1.8), 3,
                    (0.1, 0.7), (2, 15), (0.03, 0.1), 0.6, (10, 100), breath_db=(-50, -22),
                    drift=0.15, ornaments=(0.0, 0.12), unit_s=(0.12, 0.5)),
    "lilt": Family(41, 84, (0.008, 0.04), (0.01, 0.07), (0.0, 0.04), (0.4, 1.8), 3,
                   (0.05, 0.4), (3, 15), (0.02, 0.07), 0.3, (8, 40), breath_db=(-50, -22),
                   drift=0.12, ornaments=(0.0, 0.2), unit_s=(0.11, 0.3)),
    "choir": Family(45, 84, (0.03, 0.2), (0.01, 0.1), (0.0, 0.03), (0.6, 2.0), 3,
                    (0.1, 0.9), (2.5, 12), (0.04, 0.12), 0.8, (8, 40), breath_db=(-60, -28),
                    drift=0.05, ornaments=(0.0, 0.1), unit_s=(0.13, 0.5)),
    "brass": Family(40, 86, (0.015, 0.07), (0.005, 0.04), (0.005, 0.05), (0.3, 1.6), 3,
                    (0.1, 0.5), (3, 22), (0.02, 0.06), 0.3, (5, 30), breath_db=(-60, -28),
                    ornaments=(0.0, 0.2)),
}  # fmt: skip
SUNG = ("voice", "lilt", "choir", "hum")
OFTEN_REPEATED = ("choir", "hum", "voice", "reed", "brass")
