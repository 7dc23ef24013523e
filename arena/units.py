"""Conversions at the edges of the project: what people write and read against the SI inside.

Tiny functions, plain floats or numpy arrays; `Units` says how quantities are printed (metric or US).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

System = Literal["metric", "us"]

ZERO_C_K: Final = 273.15
PSI_PA: Final = 6894.757293168361  # pound-force per square inch, exact by the definitions of pound and inch
MILE_M: Final = 1609.344  # international mile, exact
US_GALLON_M3: Final = 3.785411784e-3  # US liquid gallon, exact
POUND_KG: Final = 0.45359237  # avoirdupois pound, exact
FOOT_M: Final = 0.3048  # exact

# Any: each takes and returns a float or an array of floats of any shape.


def c_to_k(celsius: Any) -> Any:
    """Degrees Celsius to kelvin."""
    return celsius + ZERO_C_K


def k_to_c(kelvin: Any) -> Any:
    """Kelvin to degrees Celsius."""
    return kelvin - ZERO_C_K


def f_to_k(fahrenheit: Any) -> Any:
    """Degrees Fahrenheit to kelvin."""
    return (fahrenheit - 32.0) / 1.8 + ZERO_C_K


def k_to_f(kelvin: Any) -> Any:
    """Kelvin to degrees Fahrenheit."""
    return (kelvin - ZERO_C_K) * 1.8 + 32.0


def pa_to_kpa(pascal: Any) -> Any:
    """Pascal to kilopascal."""
    return pascal * 1e-3


def psi_to_pa(psi: Any) -> Any:
    """Pounds per square inch to pascal (gauge stays gauge, absolute stays absolute)."""
    return psi * PSI_PA


def pa_to_psi(pascal: Any) -> Any:
    """Pascal to pounds per square inch."""
    return pascal / PSI_PA


def kmh_to_m_s(kmh: Any) -> Any:
    """Kilometres an hour to metres a second."""
    return kmh / 3.6


def m_s_to_kmh(metres_a_second: Any) -> Any:
    """Metres a second to kilometres an hour."""
    return metres_a_second * 3.6


def mph_to_m_s(mph: Any) -> Any:
    """Miles an hour to metres a second."""
    return mph * MILE_M / 3600.0


def m_s_to_mph(metres_a_second: Any) -> Any:
    """Metres a second to miles an hour."""
    return metres_a_second * 3600.0 / MILE_M


def l_min_to_m3_s(litres_a_minute: Any) -> Any:
    """Litres a minute to cubic metres a second."""
    return litres_a_minute / 60000.0


def m3_s_to_l_min(cubic_metres_a_second: Any) -> Any:
    """Cubic metres a second to litres a minute."""
    return cubic_metres_a_second * 60000.0


def gpm_to_m3_s(gallons_a_minute: Any) -> Any:
    """US gallons a minute to cubic metres a second."""
    return gallons_a_minute * US_GALLON_M3 / 60.0


def m3_s_to_gpm(cubic_metres_a_second: Any) -> Any:
    """Cubic metres a second to US gallons a minute."""
    return cubic_metres_a_second * 60.0 / US_GALLON_M3


@dataclass(frozen=True)
class Units:
    """How quantities are printed. Every method takes SI and returns the printed number; `*_unit` its label."""

    system: System = "metric"

    @property
    def us(self) -> bool:
        """Whether US customary units were asked for."""
        return self.system == "us"

    @property
    def temperature_unit(self) -> str:
        """Label of a temperature."""
        return "degF" if self.us else "degC"

    @property
    def difference_unit(self) -> str:
        """Label of a temperature difference."""
        return "degF" if self.us else "K"

    @property
    def pressure_unit(self) -> str:
        """Label of a pressure."""
        return "psi" if self.us else "kPa"

    @property
    def speed_unit(self) -> str:
        """Label of a road speed."""
        return "mph" if self.us else "km/h"

    @property
    def flow_unit(self) -> str:
        """Label of a coolant flow."""
        return "gpm" if self.us else "L/min"

    @property
    def volume_unit(self) -> str:
        """Label of a coolant volume."""
        return "gal" if self.us else "L"

    def temperature(self, kelvin: Any) -> Any:
        """Kelvin to the printed temperature."""
        return k_to_f(kelvin) if self.us else k_to_c(kelvin)

    def difference(self, kelvin: Any) -> Any:
        """A difference in kelvin to the printed difference."""
        return kelvin * 1.8 if self.us else kelvin

    def pressure(self, pascal: Any) -> Any:
        """Pascal to the printed pressure."""
        return pa_to_psi(pascal) if self.us else pa_to_kpa(pascal)

    def speed(self, metres_a_second: Any) -> Any:
        """Metres a second to the printed road speed."""
        return m_s_to_mph(metres_a_second) if self.us else m_s_to_kmh(metres_a_second)

    def flow(self, cubic_metres_a_second: Any) -> Any:
        """Cubic metres a second to the printed coolant flow."""
        return m3_s_to_gpm(cubic_metres_a_second) if self.us else m3_s_to_l_min(cubic_metres_a_second)

    def volume(self, cubic_metres: Any) -> Any:
        """Cubic metres to the printed volume."""
        return cubic_metres / US_GALLON_M3 if self.us else cubic_metres * 1e3

    def labelled(self, value: Any, unit: str) -> tuple[Any, str]:
        """A number in a printed metric unit ("degC", "K h", "L/min") as this system prints it, and its label."""
        if not self.us or unit not in _IN_US:
            return value, unit
        factor, offset, label = _IN_US[unit]
        return value * factor + offset, label


_IN_US: Final[dict[str, tuple[float, float, str]]] = {
    "degC": (1.8, 32.0, "degF"),
    "K": (1.8, 0.0, "degF"),
    "K h": (1.8, 0.0, "degF h"),
    "K s": (1.8, 0.0, "degF s"),
    "kPa": (1e3 / PSI_PA, 0.0, "psi"),
    "km/h": (1e3 / MILE_M, 0.0, "mph"),
    "km": (1e3 / MILE_M, 0.0, "mi"),
    "m": (1.0 / FOOT_M, 0.0, "ft"),
    "L/min": (1e-3 / US_GALLON_M3, 0.0, "gpm"),
    "L": (1e-3 / US_GALLON_M3, 0.0, "gal"),
    "ml": (1e-6 / US_GALLON_M3, 0.0, "gal"),
    "g/s": (60e-3 / POUND_KG, 0.0, "lb/min"),
}
