"""Files name only what lies beside them and never run anything; code is run where a person names it, and is told so."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import arena
from arena.errors import BadInput
from arena.garage.checking import examine
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.strategies import base, strategy_named
from arena.strategies.starter import strategy_starter

TRACE = "time_s,speed_kmh\n0,10\n10,20\n20,30\n"
DRIVE = '[drive]\nname = "x"\n[[phase]]\ndo = "trace"\nfile = "{}"\n'


def drive(folder: Path, name: str) -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / "x.toml"
    path.write_text(DRIVE.format(name), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("/etc/hosts", "absolute path"),
        ("~/t.csv", "absolute path"),
        ("C:/t.csv", "absolute path"),
        ("C:t.csv", "absolute path"),
        ("\\\\\\\\server\\\\share\\\\t.csv", "absolute path"),
        ("../t.csv", 'climb out of its folder with ".."'),
        ("a/../../t.csv", 'climb out of its folder with ".."'),
        ("..\\\\t.csv", 'climb out of its folder with ".."'),
        ("link.csv", "is a link that leads out of this folder"),
        ("folder/t.csv", "is a link that leads out of this folder"),
    ],
)
def test_a_drive_does_not_reach_out_of_its_folder(tmp_path: Path, name: str, said: str) -> None:
    """Refused, with the place, and with what to do: copy the file. The same for a climate's weather."""
    (tmp_path / "t.csv").write_text(TRACE, encoding="utf-8")
    path = drive(tmp_path / "mine", name)
    (tmp_path / "mine" / "link.csv").symlink_to(tmp_path / "t.csv")
    (tmp_path / "mine" / "folder").symlink_to(tmp_path)
    with pytest.raises(BadInput) as caught:
        load_drive(path)
    assert f"x.toml:5: phase[1].file {'must' if 'link' not in said else ''}".rstrip() in caught.value.faults[0]
    assert said in caught.value.faults[0]
    assert caught.value.remedy.startswith("Copy the file beside")
    path.write_text(f'[climate]\nname = "x"\n[weather]\nfile = "{name}"\nmonth = 7\n', encoding="utf-8")
    with pytest.raises(BadInput, match=r"x.toml:4: weather.file") as caught:
        load_climate(path)
    assert said in caught.value.faults[0]


def test_below_its_folder_and_by_links_that_stay_inside_is_no_matter(tmp_path: Path) -> None:
    (tmp_path / "mine" / "logs").mkdir(parents=True)
    (tmp_path / "mine" / "logs" / "t.csv").write_text(TRACE, encoding="utf-8")
    assert load_drive(drive(tmp_path / "mine", "logs/t.csv")).traces
    (tmp_path / "mine" / "near.csv").symlink_to(tmp_path / "mine" / "logs" / "t.csv")
    assert load_drive(drive(tmp_path / "mine", "near.csv")).traces
    (tmp_path / "alias").symlink_to(tmp_path / "mine")  # the way to the folder may be a link itself
    assert load_drive(tmp_path / "alias" / "x.toml").traces


EVIL = "from pathlib import Path\nPath({!r}).touch()\n"


@pytest.mark.parametrize("how", ["strategy = '{}'\n[settings]\nstart_c = 30\n", "strategy = 'table:{}'\n"])
def test_a_settings_file_runs_no_strategy_file(tmp_path: Path, how: str) -> None:
    law, mark, path = tmp_path / "law.py", tmp_path / "ran", tmp_path / "s.toml"
    law.write_text(EVIL.format(str(mark)) + strategy_starter("law"), encoding="utf-8")
    path.write_text(how.format(law), encoding="utf-8")
    with pytest.raises(BadInput, match="may name a shipped strategy only"):
        examine(path, quick=True)
    assert not mark.exists()


