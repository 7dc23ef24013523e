"""A result folder under odd hands: killed, full, read-only, shared, in another time, under a strange name."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from interrupt_builders import arena, files_up_to, kill_script, permissions_hold

from arena.contest.pool import Progress
from arena.contest.store import Folder
from arena.contest.tournament import hold_tournament
from arena.errors import BadInput
from arena.report.page import build_page
from arena.writing import write_whole

kill = kill_script()
PYTHON = sys.executable
WORDS = kill.COMMANDS["tournament"]
ASKED: dict[str, Any] = {
    "strategies": ("two-speed", "proportional"), "trials": 32, "replicates": 3, "out": Path("r"),
}  # fmt: skip


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Every file of an undisturbed tournament."""
    place = kill.prepared(tmp_path_factory.mktemp("whole") / "here")
    before = Path.cwd()
    os.chdir(place)
    try:
        hold_tournament("season.toml", **ASKED)
    finally:
        os.chdir(before)
    return dict(kill.tree(place / "r"))


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    found = Path(kill.prepared(tmp_path / "here"))
    monkeypatch.chdir(found)
    return found


def stop(step: Progress) -> None:
    raise KeyboardInterrupt


@pytest.mark.slow
def test_killed_at_random_moments_and_gone_on_with(tmp_path: Path) -> None:
    """Three of the fifty and more kills of tests/bench/kill.py."""
    found = kill.rounds({"tournament": 3}, 1, tmp_path, runs=1)["tournament"]
    assert found.faults == []
    assert found.killed >= 3 and found.compared >= 1


@pytest.mark.parametrize("limit", [300, 5_000, 12_000])
def test_full_disk_is_told_and_what_was_finished_is_gone_on_with(
    place: Path, whole: dict[str, bytes], limit: int
) -> None:
    """No file may grow over a limit: met while inputs are copied, in the first world, in the tables of the result."""
    with files_up_to(limit), pytest.raises(BadInput, match="cannot be written: File too large") as full:
        hold_tournament("season.toml", **ASKED)
    assert not (place / "r").exists()
    if limit == 300:
        assert not (place / "r.partial").exists()
        hold_tournament("season.toml", **ASKED)
    else:
        assert "r.partial" in full.value.faults[0]
        assert full.value.remedy == "What was finished is kept in r.partial: make room there, then go on with --resume."
        assert not list((place / "r.partial").rglob(".*.new"))
        hold_tournament(resume=Path("r.partial"))
    assert kill.different(kill.tree(place / "r"), whole) == []


def test_full_tmpfs_is_told(place: Path, tmp_path: Path) -> None:
    small = tmp_path / "small"
    small.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=24k", "tmpfs", str(small)], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("a small file system cannot be mounted here; the same is tested with a limit on the size of files")
    try:
        with pytest.raises(BadInput, match=rf"{small}/.*cannot be written: No space left on device"):
            hold_tournament("season.toml", **{**ASKED, "out": small / "r"})
    finally:
        subprocess.run(["umount", str(small)], check=True)


def test_a_folder_that_cannot_be_written_is_named_and_nothing_is_written(place: Path) -> None:
    permissions_hold()
    shut = place / "shut"
    shut.mkdir(mode=0o555)
    done = arena(*WORDS[:-1], "shut/r", cwd=place, bare=True)
    assert done.returncode == 2
    assert done.stderr.splitlines() == [
        "shut/r.partial: cannot be made: Permission denied", "Give an --out that can be written."
    ]  # fmt: skip
    trace = arena("drive", "pulls.toml", "--trace", "shut/run.csv", cwd=place, bare=True)
    assert trace.returncode == 2 and trace.stderr.startswith("shut/run.csv: cannot be written: Permission denied")
    assert list(shut.iterdir()) == []


