"""Short drives and a climate that tuning is tested on."""

DRIVE = """
[drive]
name = "pulls"
start = "warm"

[[phase]]
do = "cruise"
speed_kmh = 60
seconds = 90

[[phase]]
do = "repeat"
times = 3
  [[phase.steps]]
  do = "pull"
  throttle_pct = 100
  to_kmh = 120
  grade_pct = 6
  [[phase.steps]]
  do = "cruise"
  speed_kmh = 60
  seconds = 60
"""
GENTLE = """
[drive]
name = "gentle"
start = "cold"

[[phase]]
do = "cruise"
speed_kmh = 50
seconds = 400
"""
ARCTIC = """
[climate]
name = "arctic"
air_c = -30
humidity_pct = 60
"""
