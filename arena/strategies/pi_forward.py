"""PI with anti-windup and load feed-forward: holds the charge at a target, and opens up with the throttle.

The integral stands still while the duty is at a limit it would push further into; a throttle beyond the gate adds
duty at once, before the probe has noticed anything.
"""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy, clip


class Sensed(NamedTuple):
    """The charge probe, the throttle plate and a clock."""

    iat_c: float
    throttle_pct: float
    time_s: float


class Settings(NamedTuple):
    """Target, the two gains, the feed-forward and the running floor."""

    target_c: float
    gain_pct_k: float
    reset_s: float
    forward_pct: float
    gate_pct: float
    floor_pct: float
    rest_pct: float


class Memory(NamedTuple):
    """1 while the pump is asked to run; the integral as duty; time of the last look."""

    running: float
    integral: float
    time_s: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Feed-forward + gain x (error + its integral / reset time), off below the floor."""
    error = sensed.iat_c - settings.target_c
    gain = 0.01 * settings.gain_pct_k
    opened = clip((sensed.throttle_pct - settings.gate_pct) / (100.0 - settings.gate_pct), 0.0, 1.0)
    straight = 0.01 * settings.forward_pct * opened + gain * error
    integral = memory.integral
    wanted = straight + integral
    if (wanted < 1.0 or error < 0.0) and (wanted > 0.0 or error > 0.0):
        passed = clip(sensed.time_s - memory.time_s, 0.0, 60.0)
        integral = clip(integral + passed * gain * error / settings.reset_s, -1.0, 1.0)
    asked = clip(straight + integral, 0.0, 1.0)
    floor = 0.01 * settings.floor_pct
    running = memory.running
    if asked >= floor:
        running = 1.0
    elif asked <= max(floor - 0.01 * settings.rest_pct, 0.0):
        running = 0.0
    return running * max(asked, floor), Memory(running, integral, sensed.time_s)


STRATEGY = Strategy(
    name="pi-forward",
    summary="PI on charge temperature with anti-windup, and feed-forward from the throttle",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0, 0.0, 0.0),
    law=duty,
    settings=(
        Setting("target_c", "degC", 15.0, 60.0, 34.0, "charge temperature to hold"),
        Setting("gain_pct_k", "%/K", 0.3, 20.0, 4.0, "duty for each kelvin over the target"),
        Setting("reset_s", "s", 5.0, 1000.0, 90.0, "time in which the integral adds as much again"),
        Setting("forward_pct", "%", 0.0, 100.0, 30.0, "duty added at full throttle"),
        Setting("gate_pct", "%", 0.0, 80.0, 40.0, "throttle from which duty is added"),
        Setting("floor_pct", "%", 30.0, 80.0, 35.0, "least duty while running; below it the pump may stall"),
        Setting(
            "rest_pct", "%", 1.0, 60.0, 20.0, "keeps running at the floor until the duty wanted is this far under it"
        ),
    ),
)
