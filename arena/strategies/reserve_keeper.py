"""Reserve-keeper: leaves the cold coolant in the front exchanger until boost is called for, then full flow.

After the call it settles: for a while the stored heat is carried forward at a lower duty. A guard runs the pump off
boost too, should the charge get hot without a call.
"""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """The charge probe, the throttle plate and a clock."""

    iat_c: float
    throttle_pct: float
    time_s: float


class Settings(NamedTuple):
    """When boost counts as called for, how it settles, and the guard."""

    call_pct: float
    least_c: float
    settle_s: float
    settle_pct: float
    guard_c: float
    guard_span_k: float
    hysteresis_k: float


class Memory(NamedTuple):
    """Until when the pump settles, and 1 while the guard holds."""

    until_s: float
    guarded: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Full on a call, the settling duty for a while after it, the guard's duty when hot, else off."""
    iat, until, guarded = sensed.iat_c, memory.until_s, memory.guarded
    settled = 0.01 * settings.settle_pct
    if iat >= settings.guard_c:
        guarded = 1.0
    elif iat < settings.guard_c - settings.hysteresis_k:
        guarded = 0.0
    asked = 0.0
    if sensed.throttle_pct >= settings.call_pct and iat >= settings.least_c:
        asked = 1.0
        until = sensed.time_s + settings.settle_s
    elif guarded > 0.0:
        share = (iat - settings.guard_c) / settings.guard_span_k
        asked = settled + (1.0 - settled) * min(max(share, 0.0), 1.0)
    elif sensed.time_s < until:
        asked = settled
    return asked, Memory(until, guarded)


STRATEGY = Strategy(
    name="reserve-keeper",
    summary="pump off to keep a cold reserve, full when boost is called for, then settles",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0, 0.0),
    law=duty,
    settings=(
        Setting("call_pct", "%", 15.0, 95.0, 50.0, "throttle from which boost is called for"),
        Setting("least_c", "degC", 10.0, 60.0, 34.0, "no call below this charge temperature: it is cold enough"),
        Setting("settle_s", "s", 0.0, 300.0, 10.0, "runs on at the settling duty this long after a call"),
        Setting("settle_pct", "%", 30.0, 100.0, 40.0, "duty while settling, and the guard's least"),
        Setting("guard_c", "degC", 25.0, 70.0, 38.0, "runs without a call from this charge temperature"),
        Setting("guard_span_k", "K", 1.0, 30.0, 10.0, "from the guard's least duty to full"),
        Setting("hysteresis_k", "K", 0.5, 10.0, 3.0, "the guard lets go this far below its start"),
    ),
)
