"""What the coolant module promises: limits, tables, the cache on disk, refusals."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arena.errors import BadInput
from arena.plant import cache, fluids
from arena.plant.fluids import boiling_k, coolant, freezing_k, mass_fraction, table


@pytest.fixture(autouse=True, scope="module")
def own_cache_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The user's cache stays as it is."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ARENA_CACHE_DIR", str(tmp_path_factory.mktemp("cache")))
        fluids._table.cache_clear()
        yield
    fluids._table.cache_clear()


FRACTIONS = [0.0, 0.03, 0.1, 0.25, 0.4, 0.5, 0.6]


@pytest.mark.parametrize("glycol", ["ethylene", "propylene"])
@pytest.mark.parametrize("fraction", FRACTIONS)
def test_tables_are_finite_positive_and_move_the_right_way(glycol: str, fraction: float) -> None:
    """-60 to 150 degC, beyond the data included: lighter and thinner as it warms."""
    t = table(glycol, fraction)
    for values in (t.density, t.heat_capacity, t.conductivity, t.viscosity):
        assert np.all(np.isfinite(values))
        assert np.all(values > 0.0)
    assert np.all(np.diff(t.viscosity) < 0.0)
    warm = t.temperature_k > 278.0
    assert np.all(np.diff(t.density[warm]) < 0.0)
    assert np.max(np.abs(np.diff(np.log(t.viscosity)))) < 0.1  # no step where data end


@settings(deadline=None)  # the first of each mixture works out its table
@given(st.sampled_from(FRACTIONS), st.floats(280.0, 373.0))
def test_more_glycol_is_thicker_and_holds_less_heat(fraction: float, temperature: float) -> None:
    share = 0.9 * fraction
    less, more = coolant("ethylene", share, temperature), coolant("ethylene", share + 0.06, temperature)
    assert more.viscosity > less.viscosity
    assert more.density > less.density
    assert more.heat_capacity < less.heat_capacity
    assert more.conductivity < less.conductivity


def test_thin_mixtures_lie_straight_between_water_and_a_tenth() -> None:
    water, mix, tenth = (coolant("ethylene", x, 313.15) for x in (0.0, 0.05, 0.1))
    assert mix.density == pytest.approx(0.5 * (water.density + tenth.density))
    assert mix.heat_capacity == pytest.approx(0.5 * (water.heat_capacity + tenth.heat_capacity))
    assert mix.viscosity == pytest.approx((water.viscosity * tenth.viscosity) ** 0.5)
    assert coolant("ethylene", 0.0, 313.15) == coolant("none", 0.0, 313.15) == coolant("none", 0.4, 313.15)


def test_arrays_keep_their_shape_and_floats_stay_floats() -> None:
    assert isinstance(coolant("ethylene", 0.4, 313.15).viscosity, float)
    assert coolant("ethylene", 0.4, np.full((2, 3), 313.15)).density.shape == (2, 3)


@given(st.floats(0.0, 0.58), st.floats(0.01, 0.02))
def test_more_glycol_freezes_later_and_boils_later(fraction: float, more: float) -> None:
    for glycol in ("ethylene", "propylene"):
        assert freezing_k(glycol, fraction + more) < freezing_k(glycol, fraction)
        assert boiling_k(glycol, fraction + more, 2e5) > boiling_k(glycol, fraction, 2e5)
        assert fraction * 0.99 <= mass_fraction(glycol, fraction) <= fraction * 1.15 + 1e-12


@given(st.floats(5e4, 3e5), st.floats(1.01, 1.5))
def test_pressure_raises_the_boiling_point(pressure: float, more: float) -> None:
    assert boiling_k("ethylene", 0.4, pressure * more) > boiling_k("ethylene", 0.4, pressure)


def test_a_capped_road_car_boils_near_130_degrees() -> None:
    """Common practice, no source: 40 % glycol under a 1.1 bar cap boils between 125 and 132 degC."""
    assert 125.0 < boiling_k("ethylene", 0.40, 101325.0 + 110e3) - 273.15 < 132.0


@pytest.mark.parametrize(
    ("glycol", "fraction", "temperature", "named"),
    [
        ("methanol", 0.4, 300.0, "methanol"),
        ("ethylene", 0.61, 300.0, "volume_fraction"),
        ("ethylene", -0.01, 300.0, "volume_fraction"),
        ("ethylene", float("nan"), 300.0, "volume_fraction"),
        ("ethylene", 0.4, 240.0, "freezing"),
        ("none", 0.0, 272.0, "freezing"),
        ("ethylene", 0.4, 430.0, "430"),
        ("ethylene", 0.4, float("nan"), "temperature_k"),
    ],
)
def test_impossible_coolants_are_refused_by_name(glycol: str, fraction: float, temperature: float, named: str) -> None:
    with pytest.raises(BadInput, match=named):
        coolant(glycol, fraction, temperature)


def test_the_usual_mixtures_come_with_the_project(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """coolants.npz is what CoolProp gives today; `pytest tests/plant/test_fluids.py --accept-golden` writes it anew.

    They, and so the shipped car, need no property library, which takes seconds to come up, and nothing on disk.
    """
    fresh = {fluids.usual_name(*mixture): fluids.mixture_rows(*mixture) for mixture in fluids.USUAL}
    if request.config.getoption("--accept-golden"):
        with fluids._USUAL_FILE.open("wb") as file:
            np.savez_compressed(file, **fresh)
    with np.load(fluids._USUAL_FILE) as kept:
        assert set(kept) == set(fresh)
        for name, rows in fresh.items():
            np.testing.assert_allclose(kept[name], rows, rtol=1e-9, err_msg=f"{name}: the library's data have moved")
    monkeypatch.setenv("ARENA_CACHE_DIR", str(tmp_path))
    code = (
        "import sys; from arena.plant import fluids; [fluids.table(*mixture) for mixture in fluids.USUAL]; "
        "from arena.scenario.car import load_car; from arena.plant.car_tables import tables; "
        "tables(load_car('invented-2200').numbers(), 3.7e6); "
        "print(any(name.startswith('CoolProp') for name in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
    assert not list(tmp_path.iterdir())


def test_a_usual_mixture_without_its_file_is_worked_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ARENA_CACHE_DIR", str(tmp_path))
    came = table("ethylene", 0.4)
    fluids._table.cache_clear()
    monkeypatch.setattr(fluids, "_USUAL_FILE", tmp_path / "lost.npz")
    made = table("ethylene", 0.4)
    fluids._table.cache_clear()
    assert made is not came
    np.testing.assert_allclose(made.viscosity, came.viscosity, rtol=1e-9)
    np.testing.assert_allclose(made.density, came.density, rtol=1e-9)
    assert len(list(tmp_path.glob("coolant-*.npz"))) == 1


def test_the_table_outlives_the_process_and_spares_the_import(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second process reads the table without importing the property library, to the last bit."""
    monkeypatch.setenv("ARENA_CACHE_DIR", str(tmp_path))
    code = (
        "import sys; from arena.plant.fluids import coolant; "
        "print(coolant('ethylene', 0.35, 300.0), any(name.startswith('CoolProp') for name in sys.modules))"
    )
    first, second = (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
        for _ in range(2)
    )
    assert first.split()[-1] == "True"
    assert second.split()[-1] == "False"
    assert first.rsplit(" ", 1)[0] == second.rsplit(" ", 1)[0]
    assert len(list(tmp_path.glob("coolant-*.npz"))) == 1


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04 not a table", b"nonsense"])
def test_a_damaged_table_is_made_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, damage: bytes) -> None:
    monkeypatch.setenv("ARENA_CACHE_DIR", str(tmp_path))
    fluids._table.cache_clear()
    right = coolant("ethylene", 0.45, 300.0)
    kept = next(tmp_path.glob("coolant-*.npz"))
    whole = kept.read_bytes()
    kept.write_bytes(damage or whole[: len(whole) // 2])
    fluids._table.cache_clear()
    assert coolant("ethylene", 0.45, 300.0) == right
    assert kept.read_bytes() == whole


def test_cache_folder_by_name_by_custom_and_when_it_cannot_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ARENA_CACHE_DIR", str(tmp_path / "a" / "b"))
    assert cache.folder() == tmp_path / "a" / "b"
    assert cache.folder().is_dir()
    monkeypatch.delenv("ARENA_CACHE_DIR")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert cache.folder() == tmp_path / "xdg" / "charge-arena"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert cache.folder() == tmp_path / "home" / ".cache" / "charge-arena"
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    in_the_way = tmp_path / "file"
    in_the_way.write_text("a file where a folder should be")
    monkeypatch.setenv("ARENA_CACHE_DIR", str(in_the_way))
    spare = cache.folder()
    assert spare.is_dir()
    assert spare == cache.folder() != in_the_way
    assert spare.stat().st_mode & 0o077 == 0  # nobody else's to write into
    spare.rmdir()
    spare.symlink_to(tmp_path / "home")  # someone else's doing
    assert cache.folder() not in (spare, in_the_way)


def test_a_failed_write_leaves_the_old_file_and_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "kept.txt"
    assert cache.write_whole(path, lambda aside: aside.write_text("first") and None)

    def fails(aside: Path) -> None:
        aside.write_text("half")
        raise OSError("disk full")

    assert not cache.write_whole(path, fails)
    assert path.read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["kept.txt"]
