"""Every shipped strategy keeps every promise, and a strategy that does not is caught."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from arena.contest.laws import PROMISES as COMPILED
from arena.errors import BadInput
from arena.strategies import shipped, split_argument, strategy_named
from arena.strategies.base import Setting, Strategy, declaration_faults, load_strategy
from arena.strategies.contract import PROMISES, ask, broken, drives_of, require

ALL = {**PROMISES, **COMPILED}


@pytest.mark.parametrize("promise", ALL)
@pytest.mark.parametrize("name", shipped())
def test_shipped_strategies_keep_their_promises(name: str, promise: str) -> None:
    assert ALL[promise](shipped()[name]) == []


def test_nine_contestants_are_shipped_each_from_a_file_of_its_own() -> None:
    assert len(shipped()) >= 9
    assert len({s.path for s in shipped().values()}) == len(shipped())


@pytest.mark.parametrize("name", shipped())
def test_every_fail_safe_is_full_pump_but_that_of_the_reference_that_never_runs(name: str) -> None:
    assert shipped()[name].failsafe_duty == (0.0 if name == "always-off" else 1.0)


class Sensed(NamedTuple):
    iat_c: float


class Settings(NamedTuple):
    on_c: float


class Memory(NamedTuple):
    running: float


def plain(sensed: Any, settings: Any, memory: Any) -> Any:
    return float(sensed.iat_c > settings.on_c), memory


ON_C = Setting("on_c", "degC", 20.0, 60.0, 35.0, "starts here")
SOUND = Strategy("sound", "on above a threshold", Sensed, Settings, Memory(0.0), plain, (ON_C,), path=__file__)


def test_a_sound_strategy_breaks_nothing() -> None:
    assert broken(SOUND) == []
    assert require(SOUND) is SOUND


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"summary": "two\nlines"}, "one line"),
        ({"summary": ""}, "one line"),
        ({"name": "Has Blanks"}, "small letters"),
        ({"name": "../up"}, "small letters"),
        ({"failsafe_duty": 1.5}, "outside 0..1"),
        ({"memory": Memory}, "not the class"),
        ({"sensed": int}, "NamedTuple"),
        ({"settings": ()}, "differ from the fields"),
        ({"settings": (replace(ON_C, default=70.0),)}, "outside 20.0..60.0"),
        ({"settings": (replace(ON_C, low=60.0, default=60.0),)}, "no range to search"),
        ({"ohms": ("on_ohm",)}, "no setting"),
        ({"actuator": "steam"}, "neither"),
    ],
)
def test_wrong_declarations_are_told(change: dict[str, Any], said: str) -> None:
    assert said in "\n".join(declaration_faults(replace(SOUND, **change)))


def raises(sensed: Any, settings: Any, memory: Any) -> Any:
    return 1.0 / (sensed.iat_c - sensed.iat_c), memory


def too_high(sensed: Any, settings: Any, memory: Any) -> Any:
    return settings.on_c, memory


def not_a_number(sensed: Any, settings: Any, memory: Any) -> Any:
    return float("nan"), memory


def asks_for_more(sensed: Any, settings: Any, memory: Any) -> Any:
    return float(sensed.true_iat_c > 40.0), memory


def forgets_the_memory(sensed: Any, settings: Any, memory: Any) -> Any:
    return 0.5


def remembers_infinity(sensed: Any, settings: Any, memory: Any) -> Any:
    return 0.5, Memory(float("inf"))


CALLS = [0]


def counts_its_calls(sensed: Any, settings: Any, memory: Any) -> Any:
    CALLS[0] += 1
    return (CALLS[0] % 7) / 7.0, memory


@pytest.mark.parametrize(
    ("law", "said"),
    [
        (raises, "ZeroDivisionError"),
        (too_high, "from 0 to 1"),
        (not_a_number, "NaN"),
        (asks_for_more, "asks for true_iat_c, which Sensed does not declare"),
        (forgets_the_memory, "not a pair"),
        (remembers_infinity, "memory.running"),
        (counts_its_calls, "keep nothing but memory"),
    ],
)
def test_a_law_that_breaks_its_promise_is_told(law: Any, said: str) -> None:
    found = broken(replace(SOUND, law=law))
    assert len(found) == 1
    assert said in found[0]


@pytest.mark.parametrize("law", [raises, too_high, not_a_number, asks_for_more, forgets_the_memory])
def test_the_line_of_the_fault_is_named(law: Any) -> None:
    wrong = law.__code__.co_firstlineno + 1
    assert f"line {wrong}: " in broken(replace(SOUND, law=law))[0]


def test_a_repair_that_moves_the_defaults_is_told() -> None:
    moved = replace(SOUND, repair=lambda s: s._replace(on_c=s.on_c + 1.0))
    assert "repaired to 36" in broken(moved)[0]


def test_the_made_up_drives_are_the_same_at_every_call_and_reach_the_ends() -> None:
    first, again = drives_of(SOUND), drives_of(SOUND)
    assert first == again
    readings = [row[0] for _, rows in first for row in rows]
    assert min(readings) == -39.0
    assert max(readings) == 148.0


def test_a_user_file_loads_competes_and_keeps_its_promises(law_file: Any) -> None:
    mine = strategy_named(str(law_file()))
    assert mine.name == "mine"
    assert [f for check in ALL.values() for f in check(mine)] == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("running = memory.running", "running = memory.runing", "asks for runing, which Memory does not have"),
        ("return 0.01 * settings.low_pct", "return settings.low_pct", "which must be from 0 to 1"),
        ("sensed.throttle_pct >", "sensed.rpm >", "asks for rpm, which Sensed does not declare"),
        ("STRATEGY = Strategy(", "STRATEGIE = Strategy(", "no STRATEGY"),
        ("def duty(sensed: Sensed", "def duty(sensed Sensed", "SyntaxError"),
        ("from typing import NamedTuple", "from typing import NamedTupel", "ImportError"),
        ('"""My own law', 'raise SystemExit(3)\n"""My own law', "SystemExit"),
    ],
)
def test_a_wrong_user_file_is_bad_input_with_the_file_named(law_file: Any, old: str, new: str, said: str) -> None:
    path = law_file((old, new))
    with pytest.raises(BadInput, match=said) as caught:
        strategy_named(str(path))
    assert all(str(path) in fault for fault in caught.value.faults)
    assert caught.value.remedy


def test_an_edited_file_is_read_anew(law_file: Any) -> None:
    before = load_strategy(law_file())
    after = load_strategy(law_file(("35.0", "36.0")))
    assert before.defaults()["warm_c"] == 35.0
    assert after.defaults()["warm_c"] == 36.0


def test_a_user_file_is_never_found_by_a_bare_name(law_file: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(law_file().parent)
    with pytest.raises(BadInput, match="unknown strategy 'mine'"):
        strategy_named("mine")


def test_settings_hung_on_an_argument() -> None:
    assert split_argument("proportional+start_c=35+quiet_cap_pct=40") == (
        "proportional",
        {"start_c": 35.0, "quiet_cap_pct": 40.0},
    )
    assert split_argument("table:a+b.csv") == ("table:a+b.csv", {})
    with pytest.raises(BadInput, match="is no number"):
        split_argument("proportional+start_c=warm")


def test_answers_of_a_law_are_checked_one_by_one() -> None:
    settings = SOUND.make_settings({})
    assert ask(SOUND, (40.0,), settings, SOUND.memory) == (1.0, Memory(0.0))


def test_the_page_of_strategies_is_what_they_declare() -> None:
    from arena.strategies.reference import PAGE, markdown

    assert PAGE.is_file(), "write it: python -m arena.strategies.reference"
    assert Path(PAGE).read_text(encoding="utf-8") == markdown(), "stale: python -m arena.strategies.reference"
