"""Leads, fuse and relay of a pump: conductor by resistance (IEC 60228), voltage drop and what it may carry hot.

Order: the fuse follows the pump's running and stall current, the conductor must outlive the fuse, the relay's
contact must make and break it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from arena.plant.electrics import CLASS_5_OHM_KM, conductor_ohm_m, copper_factor
from arena.plant.values import require
from arena.units import ZERO_C_K

# A, copper, PVC, two loaded, in a duct (method B1), air 40 degC: IEC 60204-1 table 6, from memory, not looked up.
AMPACITY_A: Final = {0.75: 8.6, 1.0: 10.3, 1.5: 13.5, 2.5: 18.3, 4.0: 24.0, 6.0: 31.0}
TABLE_AIR_C, TABLE_WIRE_C = 40.0, 70.0  # what that table stands for
WIRE_MAX_C: Final = 125.0  # insulation class C of ISO 6722-1, 125 degC; from memory
DROP_SHARE: Final = 0.03  # of the supply, there and back, at running current: common practice, no source
FUSES_A: Final = (2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)  # blade ratings of ISO 8820-3, from memory
FUSE_LOAD: Final = 0.75  # most a blade fuse is loaded for good: common practice, no source
FUSE_START: Final = 2.0  # x rating that it bears for the fraction of a second a start takes; ISO 8820-3, from memory
FUSE_BLOWS: Final = 1.6  # x rating from which it opens within a minute; ISO 8820-3 (0.25 to 50 s), from memory
RELAYS_A: Final = (10.0, 20.0, 30.0, 40.0)  # contact ratings sold at 14 V, from memory
COIL_OHM: Final = 85.0  # of a 12 V plug-in relay; from memory


@dataclass(frozen=True)
class Size:
    """One conductor size at the pump's current: both ways counted, conductor at its working temperature."""

    area_mm2: float
    ohm_20c: float  # there and back
    ohm_hot: float
    wire_c: float
    drop_v: float
    drop_pct: float
    ampacity_a: float  # in air as hot as the bay
    fits: bool


@dataclass(frozen=True)
class LeadAdvice:
    """Conductor, fuse and relay, and what was not possible."""

    length_m: float  # one way
    bay_c: float
    supply_v: float  # the highest, which sets the currents
    running_a: float
    stall_a: float
    drop_limit_v: float
    sizes: tuple[Size, ...]
    area_mm2: float | None
    fuse_a: float | None
    fuse_least_a: float
    fuse_most_a: float
    fuse_bears_start: bool
    relay_a: float | None
    coil_a: float
    notes: tuple[str, ...]


def lead_advice(length_m: float, running_a: float, stall_a: float, supply_v: float, bay_c: float) -> LeadAdvice:
    """Conductor, fuse and relay for a running and a stall current (A) at the highest supply, length one way in m."""
    require("length_m", length_m, 0.1, 50.0)
    least, most = running_a / FUSE_LOAD, stall_a / FUSE_BLOWS
    able = [f for f in FUSES_A if least <= f <= most]
    bearing = [f for f in able if stall_a <= FUSE_START * f]
    fuse = bearing[0] if bearing else able[-1] if able else next((f for f in FUSES_A if f >= least), None)
    limit = DROP_SHARE * supply_v
    sizes = tuple(size(a, length_m, running_a, supply_v, bay_c, fuse, limit) for a in AMPACITY_A)
    area = next((s.area_mm2 for s in sizes if s.fits), None)
    relay = next((r for r in RELAYS_A if r >= max(stall_a, running_a / FUSE_LOAD)), None)
    return LeadAdvice(
        length_m, bay_c, supply_v, running_a, stall_a, limit, sizes, area, fuse, least, most, bool(bearing), relay,
        supply_v / COIL_OHM, tuple(_notes(able, bearing, fuse, area, relay, bay_c)),
    )  # fmt: skip


def size(
    area_mm2: float,
    length_m: float,
    running_a: float,
    supply_v: float,
    bay_c: float,
    fuse_a: float | None,
    limit_v: float,
) -> Size:
    """One conductor size: drop at the temperature the running current brings it to, and whether it may be used."""
    carries = ampacity_a(area_mm2, bay_c)
    wire = bay_c + (WIRE_MAX_C - bay_c) * min((running_a / carries) ** 2, 1.0) if carries > 0.0 else WIRE_MAX_C
    cold, hot = (2.0 * length_m * conductor_ohm_m(area_mm2, c + ZERO_C_K) for c in (20.0, wire))
    drop = running_a * hot
    fits = drop <= limit_v and carries >= (fuse_a if fuse_a is not None else running_a)
    return Size(area_mm2, cold, hot, wire, drop, 100.0 * drop / supply_v, carries, fits)


def ampacity_a(area_mm2: float, bay_c: float) -> float:
    """Current in A that brings a conductor to 125 degC in air of bay_c: the table at 40/70 degC, carried over.

    Heat given off goes with the rise over the air, heat made with I2 and copper's resistance. The same root gives the
    table's own factors for hotter air (0.82 at 50, 0.58 at 60 degC). 0 where the air is as hot as the wire may be.
    """
    rise = max(WIRE_MAX_C - bay_c, 0.0) / (TABLE_WIRE_C - TABLE_AIR_C)
    copper = copper_factor(TABLE_WIRE_C + ZERO_C_K) / copper_factor(WIRE_MAX_C + ZERO_C_K)
    return float(AMPACITY_A[area_mm2] * (rise * copper) ** 0.5)


def _notes(
    able: list[float], bearing: list[float], fuse: float | None, area: float | None, relay: float | None, bay_c: float
) -> list[str]:
    found = []
    if not able:
        found.append(
            "no fuse both bears the running current and opens on a held rotor: stall and running current lie too "
            "close; "
            "a held pump must be noticed another way"
        )
    elif not bearing:
        found.append(
            f"a {fuse:g} A fuse may tire of hard starts (stall current above {FUSE_START:g} x its rating): use the "
            "slow kind or a soft start"
        )
    if area is None:
        found.append(
            f"no conductor up to {max(AMPACITY_A):g} mm2 keeps drop and heat in bounds at {bay_c:g} degC: shorten it "
            "or "
            "lay it where it is cooler"
        )
    if relay is None:
        found.append(f"stall current is above {RELAYS_A[-1]:g} A: more than the usual relays make")
    return found


assert set(AMPACITY_A) <= set(CLASS_5_OHM_KM)
