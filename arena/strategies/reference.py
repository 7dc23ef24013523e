"""docs/strategies.md, made from what the strategies declare: `python -m arena.strategies.reference` writes it anew.

A test fails when the file is not what this gives.
"""

from __future__ import annotations

from pathlib import Path

from arena.strategies import shipped
from arena.strategies.base import CARRIED, SENSES, Setting, Strategy
from arena.strategies.contract import PROMISES
from arena.strategies.starter import strategy_starter

PAGE = Path(__file__).resolve().parent.parent.parent / "docs" / "strategies.md"

_HEAD = """\
# Strategies

Made from what the strategies declare by `python -m arena.strategies.reference`; do not edit by hand.

A strategy is a control law: ten times a second (or as slowly as the car's `control.period_s` says) it looks at what
the engine computer senses and asks for a duty from 0 to 1. It never sees true temperatures. Between the law and the
pump stand, in this order: the quiet cap, key and run-on, the car's duty steps, its start delay and the pump's soft
start.

While the charge probe reads beyond -39.9 to 149 degC the law's own answer is put aside and its fail-safe duty is
asked.
"""

_OWN = """\
## A law of your own

`arena new strategy mylaw.py` writes a file that competes as it stands; `--strategy mylaw.py` enters it in `arena
drive`, `arena tune` and `arena tournament`. It is a function with ifs, its settings declared with the ranges the
tuner may search.

**It is code that you chose to run.** The file runs with all your rights, so read a law that somebody sent you
before you name it. The arena runs a strategy file only when you give its path: never by a bare name, never from a
scenario file.

The law is compiled, and then it runs as fast as the shipped ones. What the compiler does not take runs interpreted,
some ten times slower on one drive and eighty times while tuning, and a note says why. A law with `raise` or
`assert` in it always runs interpreted, since compiled code could not tell where it raised. Compiled, a division by
zero goes on with infinity instead of raising; `arena drive` looks at a law of your own in both ways and tells.

Before it competes it is tried on made-up drives with settings from all over their ranges. One that raises, returns
NaN, leaves 0..1 or asks for what it did not declare is refused with the line and the cause. Should it happen only
on the road, that run is FAILED and the line and the cause stand in the notes.

The same checks for your own tests, one line a fault:

```python
from pathlib import Path

import pytest

from arena.contest.laws import PROMISES as COMPILED
from arena.strategies.base import load_strategy
from arena.strategies.contract import PROMISES

LAW = load_strategy(Path("mylaw.py"))


@pytest.mark.parametrize("promise", [*PROMISES.values(), *COMPILED.values()])
def test_my_law(promise):
    assert promise(LAW) == []
```

The promises: {promises}; and, in `arena.contest.laws`, that the compiled and the interpreted law agree and that the
fail-safe is honoured.

The file that `arena new strategy` writes:

```python
{starter}```

## A table you have

`--strategy table:mytable.csv` enters a duty table as it is, untuned. First row: the corner, then the column
breakpoints; first column: the row breakpoints; cells: duty in per cent. Between breakpoints it is bilinear, beyond
them it holds the edge.

```
iat_c \\ throttle_pct,0,20,50,100
25,0,0,0,40
35,0,0,40,100
45,40,60,100,100
```

The corner names any two senses, one of them a temperature (`iat_f` is understood); commas, semicolons or tabs part
the cells. Between a cell of 0 and one above it lie duties at which no pump starts; left standing at one of them for
ten seconds the run is FAILED as stalled, as the pump would be. Where your engine computer cuts low duties off, say so:
`--strategy table:mytable.csv+lowest_pct=30`; and where it has a hysteresis there, `+lowest_pct=30+hysteresis_pct=5`:
without one the probe's noise starts the pump over and over, which the figure `pump_starts` shows.
Its fail-safe is full duty, like that of every shipped strategy but always-off.
"""


def markdown() -> str:
    """The whole page."""
    parts = [_HEAD, _overview(), _senses()]
    parts += [_one(strategy) for strategy in shipped().values()]
    parts.append(_carried())
    promises = "; ".join(PROMISES)
    parts.append(_OWN.replace("{promises}", promises).replace("{starter}", strategy_starter()))
    return "\n".join(parts)


def _overview() -> str:
    rows = ["| strategy | what it does | senses | fail-safe duty |", "|---|---|---|---|"]
    rows += [
        f"| [{s.name}](#{s.name}) | {s.summary} | {', '.join(s.senses) or 'nothing'} | {100 * s.failsafe_duty:.0f} % |"
        for s in shipped().values()
    ]
    return "\n".join(rows) + "\n"


def _senses() -> str:
    rows = ["## What a law may sense", "", "| sense | unit | what it is |", "|---|---|---|"]
    rows += [f"| `{name}` | {unit} | {meaning} |" for name, (unit, meaning) in SENSES.items()]
    return "\n".join(rows) + "\n"


def _one(s: Strategy) -> str:
    doc = " ".join((s.law.__doc__ or "").split())
    ways = {
        "pwm": "Drives the pump with PWM.",
        "resistor": "Switches the pump: relay and resistors, no PWM." if s.ohms else "Switches the pump with a relay.",
    }
    ranked = "" if s.ranked else " A reference beside the ranking."
    text = f"## {s.name}\n\n{s.summary[:1].upper()}{s.summary[1:]}.{ranked} {ways[s.actuator]} {doc}\n"
    return text + ("\n" + _settings(s.settings) if s.settings else "\nNothing to set.\n")


def _carried() -> str:
    return (
        "## What any strategy can carry\n\n"
        "Given like a setting (`--setting quiet_cap_pct=40`, or `--strategy proportional+quiet_cap_pct=40` in a "
        "tournament), never tuned; nor are a strategy's own settings given so (`proportional+start_c=50`), while its "
        "others are. `arena drive` says what they cost: every figure is compared with the same run "
        "without them. A relay knows no duty between off and full: with a quiet cap below 100 its pump stands still "
        "at standstill and low speed; resistors are held to the highest step within the cap. The cap holds below "
        "the speed the season calls quiet (`quiet_kmh`), and is put aside while the probe reads nonsense.\n\n"
        + _settings(CARRIED)
    )


def _settings(settings: tuple[Setting, ...]) -> str:
    rows = ["| setting | unit | range | default | meaning |", "|---|---|---|---|---|"]
    rows += [f"| `{s.name}` | {s.unit} | {s.low:g} to {s.high:g} | {s.default:g} | {s.meaning} |" for s in settings]
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(markdown(), encoding="utf-8")
