"""A law for tests: full and off in turn, 30 s each, so that the whole loop is stirred again and again."""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """The clock."""

    time_s: float


class Settings(NamedTuple):
    """Half a period, and the duty of the working half."""

    half_s: float
    duty_pct: float
    from_s: float


class Memory(NamedTuple):
    """Nothing."""


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """On in even halves, off in odd ones; off before the start time."""
    half = int(sensed.time_s / settings.half_s + 1e-9)
    on = 1.0 if half % 2 == 0 and sensed.time_s >= settings.from_s else 0.0
    return on * 0.01 * settings.duty_pct, memory


STRATEGY = Strategy(
    name="every-half-minute",
    summary="test law: full and off in turn",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(),
    law=duty,
    settings=(
        Setting("half_s", "s", 1.0, 1e6, 30.0, "length of each half"),
        Setting("duty_pct", "%", 0.0, 100.0, 100.0, "duty of the working half"),
        Setting("from_s", "s", 0.0, 1e6, 0.0, "off before"),
    ),
)
