"""The standard beginning and end of every outing, and the habits of the driver: constants in one place.

All are judgement of this project unless a source stands beside the number; each has its reason with it.
"""

from __future__ import annotations

MOST_TICKS = 10_000_000  # 11.6 days at 10 Hz: beyond it the arrays of one outing pass 1.5 GB

# Before the drive (not scored), so that a warm start meets a bay, a coolant and a turbine at driving temperature.
PREROLL_S = 600.0  # bay and turbine lag 90-200 s: three of the slowest lags have gone by
PREROLL_KMH = ((60.0, 180.0), (80.0, 120.0), (50.0, 120.0), (60.0, 60.0))  # mild road: speed, seconds held
PREROLL_WARM_K = 363.15  # an engine that has been driven: the thermostat's range
SOAK_S = 600.0  # parked before a "soaked" start: about when an under-bonnet soak peaks

# After the drive (scored): whoever ends with a hot core and a stopped pump pays for it here.
TAIL_CRUISE_KMH = 50.0
TAIL_CRUISE_S = 240.0  # about the time a loop at full flow needs to give up its stored heat
TAIL_IDLE_S = 60.0
TAIL_OFF_S = 30.0  # key off; longer where a contestant's run-on is

# Ignition
PRIME_S = 2.0  # key on until the starter turns: fuel pump and self-test
CRANK_S = 0.8
CRANK_RPM = 220.0
SETTLE_S = 3.0  # idle before driving off

# The driver
ACCELERATE_M_S2 = 1.2  # ordinary getting up to speed
BRAKE_M_S2 = 1.8
EASE_S = 1.2  # the last few km/h are approached over this time
REACH_LONGEST_S = 180.0  # a speed not reached by then will not be reached
LATE_WORTH_TELLING_S = 1.0
TRACE_LONGEST_FACTOR = 3.0  # a trace the car cannot follow is given up after so many times its length
HOLD_BRAKE_M_S2 = 3.0  # braking a driver uses to hold a speed downhill
CORNER_ACCELERATE_M_S2 = 3.0  # picking up the corner speed when the straight was too short to reach it

# Traffic, stop-and-go
CRAWL_SHARE = (1.3, 2.2)  # crawl speed between two halts, of the wanted mean speed
SHORTEST_HALT_S = 2.0
MAKE_UP_S = 20.0  # a mean that is missed is made up by crawling faster
FLOW_SHARE = (0.7, 1.3)  # slow traffic without stops: its speeds and how long each lasts
FLOW_S = (8.0, 20.0)
MEAN_MISSED = 0.1  # a mean missed by more than this share is told

# Fan and thermostat
FAN_ON_K = 370.15
FAN_OFF_K = 365.15
THERMOSTAT_OPENS_K = 359.15
THERMOSTAT_OPEN_K = 369.15

# Air
HEAD_WIND_SHARE = 0.5  # of the climate's wind speed stands against the car: mean of the positive part over directions
# is 1/pi = 0.32, and the square law weighs head winds more; a constant head wind keeps the drive repeatable
