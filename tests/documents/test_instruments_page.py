"""The page on instruments names every key, and its examples load."""

import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from benchtest.fixture import load_fixture
from benchtest.fixture.dialect import (
    Dialect,
    Limiting,
    MeterWords,
    Numbers,
    RouteWords,
    Settle,
    SupplyWords,
    Terminations,
)
from benchtest.fixture.instrument import InstrumentAdapter, InstrumentChannel
from tests.documents.conftest import BOARDS

PAGE = (Path(__file__).parents[2] / "docs/instruments.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL)
FIXTURE = next(example for example in EXAMPLES if "driver: instrument" in example)
DIALECT = next(example for example in EXAMPLES if "benchtest-dialect/1" in example)
MODELS = (Dialect, Terminations, Numbers, Settle, SupplyWords, Limiting, MeterWords, RouteWords)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_of_a_dialect_is_in_its_example(model: type[BaseModel]) -> None:
    """No key of a dialect without a line that shows it."""
    assert [] == [key for key in model.model_fields if f"{key}:" not in DIALECT and f"`{key}:" not in DIALECT]


@pytest.mark.parametrize("model", [InstrumentAdapter, InstrumentChannel], ids=lambda model: model.__name__)
def test_every_key_of_an_instrument_is_on_the_page(model: type[BaseModel]) -> None:
    """No key of an adapter or a channel that the driver uses without a word about it."""
    elsewhere = {
        "driver",
        "channels",
        "usb_serial",
        "usb_location",
        "contacts",
        "interface",
        "settings",
        "throughput",
        "clock",
        "latency",
    }
    assert [] == [key for key in model.model_fields if f"`{key}`" not in PAGE and key not in elsewhere]


def test_the_examples_load(folder: Path) -> None:
    """The adapters and the dialect of the page make a fixture without a problem."""
    good = (BOARDS / "instruments.yaml").read_text(encoding="utf-8")
    head, tail = good[: good.index("adapters:")], good[good.index("instruments:\n  daq") :]
    example = FIXTURE.replace("dialect: scpi-99 ", "dialect: page.dialect.yaml ")
    (folder / "page.dialect.yaml").write_text(DIALECT, encoding="utf-8")
    (folder / "page.yaml").write_text(f"{head}{example}  can: {{driver: can}}\n{tail}", encoding="utf-8")
    loaded = load_fixture(folder / "page.yaml")

    assert ["io", "psu", "dmm", "can"] == list(loaded.fixture.adapters)


def test_the_cautions_are_there() -> None:
    """The page says what such a bench cannot do by itself."""
    for words in ("Extra-low voltage only", "no dead-man", "external watchdog relay", "Local codes"):
        assert words in PAGE
