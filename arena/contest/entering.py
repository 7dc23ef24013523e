"""From what a user asks for to a contestant: strategy arguments, settings in range, what any strategy can carry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from arena.contest.axes import HYSTERESIS_PCT
from arena.contest.duty_table import HYSTERESIS, LOWEST, strategy_of
from arena.contest.run import Contestant
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.numbers import CarNumbers
from arena.scenario.derived import sure_duty, sure_words
from arena.strategies import split_argument, strategy_named, table_law
from arena.strategies.base import CARRIED, QUIET_CAP, RUN_ON, Strategy


def contestant_of(
    argument: str, settings: Mapping[str, float] | None = None, name: str = "", car: CarNumbers | None = None
) -> Contestant:
    """A contestant by strategy argument: an id, a .py file, table:FILE.csv, each with settings hung on it if wanted.

    `proportional+start_c=35+quiet_cap_pct=40` is proportional with these; `settings` are added. Settings are checked
    against their declared ranges. With a car a table is read as `arena tune` reads one: under the duty at which that
    car's pump surely starts the output is off, unless the argument says otherwise. Raises BadInput for whatever cannot
    be used.
    """
    plain, hung = split_argument(argument)
    values = {**hung, **(settings or {})}
    if plain.startswith("table:") and LOWEST not in values and car is not None:
        values[LOWEST] = round(100.0 * sure_duty(car), 6)
        values.setdefault(HYSTERESIS, min(HYSTERESIS_PCT, values[LOWEST]))
    strategy = _strategy(plain, values)
    check_settings(strategy, values)
    carried = {s.name: values.pop(s.name, s.default) for s in CARRIED}
    strategy.make_settings(values)
    called = name or "+".join([strategy.name, *(f"{k}={v:g}" for k, v in hung.items())])
    return Contestant(
        called, strategy, values, quiet_cap_pct=carried[QUIET_CAP], run_on_s=carried[RUN_ON], held=frozenset(values)
    )


def _strategy(plain: str, values: dict[str, float]) -> Strategy:
    """The strategy of an argument without its settings; a table takes its output's lowest duty from them."""
    if plain.startswith("table:"):
        lowest, hysteresis = (values.pop(name, 0.0) for name in (LOWEST, HYSTERESIS))
        return strategy_of(plain.removeprefix("table:"), lowest, hysteresis)
    return strategy_named(plain)


def check_settings(strategy: Strategy, values: Mapping[str, float]) -> None:
    """Raise BadInput for settings that are not there or out of range, one line each."""
    known = {s.name: s for s in (*strategy.settings, *CARRIED)}
    faults = []
    for name, value in values.items():
        if name not in known:
            faults.append(f"{strategy.name}: unknown setting {name!r}")
        elif not known[name].low <= value <= known[name].high:
            s = known[name]
            faults.append(f"{name}={value:g}: outside {s.low:g}..{s.high:g} {s.unit}")
    if faults:
        raise BadInput(
            faults, f"Settings of {strategy.name}: {', '.join(known)}; `arena list strategies --json` has ranges."
        )


def carries(contestant: Contestant) -> dict[str, float]:
    """What a contestant carries besides its own settings, by name; empty for nothing."""
    values = {QUIET_CAP: contestant.quiet_cap_pct, RUN_ON: contestant.run_on_s}
    return {s.name: values[s.name] for s in CARRIED if values[s.name] != s.default}


def without_carried(contestant: Contestant) -> Contestant:
    """The same contestant without quiet cap and run-on."""
    return replace(contestant, quiet_cap_pct=100.0, run_on_s=0.0)


def settings_shown(contestant: Contestant) -> dict[str, float]:
    """All settings a contestant runs with, those it carries among them where they are not the usual."""
    made = contestant.strategy.make_settings(dict(contestant.settings))
    return {**made._asdict(), **carries(contestant)}


def stall_note(contestant: Contestant, reason: str, car: CarNumbers) -> list[str]:
    """What to do about a pump that did not start at the duty it was asked for; nothing for other failures."""
    if reason != at.REASONS[2]:
        return []
    if contestant.strategy.actuator != "pwm":
        return [f"{contestant.name}: a step's resistance leaves the pump too little to start on: take less of it"]
    surely = 100.0 * sure_duty(car)
    hint = f", or hang +{LOWEST}={surely:.0f} on the table" if contestant.strategy.name.startswith("table-") else ""
    return [
        f"{contestant.name}: asked for a duty too low to start the pump from rest; on this car {surely:.0f} % surely "
        f"does ({sure_words(car)}): ask for that or for nothing{hint}"
    ]


def notes_on(contestant: Contestant, car: CarNumbers) -> list[str]:
    """What must be said about what a contestant carries and what it wants of the car."""
    notes = [*table_notes(contestant), *probe_notes(contestant, car)]
    if contestant.strategy.actuator != "pwm" and car.pump.kind == "signal":
        notes.append(
            f"{contestant.name}: switches resistors, and this car's pump takes a signal: its steps are sent as signal "
            "duties, and its resistors are not there"
        )
    cap = 0.01 * contestant.quiet_cap_pct
    held = contestant.strategy.quiet_duty(cap)
    if held != cap:
        what = "stands still" if held == 0.0 else f"is held to the step of {100 * held:.0f} %"
        notes.append(
            f"{contestant.name}: its hardware cannot hold a duty of {contestant.quiet_cap_pct:g} %; at standstill "
            f"and low speed the pump {what}"
        )
    return notes


def probe_notes(contestant: Contestant, car: CarNumbers) -> list[str]:
    """Whether a contestant reads the coolant of a car whose file tells of no probe there."""
    if "coolant_c" not in contestant.strategy.senses or car.probe.coolant_probe:
        return []
    return [
        f"{contestant.name}: reads the loop's coolant, and the car file tells of no probe there: fit one, and say so "
        f"by coolant_probe = true under [probe]"
    ]


def table_notes(contestant: Contestant) -> list[str]:
    """How a table from a file is read under the lowest running duty, if its argument did not say."""
    strategy, memory = contestant.strategy, contestant.strategy.memory
    if not isinstance(memory, table_law.Memory) or memory.lowest == 0.0 or f"+{LOWEST}=" in contestant.name:
        return []
    assert strategy.table is not None
    cells = [cell for row in strategy.table(strategy.make_settings({}))[2] for cell in row]
    under = sum(0.0 < cell < memory.lowest - 1e-9 for cell in cells)
    lost = f"; {under} of its {len(cells)} cells lie between, so they never start it" if under else ""
    lowest, still_on = (f"{100 * v:g} %" for v in (memory.lowest, memory.lowest - memory.hysteresis))
    return [
        f"{contestant.name}: read as `arena tune` reads a table: under {lowest}, where this car's pump may not start, "
        f"the output is off (once running it stays on down to {still_on}){lost}. If yours sends such duties out, hang "
        f"+{LOWEST}=0 on it"
    ]
