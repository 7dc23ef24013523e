"""Wiring in which a computer that dies or lets go means full pump: what each failure does, and the polarity.

Three kinds: relay with a dropping resistor, low-side switch on PWM, a pump with its own controller (some of these have
no resting level that is full, which is said). Common practice, no source; what is not covered is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arena.plant.electrics import signal_speed_share
from arena.plant.numbers import CarNumbers

Kind = Literal["relay", "switch", "signal"]
RESETS = "computer resets or loses its supply"


@dataclass(frozen=True)
class FailCase:
    """One failure in one arrangement, what the pump does, and what in the wiring makes it so."""

    event: str
    pump: str
    because: str


@dataclass(frozen=True)
class FailOn:
    """One arrangement: its polarity in one line, its wiring, its failures, and what it does not cover."""

    kind: Kind
    name: str
    polarity: str
    wiring: tuple[str, ...]
    cases: tuple[FailCase, ...]
    not_covered: str

    @property
    def rests_full(self) -> bool:
        """Whether the pump runs full when the computer lets go."""
        return next(case.pump for case in self.cases if case.event == RESETS) == "FULL"


def fail_on(car: CarNumbers, run_on_ah: float) -> tuple[FailOn, ...]:
    """The arrangements that suit the car's kind of pump; run_on_ah: charge ten minutes of run-on take."""
    if car.pump.kind == "signal":
        return (signal_pump(car, run_on_ah),)
    return relay(car, run_on_ah), low_side_switch(car, run_on_ah)


def relay(car: CarNumbers, run_on_ah: float) -> FailOn:
    """Two changeover relays at rest on full pump."""
    return FailOn(
        "relay",
        "two relays and a dropping resistor",
        "output at rest = FULL; output 1 pulls relay K1 = LOW; outputs 1 and 2 pull K1 and K2 = OFF",
        (
            "Feed: battery, fuse at the battery, ignition-switched contact, K1 common.",
            "K1 rest contact goes straight to the pump's plus; K1 working contact goes to K2 common.",
            "K2 rest contact goes through the resistor to the pump's plus; K2 working contact stays empty.",
            "Both coils sit between the switched feed and the computer's outputs (which pull to ground),",
            "each with a diode or resistor across it. Pump's minus to ground at the battery's minus or a cleaned "
            "point.",
            "Mind: many changeover relays carry less on the rest contact than on the working one; the rest one counts.",
        ),
        (
            FailCase(RESETS, "FULL", "its outputs let go, both relays fall back to rest"),
            FailCase(
                "cranking",
                "FULL, or off if the feed is dropped while cranking",
                f"at {car.supply.cranking_v:g} V coils may fall off: to rest. To spare the battery take the feed from "
                "a "
                "contact that opens while cranking",
            ),
            FailCase(
                "output wire broken",
                "wire 1: FULL; wire 2: LOW where OFF was asked",
                "a coil without its wire is at rest, and K1 at rest is FULL whatever K2 does",
            ),
            FailCase(
                "key off", "off", "the switched feed dies; rest contacts on an unswitched feed would empty the battery"
            ),
            FailCase(
                "run-on after key off",
                "as long as a timer relay holds the feed",
                f"ten minutes take {run_on_ah:.2f} Ah at full flow; the computer must not be fed backwards through "
                "the coils",
            ),
        ),
        "output 1 shorted to ground: never FULL; a blown fuse, a broken feed or ground: pump off. Log pump current or "
        "flow.",
    )


