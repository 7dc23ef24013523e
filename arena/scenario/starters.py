"""Commented starting files: each passes `arena check` and runs as it is. Nothing that is there is written over.

`starter` gives a text, `write_starter` a file. Car, climate, drive and season stand here; fault, strategy and axes
belong to those who read them, and are handed in by the command.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

from arena.errors import BadInput
from arena.scenario import loading

Maker = Callable[[str], str]

ENDINGS: Final = {"strategy": ".py"}  # all others .toml
KINDS: Final = ("car", "climate", "drive", "season", "strategy", "axes", "fault")


def write_starter(kind: str, path: Path, makers: Mapping[str, Maker]) -> Path:
    """Write the starting file of a kind; `makers` give the text for a name. Returns the path.

    Raises BadInput for an unknown kind, a wrong ending, a file that is there, a folder that is not.
    """
    if kind not in makers:
        near = loading.nearest(kind, makers)
        hint = f', did you mean "{near}"?' if near else ""
        raise BadInput(f'unknown kind "{loading.one_line(kind)}"{hint}', f"Known kinds: {', '.join(makers)}.")
    ending = ENDINGS.get(kind, ".toml")
    if path.suffix.lower() != ending:
        raise BadInput(f"{loading.shown(path)}: a {kind} file ends in {ending}", f"Give for example my-{kind}{ending}.")
    new_file(path, makers[kind](name_from(path)))
    return path


def new_file(path: Path, text: str) -> None:
    """Write a file that is not there yet. Raises BadInput if it is, or cannot be written."""
    try:
        written = text.encode("utf-8")
        with path.open("xb") as file:
            file.write(written)
    except FileExistsError:
        raise BadInput(
            f"{loading.shown(path)}: is there already, and is not written over", "Choose another name, or move it away."
        ) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadInput(
            f"{loading.shown(path)}: cannot be written ({why})", "Choose a folder that is there and yours."
        ) from None


def name_from(path: Path) -> str:
    """The name a file gets from what it is called: lower case, dashes, at most 40 letters."""
    name = re.sub(r"[^a-z0-9._]+", "-", path.stem.lower()).strip("-._")[:40]
    return name if re.match(r"[a-z]", name) else f"my-{name}".rstrip("-")


def car_starter(name: str = "my-car") -> str:
    """A car file of garage measurements, most of them commented out."""
    return _CAR.replace("NAME", name)


def climate_starter(name: str = "my-climate") -> str:
    """A climate: constant air, with a day curve and weather files shown as comments."""
    return _CLIMATE.replace("NAME", name)


def drive_starter(name: str = "my-drive") -> str:
    """A drive that shows the phases a road car's driver needs."""
    return _DRIVE.replace("NAME", name)


def season_starter(name: str = "my-season", rows: Sequence[tuple[str, str, float]] = ()) -> str:
    """A season; `rows` are (drive, climate, outings a year), else shipped ones stand in."""
    text = _SEASON.replace("NAME", name)
    given = rows or (
        ("cold-start", "mild", 100),
        ("commute", "mild", 200),
        ("commute", "hot", 40),
        ("hill-pulls", "hot", 10),
    )
    for drive, climate, count in given:
        text += f"\n[[outing]]\ndrive = {loading.toml_text(drive)}\nclimate = {loading.toml_text(climate)}\n"
        text += f"per_year = {count:g}\n"
    return text


def season_with(path: Path, drives: Sequence[str], climates: Sequence[str]) -> Maker:
    """A maker of a season at `path` that plays each of the drives in each of the climates; files must be there.

    Files are named as seen from the season's folder where they lie in it, else by their whole path.
    """
    named = {"drive": list(drives) or ["commute"], "climate": list(climates) or ["mild", "hot"]}
    faults = []
    for kind, names in named.items():
        for row, name in enumerate(names):
            try:
                found = loading.find(f"{kind}s", name)
            except BadInput as fault:
                faults += [f"--{kind} {loading.one_line(name)}: {line}" for line in fault.faults]
                continue
            if found.suffix and name != found.stem:
                names[row] = _seen_from(path.parent, found)
    if faults:
        raise BadInput(faults, "Name drives and climates by their names (`arena list`) or their files' paths.")
    pairs = [(drive, climate) for drive in named["drive"] for climate in named["climate"]]
    rows = [(drive, climate, round(300.0 / len(pairs), 1)) for drive, climate in dict.fromkeys(pairs)]
    return lambda name: season_starter(name, rows)


