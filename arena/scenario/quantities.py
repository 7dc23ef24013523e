"""What a log can hold: quantities, the words loggers call them by, their units, and how to read a header."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from arena import units

ATMOSPHERE_PA: Final = 101325.0  # gauge readings are taken over this


@dataclass(frozen=True)
class Quantity:
    """Something a log can hold: our column name, SI key, kind of unit, and words its header may carry."""

    column: str  # our name, unit included
    kind: str
    words: str  # regular expression on the header's cleaned words
    low: float = -np.inf  # SI; outside: refused
    high: float = np.inf


QUANTITIES: Final[dict[str, Quantity]] = {
    "time": Quantity("time_s", "time", r"time( of day| stamp)?|timestamp|clock( time)?|elapsed( time)?|t"),
    "speed": Quantity(
        "speed_kmh",
        "speed",
        r"(vehicle |car |road |gps |wheel )?speed( sensor| gps)?|vss|vehicle speed sensor|velocity",
        -1.0,
        140.0,
    ),
    "grade": Quantity("grade_pct", "share", r"(road )?(grade|slope|gradient)", -0.4, 0.4),
    "altitude": Quantity("altitude_m", "length", r"(gps )?(altitude|elevation)( gps)?|height", -500.0, 9000.0),
    "rpm": Quantity("rpm", "rpm", r"(engine )?rpm|engine speed|revs|engine revs", 0.0, 20000.0),
    "map": Quantity(
        "map_kpa",
        "pressure",
        r"map|(intake )?manifold (absolute )?pressure|intake pressure|boost( pressure)?",
        0.0,
        600e3,
    ),
    "throttle": Quantity(
        "throttle_pct", "share", r"(absolute )?throttle( position| plate)?( sensor)?|tps", -0.05, 1.05
    ),
    "pedal": Quantity(
        "pedal_pct", "share", r"(accelerator )?pedal( position)?( [a-f])?|accelerator( position)?|app", -0.05, 1.05
    ),
    "gear": Quantity("gear", "gear", r"(current |engaged |selected )?gear( position| number| engaged)?", 0.0, 20.0),
    "iat": Quantity(
        "iat_c",
        "temperature",
        r"iat|probe|(intake|charge|inlet manifold|intake manifold) (air )?temp(erature)?|act",
        200.0,
        520.0,
    ),
    "ambient": Quantity("ambient_c", "temperature", r"(ambient|outside)( air)?( temp(erature)?)?|oat", 200.0, 340.0),
    "engine_coolant": Quantity(
        "engine_coolant_c",
        "temperature",
        r"engine coolant( temp(erature)?)?|coolant temp(erature)?|ect|clt",
        200.0,
        420.0,
    ),
    "air_flow": Quantity(
        "air_flow_g_s",
        "mass_flow",
        r"maf|air flow( rate)?( from mass flow sensor)?|mass air flow|air mass flow",
        0.0,
        2.0,
    ),
    "charger_out": Quantity(
        "charger_out_c",
        "temperature",
        r"charger out( temp(erature)?)?|compressor out(let)?( temp(erature)?)?",
        200.0,
        600.0,
    ),
    "loop_coolant": Quantity(
        "coolant_into_core_c",
        "temperature",
        r"(charge )?cooler (coolant|water)( temp(erature)?)?|coolant into core|loop (coolant|water)( temp(erature)?)?",
        200.0,
        420.0,
    ),
    "coolant_out_of_core": Quantity("coolant_out_of_core_c", "temperature", r"coolant out of core", 200.0, 420.0),
    "core_metal": Quantity("core_metal_c", "temperature", r"core metal", 200.0, 520.0),
    "bay": Quantity(
        "bay_c", "temperature", r"(engine )?bay( temp(erature)?)?|under ?hood( temp(erature)?)?", 200.0, 450.0
    ),
    "duty": Quantity("duty_pct", "share", r"(pump )?duty( cycle)?|pump (output|pwm)", -0.01, 1.01),
    "pump_voltage": Quantity("pump_v", "voltage", r"pump( volt(age|s)?)?", -1.0, 60.0),
    "pump_current": Quantity("pump_a", "current", r"pump (current|amp(ere)?s)", -50.0, 200.0),
    "supply": Quantity(
        "supply_v", "voltage", r"supply|battery( volt(age|s)?)?|vbat|system voltage|control module voltage", 0.0, 60.0
    ),
    "flow": Quantity("flow_l_min", "volume_flow", r"(coolant |pump )?flow", -1e-3, 1e-2),
}


def _scaled(factor: float) -> Callable[[Any], Any]:
    return lambda value: value * factor


def _gauge(factor: float) -> Callable[[Any], Any]:
    return lambda value: value * factor + ATMOSPHERE_PA


_PRESSURES: Final[dict[str, float]] = {
    "kpa": 1e3,
    "pa": 1.0,
    "hpa": 100.0,
    "mbar": 100.0,
    "bar": 1e5,
    "psi": units.PSI_PA,
    "inhg": 3386.389,
    "mmhg": 133.3224,
}
UNITS: Final[dict[str, dict[str, Callable[[Any], Any]]]] = {
    "time": {
        **dict.fromkeys(("s", "sec", "second", "seconds"), _scaled(1.0)),
        "ms": _scaled(1e-3),
        "min": _scaled(60.0),
        "h": _scaled(3600.0),
    },
    "speed": {
        **dict.fromkeys(("kmh", "km/h", "kph"), _scaled(1.0 / 3.6)),
        "mph": units.mph_to_m_s,
        "m/s": _scaled(1.0),
    },
    "share": {
        **dict.fromkeys(("%", "pct", "percent"), _scaled(0.01)),
        **dict.fromkeys(("0-1", "share"), _scaled(1.0)),
    },
    "length": {"m": _scaled(1.0), "ft": _scaled(units.FOOT_M), "km": _scaled(1e3)},
    "rpm": {**dict.fromkeys(("rpm", "1/min", "rev/min", "r/min"), _scaled(1.0)), "hz": _scaled(60.0)},
    "pressure": {
        **{unit: _scaled(factor) for unit, factor in _PRESSURES.items()},
        **{f"{unit} abs": _scaled(factor) for unit, factor in _PRESSURES.items()},
        **{f"{unit} gauge": _gauge(factor) for unit, factor in _PRESSURES.items()},
    },
    "temperature": {
        **dict.fromkeys(("c", "degc", "deg c", "°c", "celsius"), units.c_to_k),
        **dict.fromkeys(("f", "degf", "deg f", "°f", "fahrenheit"), units.f_to_k),
        "k": _scaled(1.0),
    },
    "mass_flow": {
        "g/s": _scaled(1e-3),
        "kg/h": _scaled(1.0 / 3600.0),
        "kg/s": _scaled(1.0),
        "lb/min": _scaled(units.POUND_KG / 60.0),
    },
    "volume_flow": {**dict.fromkeys(("l/min", "lpm"), units.l_min_to_m3_s), "gpm": units.gpm_to_m3_s},
    "voltage": {"v": _scaled(1.0), "mv": _scaled(1e-3)},
    "current": {"a": _scaled(1.0), "ma": _scaled(1e-3)},
    "gear": {"-": _scaled(1.0)},
}
DEFAULT_UNIT: Final = {
    "time": "s",
    "speed": "kmh",
    "share": "%",
    "length": "m",
    "rpm": "rpm",
    "pressure": "kpa",
    "temperature": "c",
    "mass_flow": "g/s",
    "volume_flow": "l/min",
    "voltage": "v",
    "current": "a",
    "gear": "-",
}
OUR_COLUMNS: Final = {quantity.column: key for key, quantity in QUANTITIES.items()}


def mend(header: str) -> str:
    """A header with doubly encoded letters put right ("Â°C" -> "°C") and blanks trimmed."""
    text = header.strip().strip("\ufeff")
    for _ in range(2):
        if not re.search(r"[\u00c2\u00c3]", text):
            break
        try:
            text = text.encode("cp1252").decode("utf-8")
        except (UnicodeEncodeError, UnicodeDecodeError):
            text = text.replace("\u00c2", "")
    return text


def split_header(header: str) -> tuple[str, str]:
    """A header's cleaned words and its unit: "Vehicle Speed [km/h]" -> ("vehicle speed", "km/h"); no unit: ""."""
    text = mend(header)
    bracket = re.search(r"[\[(]\s*([^\])]*?)\s*[\])]\s*$", text)
    unit = ""
    if bracket:
        unit, text = bracket[1].lower(), text[: bracket.start()]
    words = re.sub(r"[\s_\-.:]+", " ", text).strip().lower()
    if not unit:
        known = sorted({name for group in UNITS.values() for name in group}, key=len, reverse=True)
        for name in known:
            suffix = re.sub(r"[_/]", " ", name)
            for ending in {name, suffix}:
                if words.endswith(f" {ending}"):
                    return words[: -len(ending) - 1].strip(), name
    return words, unit
