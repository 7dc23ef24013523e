"""Gated table: duty from a table of throttle by charge temperature, read bilinearly as engine computers do.

Little pump at small throttle even when warm, full when throttle and heat call for it. Six numbers shape the
table; `table_from` turns them into cells that never fall as throttle or temperature rise, and that hold
nothing between zero and the running floor.
"""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy, bilinear, output_on

IAT_C = (10.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0)
THROTTLE_PCT = (0.0, 10.0, 20.0, 35.0, 50.0, 65.0, 80.0, 100.0)


class Sensed(NamedTuple):
    """Charge probe and throttle."""

    iat_c: float
    throttle_pct: float


class Settings(NamedTuple):
    """The shape of the table."""

    closed_start_c: float
    open_start_c: float
    span_k: float
    gate_pct: float
    floor_pct: float
    hysteresis_pct: float


class Memory(NamedTuple):
    """1 while the pump is asked to run."""

    running: float


def duty(sensed: Sensed, settings: Settings, memory: Memory, cells: object, lane: int) -> tuple[float, Memory]:
    """Read the table; below the floor the pump is off, with a little hysteresis against chatter."""
    read = bilinear(cells, lane, sensed.iat_c, sensed.throttle_pct)
    floor = 0.01 * settings.floor_pct
    running = output_on(read, floor, 0.01 * settings.hysteresis_pct, memory.running)
    return running * max(read, floor), Memory(running)


def table_from(settings: Settings) -> tuple[tuple[float, ...], tuple[float, ...], list[list[float]]]:
    """IAT axis, throttle axis and duty rows (0..1): the start falls from closed to open throttle across the gate."""
    floor = 0.01 * settings.floor_pct
    rows = []
    for iat in IAT_C:
        row = []
        for throttle in THROTTLE_PCT:
            opened = min(max((throttle - settings.gate_pct) / 30.0, 0.0), 1.0)
            start = settings.closed_start_c + opened * (settings.open_start_c - settings.closed_start_c)
            share = (iat - start) / settings.span_k
            row.append(0.0 if share < 0.0 else floor + (1.0 - floor) * min(share, 1.0))
        rows.append(row)
    return IAT_C, THROTTLE_PCT, rows


def sensible(settings: Settings) -> Settings:
    """The pump never starts later with the throttle open than with it closed."""
    return settings._replace(open_start_c=min(settings.open_start_c, settings.closed_start_c))


STRATEGY = Strategy(
    name="gated-table",
    summary="duty table of throttle by charge temperature",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0),
    law=duty,
    settings=(
        Setting("closed_start_c", "degC", 20.0, 60.0, 38.0, "with a closed throttle the pump starts here"),
        Setting("open_start_c", "degC", 10.0, 60.0, 30.0, "with an open throttle the pump starts here"),
        Setting("span_k", "K", 1.0, 30.0, 12.0, "from start to full duty"),
        Setting("gate_pct", "%", 0.0, 70.0, 15.0, "throttle from which the start begins to fall, over the next 30 %"),
        Setting("floor_pct", "%", 30.0, 80.0, 35.0, "least duty while running; below it the pump may stall"),
        Setting("hysteresis_pct", "%", 1.0, 30.0, 10.0, "keeps running until the table falls this far under the floor"),
    ),
    table=table_from,
    repair=sensible,
)