def _seen_from(folder: Path, file: Path) -> str:
    try:
        return file.resolve().relative_to(folder.resolve()).as_posix()
    except ValueError:
        return str(file.resolve())


MAKERS: Final[dict[str, Maker]] = {
    "car": car_starter,
    "climate": climate_starter,
    "drive": drive_starter,
    "season": season_starter,
}

_CAR: Final = """\
# One car. Every key but the name is optional: measure what you can, leave out the rest, then run
#     arena check THIS_FILE
# It says what was assumed for the rest, why, and which of it the ranking hangs on. Units stand in the keys' names.

[car]
name = "NAME"
summary = "my car, measured in the garage"

[engine]                       # the handbook, and a boost gauge
displacement_l = 2.0
power_kw = 180
boost_kpa = 100                # highest boost over the outside air; 14.5 psi are 100 kPa
# kind = "turbo"               # or "supercharger"
# idle_rpm = 800
# redline_rpm = 6500
# kmh_per_1000rpm = [8.0, 14.0, 21.0, 29.0, 37.0, 45.0]     # read both gauges in each gear

[core]                         # the charge cooler: ONE of the three ways
size = "medium"                # small, medium, large: compare with 125 x 115 x 240 mm, which is medium
# length_mm = 125              # or its outside, length along the air's way, and its fins ...
# width_mm = 115
# height_mm = 240
# fins_per_inch = 14
# rated_effectiveness = 0.75   # ... or the maker's figure, with the flows it holds at
# rated_air_g_s = 200
# rated_coolant_l_min = 15
# rated_glycol_pct = 0         # coolant of the maker's test, 0 for water; left out: as in the loop
# coolant_l = 0.6              # filled with a measuring jug
# metal_kg = 2.2               # kitchen scale, empty

[front]                        # the heat exchanger at the front: the same three ways
width_mm = 500                 # tape measure, fins only
height_mm = 300
depth_mm = 32
# fins_per_inch = 14           # count the fins over an inch
# coolant_l = 1.2
# condenser_rise_k = 5         # only if an air-conditioning condenser stands before it

[loop]
hose_bore_mm = 19              # inside
hose_total_m = 6.0             # all hoses laid end to end
# hose_in_bay_m = 3.5          # of that under the bonnet
# tank_l = 2.0                 # 0 for none
total_fill_l = 5.5             # what went in when it was filled from empty; the tank takes what is left over
# glycol = "ethylene"          # or "propylene", "none"
glycol_pct = 40                # read off the bottle, or a refractometer
# cap_kpa = 110                # stamped on the cap: 1.1 bar are 110 kPa

[pump]                         # the maker's two figures, and one bucket test in the car:
max_head_kpa = 55              # 1 m of water is 9.8 kPa
max_flow_l_min = 28
bucket_l_min = 14              # return hose into a bucket, through the whole loop: litres, times 60, over seconds
bucket_v = 12.4                # at the pump's plug meanwhile
bucket_a = 3.3                 # clamp meter round one lead meanwhile
# resistance_ohm = 0.7         # at the plug, rotor held, meter leads' own resistance taken off
# start_v = 3.5                # lowest voltage at which it starts from rest
# pwm_hz = 1000                # as the engine computer is set

# [supply]
# running_v = 13.8             # at the pump's plug, engine running, pump off
# off_v = 12.4

[probe]
type = "open"                  # bare tip in the air; "closed": in a metal tip
place = "plenum"               # or "core": right behind the charge cooler

[body]
mass_kg = 1500                 # with driver: a weighbridge, or the papers
# cda_m2 = 0.68

# [control]
# period_s = 0.1               # how often the engine computer looks at its table
# duty_step_pct = 5            # steps its pump output can hold
# start_delay_s = 0.5          # relay and pump controller
"""

