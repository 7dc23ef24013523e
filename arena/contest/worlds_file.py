"""The runs of one world as an .npz of an unfinished result folder, and read back with nothing taken on trust."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any, Final

import numpy as np

from arena.contest.figures import NAMES
from arena.contest.standings import RunTable
from arena.scenario.season import WEAR_EXPONENTS

MOST_BYTES: Final = 1_000_000_000  # of all arrays of one world together, unpacked
OUTING_KEYS: Final[dict[str, type | tuple[type, ...]]] = {
    "id": str, "drive": str, "climate": str, "replicate": int, "drive_seconds": (int, float), "weight": (int, float),
    "notes": list,
}  # fmt: skip


def packed(table: RunTable, outings: list[dict[str, Any]]) -> bytes:
    """One world's runs and its outings."""
    data = io.BytesIO()
    failed = np.array([[[str(x) for x in row] for row in c] for c in table.failed])
    figures: dict[str, Any] = {f"f_{n}": v for n, v in table.values.items()}
    np.savez(
        data, names=np.array(table.contestants), ranked=np.array(table.ranked), wear=table.wear_parts, failed=failed,
        failed_s=table.failed_s, weights=table.weights, limit_s=table.limit_s, outings=np.array(json.dumps(outings)),
        **figures,
    )  # fmt: skip
    return data.getvalue()


def unpacked(path: Path) -> tuple[RunTable, list[dict[str, Any]]]:
    """What `packed` made. Raises ValueError or OSError, saying what is wrong."""
    with path.open("rb") as file:
        try:
            with zipfile.ZipFile(file) as zipped:
                if sum(member.file_size for member in zipped.infolist()) > MOST_BYTES:
                    raise ValueError(f"unpacks to more than the limit of {MOST_BYTES / 1e6:g} MB")
            file.seek(0)
            with np.load(file, allow_pickle=False) as kept:
                arrays = {name: kept[name] for name in kept.files}
        except (ValueError, OSError):
            raise
        except Exception as error:  # whatever the readers of zip and .npy raise
            raise ValueError(f"{type(error).__name__}: {error}") from error
    return _table(arrays), _outings(arrays)


def _table(arrays: dict[str, Any]) -> RunTable:
    names, weights = _of(arrays, "names", "U", (-1,)), _of(arrays, "weights", "f", (-1,))
    shape = (len(names), len(weights), 1)
    table = RunTable(
        tuple(str(n) for n in names),
        tuple(bool(r) for r in _of(arrays, "ranked", "b", (len(names),))),
        {name: _of(arrays, f"f_{name}", "f", shape) for name in NAMES},
        _of(arrays, "wear", "f", (len(WEAR_EXPONENTS), *shape)),
        _of(arrays, "failed", "U", shape).astype(object),
        _of(arrays, "failed_s", "f", shape),
        weights,
        _of(arrays, "limit_s", "f", (len(weights), 1)),
    )
    whole = (table.weights, table.limit_s, table.wear_parts[:, table.failed == ""])
    if not all(np.isfinite(values).all() for values in whole) or any(np.isinf(v).any() for v in table.values.values()):
        raise ValueError("holds numbers that are not finite")
    return table


def _outings(arrays: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(str(_of(arrays, "outings", "U", ())))
    for one in found if isinstance(found, list) else [None]:
        if not isinstance(one, dict) or set(one) != set(OUTING_KEYS):
            raise ValueError(f"outings must be a list of {', '.join(OUTING_KEYS)}")
        if not all(isinstance(one[key], kind) for key, kind in OUTING_KEYS.items()):
            raise ValueError("an outing holds what it cannot")
    if len(found) != len(arrays["weights"]):
        raise ValueError("outings do not go with the weights")
    return found


def _of(arrays: dict[str, Any], name: str, kind: str, shape: tuple[int, ...]) -> Any:
    """An array of this kind and shape; -1 stands for any length."""
    if name not in arrays:
        raise ValueError(f"{name} is missing")
    array = arrays[name]
    fits = array.ndim == len(shape) and all(n in (-1, m) for n, m in zip(shape, array.shape, strict=True))
    if array.dtype.kind != kind or not fits:
        raise ValueError(f"{name} is {array.dtype} of shape {array.shape}")
    return array
