"""The page on benches names every key, and its examples are fixtures that load and plan."""

import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from benchtest.cli.documents import prepare
from benchtest.fixture.adapter import Adapter
from benchtest.fixture.frames import FrameChannel, FramesAdapter, Status
from benchtest.fixture.modbus import (
    Coil,
    DiscreteInput,
    KnownRegister,
    ModbusAdapter,
    Register,
    ResistanceRegister,
    SupplyRegisters,
    Watchdog,
)

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/benches.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL)
MODELS = (
    Adapter,
    ModbusAdapter,
    Coil,
    DiscreteInput,
    Register,
    ResistanceRegister,
    SupplyRegisters,
    KnownRegister,
    Watchdog,
    FramesAdapter,
    FrameChannel,
    Status,
)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_is_on_the_page(model: type[BaseModel]) -> None:
    """No key without a word about it."""
    assert [] == [key for key in model.model_fields if f"`{key}`" not in PAGE]


@pytest.mark.parametrize("example", EXAMPLES, ids=["modbus", "frames"])
def test_every_example_loads_and_plans(example: str, tmp_path: Path) -> None:
    """The adapters of an example, put into a shipped fixture, plan the car-wash board as far as possible."""
    shipped = (ROOT / "fixtures/relaybox.yaml").read_text(encoding="utf-8")
    head, tail = shipped[: shipped.index("adapters:")], shipped[shipped.index("instruments:") :]
    tail = tail.replace("[greenhouse.harness.yaml, carwash.harness.yaml]", "[carwash.harness.yaml]")
    fixture = tmp_path / "bench.yaml"
    fixture.write_text(head + example + tail, encoding="utf-8")
    (tmp_path / "carwash.harness.yaml").write_bytes((ROOT / "fixtures/carwash.harness.yaml").read_bytes())
    procedure = prepare(ROOT / "profiles/carwash.yaml", fixture, None, (), partial=True).procedure

    assert 13 == len(procedure.steps)


def test_the_cautions_are_there() -> None:
    """The page says what these benches cannot do by themselves."""
    for words in ("Extra-low voltage only", "external watchdog\nrelay", "verify it with a meter", "Local codes"):
        assert words in PAGE