_CLIMATE: Final = """\
# The outside air. Try it: arena drive commute --climate THIS_FILE

[climate]
name = "NAME"
summary = "a warm afternoon where I live"
source = "my thermometer"
air_c = 24
humidity_pct = 50
altitude_m = 200               # or pressure_kpa = 99
wind_kmh = 8
sun_bay_k = 4                  # what the sun on the bonnet adds to the bay

# Instead of air_c: a day curve, two rows or more, and when the outing starts (start_hour = 8 goes above)
# [[hour]]
# hour = 5
# air_c = 14
# [[hour]]
# hour = 15
# air_c = 29

# Or, instead of air_c: hourly weather of your place, an EPW file or a typical year in CSV, beside this file
# [weather]
# file = "my-town.epw"
# month = 7                    # its mean day; or period = "hottest week", "coldest week"
# hour = 17                    # local clock at the start of the outing
# utc_offset_h = 2             # for a CSV in UTC: hours the local clock is ahead
"""

_DRIVE: Final = """\
# One drive. Try it: arena drive THIS_FILE --climate hot --strategy proportional
# It is played phase by phase. Where a range stands, [low, high], a value is drawn afresh every time.

[drive]
name = "NAME"
summary = "my way home: town, a main road, one hill"
start = "warm"                 # "cold": the whole car at outside temperature; "soaked": parked hot

[traffic]
slowdowns_per_hour = 10        # others in the way while cruising; 0 for an empty road

[[phase]]
do = "idle"
seconds = 15

[[phase]]                      # steps played several times
do = "repeat"
times = 3

  [[phase.steps]]
  do = "cruise"
  speed_kmh = [42, 55]
  seconds = [30, 60]

  [[phase.steps]]
  do = "stop"
  seconds = [5, 40]

[[phase]]                      # stop and go
do = "traffic"
seconds = 120
mean_kmh = 14
stops_per_km = 5

[[phase]]
do = "accelerate"
to_kmh = 80
m_s2 = 1.2

[[phase]]
do = "cruise"
speed_kmh = 85
seconds = 120

[[phase]]                      # the hill: four bends with a straight between them
do = "repeat"
times = 4

  [[phase.steps]]              # throttle held until the speed is reached; a car that cannot says so and drives on
  do = "pull"
  throttle_pct = 100
  to_kmh = 110
  grade_pct = 7
  longest_s = 15

  [[phase.steps]]
  do = "brake"
  to_kmh = 40

[[phase]]
do = "descend"
speed_kmh = 50
seconds = 60
grade_pct = -5

[[phase]]                      # engine off, heat soak; then it starts again
do = "park"
minutes = 8

[[phase]]
do = "cruise"
speed_kmh = 45
seconds = 60

# A lap of a track:
# [[phase]]
# do = "lap"
# straights_m = [520, 250, 180]
# corner_kmh = [75, 90, 65]

# A recording instead of phases, or among them: any CSV of time and speed, or a log with rpm, MAP and throttle,
# beside this file. `arena check my-log.csv` shows which column is taken for what.
# Without a road speed it is worked out from rpm and gearing; on a dyno say speed_kmh = 0 here.
# [[phase]]
# do = "trace"
# file = "my-log.csv"
"""

_SEASON: Final = """\
# A year with this car: which drives, in which weather, how often. Play it: arena tournament THIS_FILE --car my-car.toml

[season]
name = "NAME"
summary = "my year: commuting, and a hill now and then"
target_c = 30                  # charge temperature to hold in ordinary driving (common practice, no source)
limit_c = 45                   # pump flat out from about here (common practice, no source)
band_k = 3                     # this far off the target costs nothing

# What a unit of each is worth to you, in any money: only the ratios count, and the standings print what changes when
# any of them is halved or doubled.
[prices]
tracking_per_k_h = 0.10        # one kelvin too warm on boost for an hour (off boost half, too cold 0.3)
tracking_reasoning = "ten kelvin are about one and a half octane numbers; dearer fuel for an hour on boost costs 1"
wear_per_h = 0.04              # one hour of pump life at rated speed
wear_reasoning = "a pump of 120 units that lasts some 3000 hours"
energy_per_kwh = 0.64          # at the battery
energy_reasoning = "fuel through engine (0.37) and alternator (0.6), 0.51 L a kWh at 1.27 a litre"

# One row a drive and climate: a shipped name (`arena list drives`), a file beside this one ("my-drive.toml"), or a CSV.
"""
