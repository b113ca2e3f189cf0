"""The hook-up sheet: nothing on it that the documents do not say, nothing of them that is not on it."""

import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any
from xml.etree import ElementTree as ET

import pypdf
import pytest

from benchtest.fixture import Harness
from benchtest.fixture.wire_list import numbers, wire_list
from benchtest.hookup import Sheet, describe, to_html, to_pdf
from benchtest.hookup.describe import Documents
from benchtest.procedure import Absent, Step
from benchtest.terminals import Pair
from tests.adapters.poor_served import carwash

DOCUMENTS = Documents(
    profile="p.yaml", profile_digest="a" * 64, fixture="f.yaml", fixture_digest="b" * 64, made="2026-11-25"
)


def sheet_of(prepared: Any, **changed: Any) -> Sheet:
    """Describe a prepared board."""
    return describe(
        changed.get("fitted", prepared.fitted),
        prepared.fixture.fixture,
        changed.get("harness", prepared.harness),
        prepared.procedure,
        DOCUMENTS,
    )


@pytest.fixture(params=["greenhouse", "carwash"])
def prepared(request: pytest.FixtureRequest) -> Any:
    return request.getfixturevalue(request.param)


def test_every_wire_of_the_harness_is_drawn_at_both_of_its_pins(prepared: Any) -> None:
    """Role and channel of each wire stand in the drawings of the connectors where it ends."""
    sheet = sheet_of(prepared)
    words = {one.name: one.alternative for one in sheet.connectors}
    for wire in wire_list(prepared.fixture.fixture, prepared.harness):
        if wire.pair is not None and wire.role != "sense":  # many sense returns stand together as a range
            for terminal in (wire.pair.high, wire.pair.low):
                pin = re.search(rf"pin {terminal.pin}: [^.]*", words[terminal.connector])
                assert pin is not None
                assert wire.role.value in pin.group()
                assert str(wire.channel) in pin.group() or "–" in pin.group()


def test_the_drawings_are_whole_and_need_no_colour(prepared: Any) -> None:
    """Each parses as XML, has as many pin numbers as the connector has pins, and knows no colour but the ink's."""
    for one in sheet_of(prepared).connectors:
        tree = ET.fromstring(one.svg)
        bold = [text.text for text in tree.iter("{http://www.w3.org/2000/svg}text") if text.get("text-anchor")]
        assert [str(number) for number in range(1, prepared.fitted.profile.connectors[one.name].pins + 1)] == bold
        paints = {element.get(key) for element in tree.iter() for key in ("fill", "stroke")}
        assert paints <= {None, "none", "currentColor"}


def test_what_stays_empty_is_said_and_crossed_out(prepared: Any) -> None:
    """In the headline, at the connector, and in the words for who cannot see it."""
    sheet = sheet_of(prepared)
    (empty,) = [one for one in sheet.connectors if one.remark.startswith("STAYS EMPTY")]

    assert empty.name in sheet.stays_empty
    assert "stays empty" in empty.alternative


def test_plugs_that_fit_one_another_are_told_or_said_not_to_be(carwash: Any) -> None:
    """The jumper plug tells X1 from X4; of X2 and X3 the profile says nothing that differs without power."""
    told = {row.cells[0]: row.cells[1] for row in sheet_of(carwash).swaps}

    assert "before power, by X4 bridge 1-2" == told["X1 and X4"]
    assert told["X2 and X3"].startswith("CANNOT BE TOLD BEFORE POWER; first looked at in “Exercise K1")


def test_a_missing_plug_is_told_where_something_is_closed_through_it(greenhouse: Any) -> None:
    """X11 by K1, X13 by K11, X10 by its bridges; X12 has only open contacts."""
    told = {row.cells[0]: row.cells[1] for row in sheet_of(greenhouse).plugs}

    assert "before power, by K1 closed through plug X11" == told["X11"]
    assert "before power, by K11 closed through plug X13" == told["X13"]
    assert "before power, by X10 bridge 1-2, X10 bridge 3-4" == told["X10"]
    assert told["X12"].startswith("CANNOT BE TOLD BEFORE POWER")
    assert "X9" not in told


def test_the_sheet_of_a_simulated_bench_says_so_on_every_page(greenhouse: Any) -> None:
    """A watermark in both forms, and a sentence."""
    sheet = sheet_of(greenhouse)
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(to_pdf(sheet))).pages]

    assert all("SIMULATED" in page for page in pages)
    assert "there is nothing to plug in" in to_html(sheet)


def test_the_pdf_is_tagged_has_alternatives_and_the_same_bytes_twice(carwash: Any) -> None:
    """One figure with words for each connector (ISO 14289-1, 7.3), archive conformance said in the metadata."""
    sheet = sheet_of(carwash)
    content = to_pdf(sheet)
    reader: Any = pypdf.PdfReader(io.BytesIO(content))
    root = reader.trailer["/Root"]
    metadata = root["/Metadata"].get_object().get_data().decode()
    objects = [reader.get_object(number) for number in range(1, int(reader.trailer["/Size"]))]
    alternatives = [found["/Alt"] for found in objects if isinstance(found, dict) and "/Alt" in found]

    assert content == to_pdf(sheet)
    assert root["/MarkInfo"]["/Marked"]
    assert "pdfaid:part>3<" in metadata
    assert "pdfuaid:part>1<" in metadata
    assert {one.alternative for one in sheet.connectors} <= set(alternatives)