def test_under_a_file_there_is_no_folder(place: Path) -> None:
    (place / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(BadInput, match=r"cannot be made: Not a directory"):
        Folder.new(place / "file" / "r")
    assert (place / "file").read_text(encoding="utf-8") == "mine"


def test_two_tournaments_into_one_folder(place: Path, whole: dict[str, bytes]) -> None:
    """The second is refused, by --out and by --resume, and the first is not disturbed."""

    def another(step: Progress) -> None:
        with pytest.raises(BadInput, match="an unfinished result is there"):
            hold_tournament("season.toml", **ASKED)
        with pytest.raises(BadInput, match="another process is writing there"):
            hold_tournament(resume=Path("r.partial"))

    hold_tournament("season.toml", **ASKED, tell=another)
    assert kill.different(kill.tree(place / "r"), whole) == []


def test_both_at_the_very_beginning(tmp_path: Path) -> None:
    first = Folder.new(tmp_path / "r")
    with pytest.raises(BadInput, match="another process is writing there"):
        Folder.new(tmp_path / "r")
    first.write("manifest.json", "{}")
    first.begin()
    with pytest.raises(BadInput, match="another process is writing there"):
        Folder.resume(tmp_path / "r")
    assert first.finish() == tmp_path / "r"
    assert [p.name for p in tmp_path.rglob("*")] == ["r", "manifest.json"]


def test_what_was_killed_before_it_had_begun_is_begun_anew(tmp_path: Path) -> None:
    left = tmp_path / ".r.partial.new" / "inputs"
    left.mkdir(parents=True)
    (left / "half.toml").write_text("[sea", encoding="utf-8")
    folder = Folder.new(tmp_path / "r")
    folder.write("manifest.json", "{}")
    folder.begin()
    folder.finish()
    assert [p.name for p in tmp_path.rglob("*")] == ["r", "manifest.json"]


def test_a_folder_that_came_in_between_is_not_touched(tmp_path: Path) -> None:
    folder = Folder.new(tmp_path / "r")
    folder.write("manifest.json", "{}")
    folder.begin()
    (tmp_path / "r").mkdir()
    (tmp_path / "r" / "mine").write_text("mine", encoding="utf-8")
    with pytest.raises(BadInput, match="cannot be given its name") as fault:
        folder.finish()
    assert "r.partial, whole" in fault.value.remedy
    assert (tmp_path / "r" / "mine").read_text(encoding="utf-8") == "mine"
    assert (tmp_path / "r.partial" / "manifest.json").is_file()


def test_the_time_of_day_does_not_matter(place: Path, whole: dict[str, bytes], monkeypatch: pytest.MonkeyPatch) -> None:
    """Interrupted, the clock set back ten years and the files set to next century's, then gone on with."""
    clock = iter(range(10**9, 0, -3600))
    monkeypatch.setattr(time, "time", lambda: float(next(clock)))
    monkeypatch.setattr(time, "time_ns", lambda: next(clock) * 10**9)
    with pytest.raises(KeyboardInterrupt):
        hold_tournament("season.toml", **ASKED, tell=stop)
    for path in Path("r.partial").rglob("*"):
        os.utime(path, (4.2e9, 4.2e9))
    hold_tournament(resume=Path("r.partial"))
    assert kill.different(kill.tree(place / "r"), whole) == []


def test_other_versions_do_not_go_on_with_it(place: Path) -> None:
    with pytest.raises(KeyboardInterrupt):
        hold_tournament("season.toml", **ASKED, tell=stop)
    manifest = Path("r.partial/manifest.json")
    told = json.loads(manifest.read_text(encoding="utf-8"))
    told["versions"]["numpy"] = "1.0"
    manifest.write_text(json.dumps(told), encoding="utf-8")
    with pytest.raises(BadInput, match=r"was begun with numpy 1\.0, this is"):
        hold_tournament(resume=Path("r.partial"))


def test_spaces_and_letters_of_any_language(place: Path) -> None:
    """Folder and season named so, on a system that knows ASCII only."""
    strange = place / "Läufe für März 100 % λ"
    strange.mkdir()
    (place / "season.toml").rename(strange / "Jahr β.toml")
    (place / "pulls.toml").rename(strange / "pulls.toml")
    words = ["tournament", f"{strange.name}/Jahr β.toml", "--strategy", "two-speed", "--trials", "0",
             "--replicates", "1", "--out", f"{strange.name}/r"]  # fmt: skip
    plain = {"LC_ALL": "C", "PYTHONIOENCODING": "ascii"}
    done = arena(*words, cwd=place, env=plain)
    assert done.returncode == 0, done.stderr
    assert {"standings.csv", "runs.csv", "page.html"} <= {p.name for p in (strange / "r").iterdir()}
    again = arena(*words, cwd=place, env=plain)
    assert again.returncode == 2 and "already there" in again.stderr
    assert "Traceback" not in again.stderr


def test_a_name_that_is_no_unicode(place: Path) -> None:
    """Bytes of another encoding: good for a folder to write, refused for a file that a resume must find again."""
    latin = os.fsdecode("Jahr für".encode("latin-1"))
    hold_tournament("season.toml", **{**ASKED, "trials": 0, "out": Path(latin)}, command=["--out", latin])
    manifest = json.loads((place / latin / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["command"] == ["--out", "Jahr f?r"]
    build_page(place / latin)
    (place / "season.toml").rename(place / f"{latin}.toml")
    with pytest.raises(BadInput, match=r"season Jahr f\?r\.toml: the name is no Unicode"):
        hold_tournament(f"{latin}.toml", **ASKED)
    assert not (place / "r.partial").exists()


def test_who_reads_only_the_first_line_is_no_fault(place: Path) -> None:
    script = 'for more in "" --json; do "$0" -m arena list $more | head -1; echo "${PIPESTATUS[0]}"; done'
    done = subprocess.run(
        ["bash", "-c", script, PYTHON],
        cwd=place, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["cars", "0", "{", "0"]
    assert done.stderr == ""


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="no device here that is always full")
def test_a_full_disk_behind_the_output_is_told(place: Path) -> None:
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = subprocess.run(
            [PYTHON, "-m", "arena", "list"], cwd=place, stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr.startswith("No space left on device: the output")


def test_a_device_is_written_to_and_stays_one(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_whole(pipe, "words\n")
        assert os.read(reader, 100) == b"words\n"
    finally:
        os.close(reader)
    assert pipe.is_fifo()
    assert [p.name for p in tmp_path.iterdir()] == ["pipe"]
