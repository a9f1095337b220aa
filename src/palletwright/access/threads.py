"""Metric coarse threads: tap drill, pitch and minor diameter, to suggest a thread where a hole could be one."""

from __future__ import annotations

from dataclasses import dataclass

MATCH = 0.06
"""mm between a modelled diameter and a tap drill or minor diameter that suggests the thread."""


@dataclass(frozen=True, slots=True)
class Thread:
    """`minor` is the basic minor diameter of the internal thread: D - 1.082532·P (ISO 68-1); pipe threads
    D - 1.280654·P (ISO 228-1)."""

    name: str
    diameter: float
    pitch: float
    tap_drill: float

    @property
    def minor(self) -> float:
        return self.diameter - (1.280654 if self.name.startswith("G") else 1.082532) * self.pitch


# Pitch: ISO 261 coarse. Tap drill: ISO 2306, from memory, unconfirmed.
COARSE = tuple(
    Thread(f"M{d:g}", d, p, drill)
    for d, p, drill in (
        (2.0, 0.4, 1.6),
        (2.5, 0.45, 2.05),
        (3.0, 0.5, 2.5),
        (4.0, 0.7, 3.3),
        (5.0, 0.8, 4.2),
        (6.0, 1.0, 5.0),
        (8.0, 1.25, 6.8),
        (10.0, 1.5, 8.5),
        (12.0, 1.75, 10.2),
        (14.0, 2.0, 12.0),
        (16.0, 2.0, 14.0),
        (20.0, 2.5, 17.5),
        (24.0, 3.0, 21.0),
    )
)

# Parallel pipe threads: diameter and pitch ISO 228-1, drills from memory, unconfirmed.
PIPE = (
    Thread("G1/8", 9.728, 0.907, 8.8),
    Thread("G1/4", 13.157, 1.337, 11.8),
    Thread("G3/8", 16.662, 1.337, 15.25),
    Thread("G1/2", 20.955, 1.814, 19.0),
)


def suggested(diameter: float) -> Thread | None:
    """The coarse thread whose tap drill or minor diameter this is, if any."""
    rows = [(min(abs(diameter - t.tap_drill), abs(diameter - t.minor)), t.diameter, t) for t in COARSE]
    gap, _, thread = min(rows, key=lambda row: row[:2])
    return thread if gap <= MATCH else None


def named(text: str) -> Thread | None:
    """The thread of a drawing's words, such as 'M6', 'M6x1', 'M8×1.25 6H'; None where it isn't understood."""
    word = text.strip().upper().replace("×", "X").split()[0] if text.strip() else ""
    size, _, pitch = word.partition("X")
    for thread in COARSE + PIPE:
        if size == thread.name:
            if not pitch:
                return thread
            try:
                p = float(pitch.rstrip("-").split("-")[0])
            except ValueError:
                return None
            return Thread(word, thread.diameter, p, round(thread.diameter - p, 2))
    return None
