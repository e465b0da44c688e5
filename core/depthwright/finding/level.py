"""Echoes that go along a line, and what speaks for each of them."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.finding.proposal import SHOWN_SCORE, BarProposal
from depthwright.measuring.backface import Followed, follow, ridge_path
from depthwright.measuring.stage import PickStage
from depthwright.processing.envelope import companion

Floats = NDArray[np.float64]
Envelopes = NDArray[np.float32]
Indices = NDArray[np.intp]

DIRECT_LAG_PERIODS = 0.28
"""How much later than no travelled distance the direct wave comes, in periods (full-wave lines: 0.24 to
0.31, own computation). Good enough to say where to look."""
TRIES = 3
APART_PERIODS = 0.8
"""How near two echoes of one line may be to each other."""
RING_PERIODS = (0.8, 2.0)
"""Where an echo's surroundings lie, before it and after it."""
STANDS_OUT_DB = 6.0
FACE_PHASE, DIRECT_PHASE = np.radians(225.0), np.radians(220.0)
"""Phase of a back face's echo against a bar's, and of a bar's against the direct wave's: 147 to 254 and
174 to 273 degrees on full-wave lines (own computation), not 180 since a bar is a line and a face is flat."""
STRONG_DB = -12.0
"""Level above which an echo's own repeats may stand around it as strong: judgement, no source."""
PHASE_BARS = 30


@dataclass(frozen=True)
class LevelEcho:
    """An echo along a stretch of the line and what speaks for it; arrays have the shape (columns,).

    ``contrast_db`` is how far it stands out of its surroundings; ``polarity`` goes from 1 for that of a
    back face to -1; ``steady`` is 1 where its phase is the same all along; ``alike`` the share of its power
    that an average along the line keeps, little for a row of hyperbolas; ``level_db`` its strength over
    that of the direct wave, as it would be at a two-way time of 1 ns.
    """

    columns: Indices
    path: Indices
    echo: Followed
    contrast_db: Floats
    polarity: float
    steady: float
    alike: float
    level_db: float

    @property
    def time_ns(self) -> float:
        """Median file time; NaN where it has no maximum of its own."""
        known = self.echo.time_ns[np.isfinite(self.echo.time_ns)]
        return float(np.median(known)) if len(known) > len(self.columns) / 2 else float("nan")

    @property
    def share(self) -> float:
        """Share of the line along which it stands out."""
        return float(np.mean(self.contrast_db > STANDS_OUT_DB))

    @property
    def above_db(self) -> float:
        """How far it stands out on the whole."""
        return float(np.median(self.contrast_db))

    @property
    def is_level(self) -> bool:
        """Whether there is an echo along the line at all, of whatever polarity."""
        return min(self._marks[:-1]) >= SHOWN_SCORE and np.isfinite(self.time_ns)

    @property
    def is_strong(self) -> bool:
        """Whether it is alike all along and so strong that its own repeats may be its surroundings."""
        return min(self._marks[2:4]) == 1.0 and self.level_db > STRONG_DB

    @property
    def may_be_level(self) -> bool:
        """Whether there is something to look at, however unsure."""
        marks = self._marks
        return min(marks[0], marks[1], marks[3]) >= SHOWN_SCORE / 2 and np.isfinite(self.time_ns)

    @property
    def like_face(self) -> bool:
        """Whether its polarity is rather a back face's than a bar's."""
        return self._marks[-1] >= SHOWN_SCORE

    @property
    def _marks(self) -> tuple[float, ...]:
        return (
            _ramp(self.above_db, 5.0, 11.0),
            _ramp(self.share, 0.3, 0.9),
            _ramp(self.steady, 0.6, 0.9),
            _ramp(self.alike, 0.33, 0.53),
            _ramp(self.level_db, -36.0, -30.0),
            _ramp(self.polarity, -0.6, 0.1),
        )

    @property
    def score(self) -> float:
        """0 to 1: the weakest of what speaks for it."""
        return min(self._marks) if np.isfinite(self.time_ns) else 0.0

    @property
    def doubt(self) -> str:
        """What is weakest about it."""
        words = (
            f"it stands only {max(0.0, self.above_db):.0f} dB above its surroundings",
            f"it stands out along only {100 * self.share:.0f} % of the line",
            "its phase changes along the line",
            "it is not alike along the line",
            "it is very faint",
            "its polarity does not tell it from bars",
        )
        return words[int(np.argmin(self._marks))]


def _ramp(value: float, none: float, all_of_it: float) -> float:
    """0 to 1 between two values."""
    return min(max((value - none) / (all_of_it - none), 0.0), 1.0)


