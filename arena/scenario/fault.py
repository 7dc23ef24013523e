"""Fault files: what breaks, how far, and when. One file adds a fault.

`load_fault` takes a name or a path. What a fault does to a car and a drive stands in `arena.contest.faults`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from arena.errors import BadInput
from arena.scenario import loading


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class FaultHead(_Strict):
    """The `[fault]` table. Without `from_s` or `from_pct` the fault is there from the beginning."""

    name: str = Field(min_length=1, max_length=60, pattern=loading.ONE_LINE)
    summary: str = Field("", pattern=loading.ONE_LINE)
    source: str = ""
    from_s: float | None = Field(None, ge=0, le=1e6, description="seconds into the drive")
    from_pct: float | None = Field(None, ge=0, le=95, description="per cent of the drive gone by")


class ProbeFault(_Strict):
    """The charge probe: a broken wire (open) or a short reads a rail; a wrong type is slow."""

    reads: Literal["open", "short"] | None = None
    tau_s: float | None = Field(None, ge=1, le=300, description="lag at 20 g/s of air, if longer than the car's own")


class PumpFault(_Strict):
    """The pump: rotor held fast, or worn."""

    stalled: bool = False
    head_left_pct: float = Field(100.0, ge=5, le=100)


class LoopFault(_Strict):
    """Air or too little coolant in the loop."""

    flow_left_pct: float = Field(100.0, ge=0, le=100)
    tank_left_pct: float = Field(100.0, ge=0, le=100, description="of the coolant in the tank")


class SupplyFault(_Strict):
    """The alternator gives nothing: the battery carries on and falls."""

    alternator_off: bool = False
    fall_v_per_h: float = Field(1.5, ge=0, le=30)


class FrontFault(_Strict):
    """Leaves, mud or bent fins: less air through the front exchanger, driven or drawn by the fan."""

    air_left_pct: float = Field(100.0, ge=0, le=100)


class FanFault(_Strict):
    """The fan does not turn."""

    dead: bool = False


class DriveFault(_Strict):
    """What happened before: parked hot and started again."""

    hot_restart: bool = False


class FaultFile(_Strict):
    """A whole fault file."""

    fault: FaultHead
    probe: ProbeFault = Field(default_factory=lambda: ProbeFault.model_validate({}))
    pump: PumpFault = Field(default_factory=lambda: PumpFault.model_validate({}))
    loop: LoopFault = Field(default_factory=lambda: LoopFault.model_validate({}))
    supply: SupplyFault = Field(default_factory=lambda: SupplyFault.model_validate({}))
    front: FrontFault = Field(default_factory=lambda: FrontFault.model_validate({}))
    fan: FanFault = Field(default_factory=lambda: FanFault.model_validate({}))
    drive: DriveFault = Field(default_factory=lambda: DriveFault.model_validate({}))


PARTS = ("probe", "pump", "loop", "supply", "front", "fan", "drive")


@dataclass(frozen=True)
class Fault:
    """A loaded fault."""

    name: str
    summary: str
    file: FaultFile
    digest: str

    @property
    def probe_fails(self) -> bool:
        """Whether the charge probe reads what no charge air can have, so that the computer can tell."""
        return self.file.probe.reads is not None


def load_fault(name: str | Path, near: Path | None = None) -> Fault:
    """A fault by name or path. Raises BadInput with every fault of the file, one line each."""
    path = loading.find("faults", name, near)
    text = loading.read_text(path)
    file = loading.validate(path, text, loading.parse(path, text), FaultFile)
    faults = []
    if all(getattr(file, part) == type(getattr(file, part)).model_validate({}) for part in PARTS):
        faults.append(
            loading.fault_line(path, text, ("fault",), f"breaks nothing: say what in one of {', '.join(PARTS)}")
        )
    head = file.fault
    if head.from_s is not None and head.from_pct is not None:
        faults.append(loading.fault_line(path, text, ("fault", "from_pct"), "and from_s are both given; keep one"))
    if file.drive.hot_restart and (head.from_s is not None or head.from_pct is not None):
        faults.append(
            loading.fault_line(path, text, ("drive", "hot_restart"), "is before the drive: take out from_s or from_pct")
        )
    if file.probe.reads is not None and file.probe.tau_s is not None:
        faults.append(loading.fault_line(path, text, ("probe", "tau_s"), "means nothing for a probe that reads a rail"))
    if faults:
        raise BadInput(faults, f"Correct {loading.shown(path)}; `arena new fault` writes one that works.")
    return Fault(head.name, head.summary, file, loading.digest_of(text.strip()))


def fault_starter(name: str = "my-fault") -> str:
    """A commented starting file that passes `arena check` and runs."""
    return _TEXT.replace("my-fault", name)


_TEXT = """\
# What breaks on a drive. Try it: arena drive hill-pulls --strategy proportional --fault THIS_FILE
# Keep what you need and take the rest out; every key is optional but the name.

[fault]
name = "my-fault"
summary = "worn pump from a third of the drive on"
source = "invented"
from_pct = 33             # per cent of the drive gone by; or from_s = 600; without either, from the beginning

[pump]
head_left_pct = 60        # a worn pump gives this much of its head
# stalled = true          # rotor held fast: stall current, no flow

# [probe]
# reads = "open"          # a broken wire reads the cold rail, a "short" the hot one
# tau_s = 25              # or the wrong type of probe: its lag at 20 g/s of air

# [loop]
# flow_left_pct = 0       # air in the loop: what still goes round
# tank_left_pct = 15      # coolant left in the tank

# [supply]
# alternator_off = true   # the battery alone
# fall_v_per_h = 1.5

# [front]
# air_left_pct = 40       # leaves or mud on the front exchanger

# [fan]
# dead = true

# [drive]
# hot_restart = true      # parked hot for ten minutes, then this drive
"""