def test_a_profile_cannot_put_markup_on_the_page(carwash: Any) -> None:
    """What a document says is escaped in page and drawing."""
    profile = carwash.fitted.profile
    nasty = '<script>alert("X1")</script>&'
    connectors = {name: one.model_copy(update={"use": nasty}) for name, one in profile.connectors.items()}
    inputs = {nasty if name == "water" else name: one for name, one in profile.inputs.items()}
    changed = profile.model_copy(update={"connectors": connectors, "inputs": inputs})
    fitted = type(carwash.fitted)(profile=changed, variant=None, options=(), not_fitted=())
    page = to_html(sheet_of(carwash, fitted=fitted))
    found: list[str] = []

    class Tags(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.append(tag)
            assert not any(name.startswith("on") for name, _ in attrs)

    Tags().feed(page)
    assert "script" not in found
    assert "svg" in found
    assert to_pdf(sheet_of(carwash, fitted=fitted)).startswith(b"%PDF")


def test_a_pin_without_a_wire_is_to_be_left_free(carwash: Any) -> None:
    """Pins 7 and 8 of X2 go nowhere."""
    (second,) = [one for one in sheet_of(carwash).connectors if one.name == "X2"]

    assert "pin 7: no wire: leave this pin free" in second.alternative
    assert "pin 8: no wire: leave this pin free" in second.alternative


def test_wires_of_several_adapters_are_told_apart(carwash: Any) -> None:
    """With a second adapter each wire names its own, with what the fixture says of the channel there."""
    fixture = carwash.fixture.fixture
    other = fixture.adapters["io"].model_copy(update={"channels": {101: {"coil": 3}}})
    changed = fixture.model_copy(update={"adapters": {**fixture.adapters, "relays": other}})
    sheet = describe(carwash.fitted, changed, carwash.harness, carwash.procedure, DOCUMENTS)
    (second,) = [one for one in sheet.connectors if one.name == "X2"]

    assert "drive relays 101 + (coil 3)" in second.alternative
    assert "drive io 102 +" in second.alternative
    assert ("X2.1-X1.2", "drive", "relays 101 (coil 3)", "water") in [row.cells for row in sheet.wires]


@pytest.mark.parametrize(
    ("channels", "text"), [((301,), "301"), ((302, 301), "301, 302"), ((5, 1, 2, 3), "1–3, 5"), ((), "")]
)
def test_channel_numbers_are_written_as_ranges(channels: tuple[int, ...], text: str) -> None:
    """Three or more in a row become a range."""
    assert text == numbers(channels)


def test_a_wire_may_end_on_a_lamp(carwash: Any) -> None:
    """Light sensors stand in the wire list with their lamp; they have no pins."""
    assert isinstance(carwash.harness, Harness)
    rows = [row.cells for row in sheet_of(carwash).wires]

    assert ("lamp D6", "light", "io 506", "red, status") in rows
    assert Pair.parse("X1.1-X1.2") in carwash.harness.supply


def test_a_bench_of_cheap_parts_has_its_sheet_with_what_it_lacks() -> None:
    """A relay box: its wires as on any bench, its cautions, no dead-man; what is not read tells nothing of plugs."""
    prepared = carwash("relaybox")
    sheet = sheet_of(prepared)

    assert "NONE" == next(row.cells[-1] for row in sheet.adapters if row.cells[0] == "box")
    assert 2 == sum("dapter box" in caution and caution.endswith(".") for caution in sheet.cautions)
    assert {"box 101 (number 1)", "io 401"} <= {row.cells[2] for row in sheet.wires}

    blind = replace(prepared.procedure, steps=tuple(map(_blinded, prepared.procedure.steps)))
    told = sheet_of(replace(prepared, procedure=blind))
    assert "first looked at in “Exercise K1" in next(row.cells[1] for row in sheet.swaps if "X3" in row.cells[0])
    assert ["CANNOT BE TOLD: no check looks at it"] == [row.cells[1] for row in told.plugs if row.cells[0] == "X1"]


def _blinded(step: Step) -> Step:
    """Return a step as planned for a bench that can neither order nor read anything in it."""
    absent = Absent(reason="not on this bench")
    return replace(step, moves=(), checks=tuple(replace(check, measurand=absent) for check in step.checks))


def test_the_wire_list_says_a_register_with_its_unit() -> None:
    """A scale is a quantity on the sheet, as the fixture has it, and no pair of a number and a letter."""
    wires = {row.cells[2] for row in sheet_of(carwash("modbus")).wires}

    assert "io 801 (kind input register, address 9, scale 100 µA)" in wires
    assert "io 101 (kind coil, address 0)" in wires
