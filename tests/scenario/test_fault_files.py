"""Fault files: the shipped ones load, a wrong one is told line by line, and the starting file is one that works."""

from __future__ import annotations

from pathlib import Path

import pytest

from arena.errors import BadInput
from arena.scenario.check import check_file
from arena.scenario.fault import fault_starter, load_fault
from arena.scenario.loading import list_all
from arena.scenario.season import load_season

SHIPPED = [entry.name for entry in list_all("faults")]
WANTED = {
    "probe-open", "probe-short", "probe-slow", "pump-stalled", "weak-pump", "air-locked", "alternator-off", "fan-dead",
    "blocked-front", "coolant-low", "hot-restart",
}  # fmt: skip


def written(folder: Path, text: str) -> Path:
    path = folder / "broken.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_fault_that_was_promised_is_shipped() -> None:
    assert set(SHIPPED) >= WANTED


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_faults_load_under_their_own_name_and_say_what_they_are(name: str) -> None:
    fault = load_fault(name)
    assert fault.name == name
    assert 10 < len(fault.summary) <= 80
    assert fault.file.fault.source


def test_the_faults_season_has_every_shipped_fault() -> None:
    assert {e.fault for e in load_season("faults").entries} == set(SHIPPED)


def test_the_starting_file_works(tmp_path: Path) -> None:
    fault = load_fault(written(tmp_path, fault_starter("worn")))
    assert fault.name == "worn"
    assert fault.file.pump.head_left_pct == 60.0


HEAD = '[fault]\nname = "x"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD, "breaks nothing"),
        (HEAD + "[pump]\nstalled = false\n", "breaks nothing"),
        (HEAD + "[pump]\nhead_left = 60\n", 'unknown key "head_left"'),
        (HEAD + "[pumps]\nstalled = true\n", 'unknown key "pumps"'),
        (HEAD + "[pump]\nhead_left_pct = 160\n", "head_left_pct"),
        (HEAD + "[pump]\nhead_left_pct = nan\n", "head_left_pct"),
        (HEAD + '[probe]\nreads = "warm"\n', "reads"),
        (HEAD + '[probe]\nreads = "open"\ntau_s = 20\n', "means nothing"),
        (HEAD + "from_s = 10\nfrom_pct = 10\n[pump]\nstalled = true\n", "both given"),
        (HEAD + "from_pct = 10\n[drive]\nhot_restart = true\n", "before the drive"),
        (HEAD + "from_s = -1\n[pump]\nstalled = true\n", "from_s"),
        ("[pump]\nstalled = true\n", "fault is missing"),
        ("[fault]\nname = 'a\n", "not valid TOML"),
    ],
)
def test_a_wrong_file_is_told_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(BadInput, match=said) as caught:
        load_fault(path)
    assert all(str(path) in fault for fault in caught.value.faults)
    assert caught.value.remedy


def test_an_unknown_name_gets_a_nearest_one() -> None:
    with pytest.raises(BadInput, match="weak-pump"):
        load_fault("week-pump")


def test_a_season_that_names_an_unknown_fault_or_repeats_one_is_told(tmp_path: Path) -> None:
    row = '[[outing]]\ndrive = "hill-pulls"\nclimate = "mild"\nper_year = 1\nfault = "{}"\n'
    prices = "[prices]\ntracking_per_k_h = 1\nwear_per_h = 1\nenergy_per_kwh = 1\n"
    path = tmp_path / "s.toml"
    path.write_text(f'[season]\nname = "s"\n{prices}{row.format("fan-ded")}', encoding="utf-8")
    with pytest.raises(BadInput, match="fan-dead"):
        load_season(path)
    path.write_text(f'[season]\nname = "s"\n{prices}{2 * row.format("fan-dead")}', encoding="utf-8")
    with pytest.raises(BadInput, match=r"repeats row 1 .*with fan-dead"):
        load_season(path)
    path.write_text(
        f'[season]\nname = "s"\n{prices}{row.format("fan-dead")}{row.format("weak-pump")}', encoding="utf-8"
    )
    assert [e.fault for e in load_season(path).entries] == ["fan-dead", "weak-pump"]


def test_a_wrong_fault_file_is_found_by_checking_the_season_that_names_it(tmp_path: Path) -> None:
    fault = written(tmp_path, '[fault]\nname = "odd"\n[pump]\nhead_shares = 0.5\n')
    row = f'[[outing]]\ndrive = "hill-pulls"\nclimate = "mild"\nper_year = 1\nfault = "{fault.name}"\n'
    path = tmp_path / "s.toml"
    prices = "[prices]\ntracking_per_k_h = 1\nwear_per_h = 1\nenergy_per_kwh = 1\n"
    path.write_text(f'[season]\nname = "s"\n{prices}{row}', encoding="utf-8")
    with pytest.raises(BadInput, match=r"broken.toml:4: .*head_shares"):
        check_file(path)
    path.write_text(f'[season]\nname = "s"\n{prices}{row.replace(fault.name, "fan-dead")}', encoding="utf-8")
    assert ("hill-pulls in mild with fan-dead", "1 a year", "") in check_file(path).rows