def zero_ns(stage: PickStage) -> float:
    """About the file time of no travelled distance."""
    return stage.direct.time_ns - DIRECT_LAG_PERIODS * stage.period_ns


def bar_phase(stage: PickStage, bars: Sequence[BarProposal]) -> float:
    """Phase of the bars' echoes at their maximum, rad; without bars as the direct wave lets expect."""
    # The earlier half: what is taken for a bar further down may be something else.
    early = sorted(bars, key=lambda bar: bar.pick.time_ns)[: (len(bars) + 1) // 2]
    some = early[:: max(1, len(early) // PHASE_BARS)]
    turns = []
    for bar in some:
        trace = stage.scan.nearest_trace(bar.pick.position_mm)
        turns.append(_turn(stage.block(trace, trace + 1), bar.pick.time_ns / stage.scan.dt_ns))
    if turns:
        return float(np.angle(np.sum(turns)))
    wavelet = stage.direct.wavelet[None, :]
    return float(np.angle(_turn(wavelet, stage.direct.time_ns / stage.scan.dt_ns)) + DIRECT_PHASE)


def _turn(trace: NDArray[np.float32], sample: float) -> complex:
    """Analytic signal of one trace at a sample, of size 1; 0 in silence."""
    at = int(np.clip(round(sample), 0, trace.shape[1] - 1))
    value = complex(trace[0, at], companion(trace)[0, at])
    return value / abs(value) if value else 0j


def level_echoes(
    stage: PickStage, columns: Indices, envelopes: Envelopes, low: int, high: int, phase: float
) -> Iterator[LevelEcho]:
    """Echoes along the line from the strongest on, each apart from those before."""
    dt, period = stage.scan.dt_ns, stage.period_ns
    after = np.arange(low, high) * dt - zero_ns(stage)
    # An echo's strength falls at least with the distance travelled.
    worth = envelopes[:, low:high] * after
    free = np.full(len(columns), -1, dtype=np.intp)
    apart = round(APART_PERIODS * period / dt)
    for _ in range(TRIES):
        usual = float(np.percentile(worth.max(axis=1), 75))
        if usual <= 0:
            return
        share = np.minimum(worth / usual, 1.0)
        path = low + ridge_path(stage, columns, share, free)
        yield judged(stage, columns, envelopes, path, phase)
        near = np.arange(low, high)[None, :] - path[:, None]
        worth = np.where(np.abs(near) <= apart, 0.0, worth)


def judged(
    stage: PickStage, columns: Indices, envelopes: Envelopes, path: Indices, phase: float
) -> LevelEcho:
    """The echo near a path with all that speaks for it."""
    echo = follow(stage, columns, path)
    # Where bars hide it, its phase is another's.
    weight = np.where(np.isfinite(echo.time_ns), np.maximum(echo.strength, 0.0), 0.0)
    turns = weight * np.exp(1j * (echo.phase - phase - FACE_PHASE))
    mean = turns.sum() / max(weight.sum(), 1e-30)
    after = float(np.median(path)) * stage.scan.dt_ns - zero_ns(stage)
    level = max(float(np.median(echo.strength)) * after / stage.direct_peak, 1e-9)
    return LevelEcho(
        columns=columns,
        path=path,
        echo=echo,
        contrast_db=_contrast_db(stage, envelopes, path),
        polarity=float(np.real(mean) / max(abs(mean), 1e-9)),
        steady=float(abs(mean)),
        alike=float(np.median(echo.alike)),
        level_db=20 * math.log10(level),
    )


def _contrast_db(stage: PickStage, envelopes: Envelopes, path: Indices) -> Floats:
    """How far the envelope on a path stands above what is before it and after it, dB."""
    near, far = (round(periods * stage.period_ns / stage.scan.dt_ns) for periods in RING_PERIODS)
    rows = np.arange(len(path))
    sides = []
    for away in (np.arange(-far, -near + 1), np.arange(near, far + 1)):
        at = path[:, None] + away
        values = envelopes[rows[:, None], np.clip(at, 0, envelopes.shape[1] - 1)]
        sides.append(np.median(np.where(at < envelopes.shape[1], values, np.inf), axis=1))
    # At the end of the record there may be nothing after it to compare with.
    around = np.where(np.isfinite(sides[1]), np.maximum(*sides), sides[0])
    ratio = envelopes[rows, path] / np.maximum(around, 1e-30)
    contrast: Floats = 20 * np.log10(np.maximum(ratio, 1e-3)).astype(np.float64)
    return contrast
