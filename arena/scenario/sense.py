"""Whether a drive's phases make sense one after the other: plain notes, no errors, before anything is played.

A drive with notes runs all the same. What only the car can tell (a pull it cannot do) is told when the drive is played.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from arena.scenario import loading
from arena.scenario.drive import (
    Accelerate,
    Brake,
    Cruise,
    Descend,
    DriveFile,
    Idle,
    Lap,
    Park,
    Phase,
    Pull,
    Repeat,
    Span,
    Stop,
    Trace,
    TraceData,
    Traffic,
)

KMH: Final = 1.0 / 3.6
HARDEST_M_S2: Final = 6.0  # no road car on road tyres pulls harder for long; common practice, no source
HOP_M_S2: Final = 1.2  # of ordinary stop-and-go driving; from memory
FAST_KMH: Final = 250.0

Known = tuple[float, float] | None  # lowest and highest speed the car can have here, km/h; None if not known


def sense_notes(file: DriveFile, traces: Mapping[str, TraceData]) -> list[str]:
    """Notes on phases that do nothing, cannot be meant, or cannot be done by any car, one a phase of the file."""
    notes: dict[str, None] = {}
    first = next(iter(_leaves(file.phase, ("phase",))), None)
    if first is not None and isinstance(first[1], Pull) and file.drive.start == "cold":
        notes[f"{loading.key_name(first[0])}: a pull is the first thing a cold engine is asked for"] = None
    speed: Known = (0.0, 0.0)
    moved = False
    for loc, phase in _played(file.phase, ("phase",)):
        for said in _about(phase, speed, traces):
            notes[f"{loading.key_name(loc)} ({phase.do}): {said}"] = None
        speed = _after(phase, speed, traces)
        moved = moved or not isinstance(phase, Idle | Stop | Park)
    for loc, phase in _repeats(file.phase, ("phase",)):
        if phase.times == 1:
            notes[f"{loading.key_name(loc)} (repeat): plays its steps once, as they would be without it"] = None
    if not moved:
        notes["the car never moves in this drive"] = None
    return list(notes)


def _about(phase: Phase, speed: Known, traces: Mapping[str, TraceData]) -> Iterator[str]:
    match phase:
        case Accelerate():
            yield from _speeding_up(phase.to_kmh, phase.m_s2, speed)
        case Brake():
            if speed is not None and phase.to_kmh >= speed[1]:
                yield f"to {phase.to_kmh:g} km/h does nothing, the car does {_said(speed)} by then"
        case Pull():
            yield from _pulling(phase, speed)
        case Cruise():
            if _high(phase.speed_kmh) > FAST_KMH:
                yield f"at {_high(phase.speed_kmh):g} km/h is faster than most cars go"
            if abs(phase.grade_pct) > 20.0:
                yield f"on a slope of {phase.grade_pct:g} % is steeper than public roads are"
        case Descend():
            if phase.grade_pct > -1.0:
                yield f"on a slope of {phase.grade_pct:g} % hardly goes downhill"
        case Traffic():
            yield from _crawling(phase)
        case Lap():
            yield from _lapping(phase)
        case Park():
            if _high(phase.minutes) < 0.5:
                yield f"for {_high(phase.minutes):g} minutes is too short for any heat soak"
        case Trace():
            yield from _following(phase, speed, traces)
        case _:
            return


def _speeding_up(to_kmh: float, m_s2: float, speed: Known) -> Iterator[str]:
    if speed is not None and to_kmh <= speed[0]:
        yield f"to {to_kmh:g} km/h does nothing, the car does {_said(speed)} by then"
    if m_s2 > HARDEST_M_S2:
        yield f"at {m_s2:g} m/s2 is more than road cars manage; it will take as long as the car needs"
    if to_kmh > FAST_KMH:
        yield f"to {to_kmh:g} km/h is faster than most cars go"


def _pulling(phase: Pull, speed: Known) -> Iterator[str]:
    if speed is not None and phase.to_kmh <= speed[0]:
        yield f"to {phase.to_kmh:g} km/h is over at once, the car does {_said(speed)} by then"
    elif speed is not None and (phase.to_kmh - speed[1]) * KMH > HARDEST_M_S2 * phase.longest_s:
        yield f"cannot reach {phase.to_kmh:g} km/h from {speed[1]:g} within longest_s = {phase.longest_s:g} in any car"
    if phase.throttle_pct < 25.0:
        yield f"with {phase.throttle_pct:g} % throttle hardly boosts; use cruise or accelerate for ordinary driving"


def _crawling(phase: Traffic) -> Iterator[str]:
    if phase.stops_per_km > 0.0:
        hop_m = 1000.0 / phase.stops_per_km
        most = 0.5 * (hop_m * HOP_M_S2) ** 0.5 / KMH
        if phase.mean_kmh > most:
            yield f"cannot average {phase.mean_kmh:g} km/h with {phase.stops_per_km:g} stops a km (about {most:.0f})"
    if phase.stops_per_km > 0.0 and _high(phase.seconds) * phase.mean_kmh * KMH < 500.0 / phase.stops_per_km:
        yield "is over before the first stop"


def _lapping(phase: Lap) -> Iterator[str]:
    corners = phase.corner_kmh
    for k, straight in enumerate(phase.straights_m):
        before, after = corners[k - 1] * KMH, corners[k] * KMH
        if before**2 - after**2 > 2.0 * phase.brake_m_s2 * straight:
            yield (
                f"straight {k + 1} of {straight:g} m is too short to brake "
                f"from {corners[k - 1]:g} to {corners[k]:g} km/h"
            )
    if min(corners) > 200.0:
        yield f"no corner is slower than {min(corners):g} km/h"


def _following(phase: Trace, speed: Known, traces: Mapping[str, TraceData]) -> Iterator[str]:
    trace = traces.get(phase.file)
    if trace is None or trace.speed_m_s is None:
        return
    first, top = float(trace.speed_m_s[0]) / KMH, float(trace.speed_m_s.max()) / KMH
    if speed is not None and not speed[0] - 3.0 <= first <= speed[1] + 3.0:
        yield f"{phase.file} begins at {first:.0f} km/h; the car is brought there from {_said(speed)} first"
    if top < 3.0 and trace.rpm is None:
        yield f"{phase.file} never moves (at most {top:.1f} km/h): look at the unit of its speed"


def _after(phase: Phase, speed: Known, traces: Mapping[str, TraceData]) -> Known:  # noqa: PLR0911
    """Speed the car has when the phase is over, as far as it is certain."""
    match phase:
        case Idle() | Stop() | Park():
            return (0.0, 0.0)
        case Cruise() | Descend():
            return (_low(phase.speed_kmh), _high(phase.speed_kmh))
        case Accelerate():
            return None if speed is None else (max(speed[0], phase.to_kmh), max(speed[1], phase.to_kmh))
        case Brake():
            return (min(speed[0], phase.to_kmh), min(speed[1], phase.to_kmh)) if speed else (0.0, phase.to_kmh)
        case Pull():
            return None if speed is None else (speed[0], max(speed[1], phase.to_kmh))
        case Lap():
            return (phase.corner_kmh[-1], phase.corner_kmh[-1])
        case Trace() if phase.file in traces and (followed := traces[phase.file].speed_m_s) is not None:
            return (float(followed[-1]) / KMH, float(followed[-1]) / KMH)
        case _:
            return None


def _played(phases: tuple[Phase, ...], loc: loading.Loc) -> Iterator[tuple[loading.Loc, Phase]]:
    """Phases in playing order, repeats entered twice at most: the second time shows how they follow on themselves."""
    for row, phase in enumerate(phases):
        if isinstance(phase, Repeat):
            for _ in range(min(phase.times, 2)):
                yield from _played(phase.steps, (*loc, row, "steps"))
        else:
            yield (*loc, row), phase


def _leaves(phases: tuple[Phase, ...], loc: loading.Loc) -> Iterator[tuple[loading.Loc, Phase]]:
    for row, phase in enumerate(phases):
        if isinstance(phase, Repeat):
            yield from _leaves(phase.steps, (*loc, row, "steps"))
        else:
            yield (*loc, row), phase


def _repeats(phases: tuple[Phase, ...], loc: loading.Loc) -> Iterator[tuple[loading.Loc, Repeat]]:
    for row, phase in enumerate(phases):
        if isinstance(phase, Repeat):
            yield (*loc, row), phase
            yield from _repeats(phase.steps, (*loc, row, "steps"))


def _said(speed: tuple[float, float]) -> str:
    low, high = speed
    return f"{low:g} km/h" if low == high else f"{low:g} to {high:g} km/h"


def _high(span: Span) -> float:
    return span[1] if isinstance(span, tuple) else span


def _low(span: Span) -> float:
    return span[0] if isinstance(span, tuple) else span