def test_no_scenario_file_runs_a_strategy_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A .py beside a season, or in ./scenarios/strategies, is never found by name."""
    law, mark = tmp_path / "scenarios" / "strategies" / "law.py", tmp_path / "ran"
    law.parent.mkdir(parents=True)
    law.write_text(EVIL.format(str(mark)) + strategy_starter("law"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for name in ("law", "scenarios/strategies/law"):
        with pytest.raises(BadInput, match="unknown strategy"):
            strategy_named(name)
    with pytest.raises(BadInput):
        load_drive(str(law))
    assert not mark.exists()


def test_whoever_enters_a_strategy_file_is_told_that_it_is_code(tmp_path: Path) -> None:
    (tmp_path / "law.py").write_text(strategy_starter("law"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "arena", "check", "law.py", "--json"], cwd=tmp_path, capture_output=True, text=True,
        check=False, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr.splitlines() == ["law.py: is code, and is run with all your rights"]


def test_it_is_told_before_the_code_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    law, mark = tmp_path / "law.py", tmp_path / "ran"
    law.write_text(EVIL.format(str(mark)) + strategy_starter("law"), encoding="utf-8")
    told: list[tuple[Path, bool]] = []
    monkeypatch.setattr(base, "on_code", [lambda path: told.append((path, mark.exists()))])
    strategy_named(str(law))
    assert told == [(law, False)]
    assert mark.exists()


# --- no reader can run what it reads ------------------------------------------------------------------
ROOT = Path(arena.__file__).parent
ALLOWED = {  # who may, and why
    ("strategies/base.py", "exec"): "a strategy file that a person named",
    ("strategies/base.py", "compile"): "the same",
    ("contest/bench.py", "subprocess"): "this interpreter, to time a cold start",
    ("contest/outings.py", "ctypes"): "the C library is given a number for its allocator, nothing else",
}
CALLS = {"eval", "exec", "compile", "execfile", "__import__", "breakpoint", "input"}
MODULES = {"pickle", "cPickle", "dill", "marshal", "shelve", "yaml", "subprocess", "code", "runpy", "ctypes", "cffi",
           "pty", "imp", "cloudpickle", "joblib"}  # fmt: skip
OF_OS = {
    "system",
    "popen",
    "execv",
    "execve",
    "execvp",
    "execl",
    "spawnv",
    "spawnl",
    "startfile",
    "posix_spawn",
    "fork",
}
LOADERS = {"read_pickle", "literal_eval", "load_pickle", "read_hdf", "query"}


def suspicious(tree: ast.AST) -> Iterator[str]:
    """Every name in a source by which data could become code or a command."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (a.name.split(".")[0] for a in node.names if a.name.split(".")[0] in MODULES)
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in MODULES:
            yield (node.module or "").split(".")[0]
        elif isinstance(node, ast.Call):
            name = node.func
            if isinstance(name, ast.Name) and name.id in CALLS:
                yield name.id
            if isinstance(name, ast.Attribute):
                of = name.value.id if isinstance(name.value, ast.Name) else ""
                if (of == "os" and name.attr in OF_OS) or (of == "builtins" and name.attr in CALLS):
                    yield f"{of}.{name.attr}"
                if name.attr in LOADERS:
                    yield name.attr
            for keyword in node.keywords:
                given = keyword.value.value if isinstance(keyword.value, ast.Constant) else keyword.value
                if (keyword.arg == "allow_pickle" and given is not False) or (keyword.arg == "shell" and given):
                    yield f"{keyword.arg}="


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.py")), ids=lambda p: str(p.relative_to(ROOT)))
def test_nothing_read_becomes_code(path: Path) -> None:
    if "_scenarios" in path.parts:
        return
    where = str(path.relative_to(ROOT)).replace(os.sep, "/")
    found = {name for name in suspicious(ast.parse(path.read_text(encoding="utf-8"))) if (where, name) not in ALLOWED}
    assert not found, f"{where} uses {', '.join(sorted(found))}"


@pytest.mark.parametrize(
    "text",
    ["eval(x)", "exec(x)", "import pickle", "from yaml import load", "import os\nos.system(x)", "import subprocess",
     "np.load(x, allow_pickle=True)", "run(x, shell=True)", "pd.read_pickle(x)", "__import__(x)"],
)  # fmt: skip
def test_the_scan_sees_what_it_looks_for(text: str) -> None:
    assert list(suspicious(ast.parse(text)))


def test_what_is_allowed_is_still_there() -> None:
    """An exception that nobody needs any more is taken out of the list."""
    for where, name in ALLOWED:
        assert name in set(suspicious(ast.parse((ROOT / where).read_text(encoding="utf-8")))), where
