"""The starting file of a user's own strategy, as `arena new strategy` writes it."""

from __future__ import annotations


def strategy_starter(name: str = "my-law") -> str:
    """A whole strategy file that competes and can be tuned as it stands; `name` is what the standings call it."""
    return _TEXT.replace("my-law", name)


_TEXT = '''"""My own law: off when cold, a low duty when warm, more with load, full when hot.

Try it:  arena drive hill-pulls --strategy THIS_FILE
It is Python that you chose to run: the arena runs it only when you name the file.
"""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """What the law may look at. Others: coolant_c, pedal_pct, map_kpa, speed_kmh, rpm, ambient_c, battery_v,
    engine_on, time_s."""

    iat_c: float
    throttle_pct: float


class Settings(NamedTuple):
    """The numbers of the law, the same as in `settings` below and in the same order."""

    warm_c: float
    hot_c: float
    low_pct: float
    open_pct: float


class Memory(NamedTuple):
    """What it keeps from one look to the next, numbers only. Here: 1 while the pump runs."""

    running: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Asked ten times a second. Give back a duty from 0 (off) to 1 (full), and the memory."""
    running = memory.running
    if sensed.iat_c > settings.warm_c:
        running = 1.0
    elif sensed.iat_c < settings.warm_c - 3.0:
        running = 0.0
    if running == 0.0:
        return 0.0, Memory(running)
    if sensed.iat_c > settings.hot_c or sensed.throttle_pct > settings.open_pct:
        return 1.0, Memory(running)
    return 0.01 * settings.low_pct, Memory(running)


STRATEGY = Strategy(
    name="my-law",
    summary="off when cold, low when warm, full when hot or on the throttle",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0),
    law=duty,
    settings=(  # name, unit, lowest, highest, default, meaning: the tuner searches between lowest and highest
        Setting("warm_c", "degC", 15.0, 60.0, 35.0, "pump starts at this charge temperature"),
        Setting("hot_c", "degC", 25.0, 75.0, 48.0, "full duty from this charge temperature"),
        Setting("low_pct", "%", 30.0, 90.0, 45.0, "duty between warm and hot; too low a duty stalls the pump"),
        Setting("open_pct", "%", 20.0, 100.0, 70.0, "full duty from this throttle while warm"),
    ),
    failsafe_duty=1.0,  # asked while the charge probe reads nonsense
)
'''