def low_side_switch(car: CarNumbers, run_on_ah: float) -> FailOn:
    """N-channel switch whose gate is pulled up at the switch; the computer pulls it down."""
    return FailOn(
        "switch",
        "low-side switch on PWM",
        "INVERTED: computer output active (to ground) = pump OFF; duty to set in the computer = 100 % - pump duty",
        (
            "Feed: battery, fuse at the battery, ignition-switched contact, pump's plus. Switch: pump's minus to "
            "ground.",
            "Gate resistor to the switched feed (with a 12 V Zener diode to ground) AT THE SWITCH, so that a broken "
            "wire",
            "leaves it on. The computer's output (open drain, rated for the feed) pulls the gate to ground.",
            "Flyback diode across the pump: cathode to plus, anode to the switch. Fast or Schottky, close to the pump.",
            "Capacitor between feed and ground at the switch; feed and ground leads side by side.",
        ),
        (
            FailCase(RESETS, "FULL", "its output floats, the gate resistor switches on"),
            FailCase(
                "cranking",
                "FULL at the cranking voltage",
                f"at {car.supply.cranking_v:g} V the gate still gets that much: choose a switch that is fully on at 5 "
                "V; "
                "starved of gate voltage it would heat up",
            ),
            FailCase("signal wire broken", "FULL", "the resistor is at the switch, on its side of the break"),
            FailCase("key off", "off", "the switched feed dies, and the gate with it"),
            FailCase(
                "run-on after key off",
                "as long as a timer relay holds the feed",
                f"ten minutes take {run_on_ah:.2f} Ah at full flow; while the computer sleeps the pump runs FULL",
            ),
        ),
        "signal wire shorted to ground, a switch burnt open, fuse, feed or ground lost: pump off. Log pump current.",
    )


def signal_pump(car: CarNumbers, run_on_ah: float) -> FailOn:
    """A pump with its own controller: the steady level that means full, from the car's own signal points."""
    p = car.pump
    low, high = (float(signal_speed_share(d, p.signal_duty, p.signal_speed)) for d in (0.0, 1.0))
    best = max(low, high)
    if best < 0.9:
        polarity = (
            f"NEITHER steady level is full (held low {100 * low:.0f} %, held high {100 * high:.0f} % of speed): "
            "a broken wire does not mean full pump by wiring alone"
        )
        pull, fails = (
            "no pull resistor can help: feed the pump's fallback, or add a relay that swaps in a fixed duty",
            "",
        )
    else:
        up = high >= low
        level, other = ("HIGH", "ground") if up else ("LOW", "the feed")
        polarity = (
            f"line at rest {level} = FULL ({100 * best:.0f} % of speed); the computer's output pulls it to {other}, "
            + (
                "so duty to set in the computer = 100 % - signal duty"
                if up
                else "so signal duty = share of time it pulls"
            )
        )
        way = "to the signal's supply" if up else "to ground"
        pull, fails = f"pull resistor {way} AT THE PUMP, so that a broken wire rests {level}", "FULL"
    verdict = fails or f"{100 * min(low, high):.0f}..{100 * best:.0f} % of speed, by which way the open line drifts"
    return FailOn(
        "signal",
        "pump with its own controller",
        polarity,
        (
            "Feed: battery, fuse at the battery, ignition-switched contact, pump's plus; never pulse or drop that "
            "feed.",
            f"Signal: {pull}.",
            "Find out before trusting it: unplug the signal with the pump running and see what the pump does;",
            "then hold the line low, then high. The car file's signal points say what was assumed here.",
        ),
        (
            FailCase(RESETS, verdict, "its output floats, the pull resistor decides"),
            FailCase(
                "cranking",
                "may restart late",
                f"the pump's own controller may reset below some 8 V (from memory; here {car.supply.cranking_v:g} V): "
                "expect its start-up time after every crank",
            ),
            FailCase("signal wire broken", verdict, "the pull resistor sits on the pump's side of the break"),
            FailCase("key off", "off", "the switched feed dies"),
            FailCase(
                "run-on after key off",
                "as long as a timer relay holds the feed",
                f"ten minutes take {run_on_ah:.2f} Ah at full flow; with the computer asleep the line rests",
            ),
        ),
        "signal wire shorted to the other level, fuse, feed or ground lost, the controller's own faults. Log its "
        "current.",
    )
