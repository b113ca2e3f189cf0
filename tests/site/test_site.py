"""A site file: found, read, and every mistake told at its place."""

import json
import struct
import zlib
from pathlib import Path

import jsonschema
import pytest
import yaml

from benchtest.documents import schema
from benchtest.errors import DocumentError
from benchtest.site import ENVIRONMENT, Site, find_site, load_site

SITE = """format: benchtest-site/1
depot:
  name: Lock Lane Board Repair
  address: [4 Lock Lane, Invented Town]
  logo: logo.svg
  terms:
    - Repairs carry a warranty of twelve months.
language: de
"""
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 10"><path d="M0 0h40v10H0z"/></svg>'


def png(width: int, height: int, *, between: bytes = b"", behind: bytes = b"") -> bytes:
    """Return a white grey-scale PNG; W3C PNG, 5.3 for the layout of a chunk and 11.2.1 for the header."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    rows = zlib.compress((b"\0" + b"\xff" * width) * min(height, 100))
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + between + chunk(b"IDAT", rows) + chunk(b"IEND", b"") + behind


def written(folder: Path, text: str = SITE, logo: str | bytes = SVG, name: str = "logo.svg") -> Path:
    """Write a site file and its logo."""
    (folder / name).write_bytes(logo.encode() if isinstance(logo, str) else logo)
    (folder / "site.yaml").write_text(text, encoding="utf-8")
    return folder / "site.yaml"


def problem(path: Path) -> str:
    """Return what is wrong with a site file, in one line."""
    with pytest.raises(DocumentError) as caught:
        load_site(path)
    return str(caught.value)


def test_a_site_says_who_the_depot_is(tmp_path: Path) -> None:
    """Name, lines of the address, logo, terms and language come out as written."""
    loaded = load_site(written(tmp_path))
    assert "Lock Lane Board Repair" == loaded.site.depot.name
    assert ("4 Lock Lane", "Invented Town") == loaded.site.depot.address
    assert ("svg", SVG.encode()) == (loaded.logo and loaded.logo.kind, loaded.logo and loaded.logo.content)
    assert "de" == loaded.language


def test_the_option_comes_before_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that is given wins, then the one that BENCHTEST_SITE names; without either there is none."""
    given, named = tmp_path / "given", tmp_path / "named"
    given.mkdir()
    named.mkdir()
    monkeypatch.delenv(ENVIRONMENT, raising=False)
    assert find_site(None) is None
    monkeypatch.setenv(ENVIRONMENT, str(written(named, SITE.replace("Lock Lane Board", "Quay"))))
    found, preferred = find_site(None), find_site(written(given))
    assert found is not None
    assert preferred is not None
    assert ("Quay Repair", "Lock Lane Board Repair") == (found.site.depot.name, preferred.site.depot.name)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("benchtest-site/1", "benchtest-site/9", ":1:9: format: format 'benchtest-site/9' is not understood here"),
        ("  name:", "  nam:", ":3:3: depot.nam: unknown key 'nam' (nearest name"),
        ("language: de", "language: 3", ":8:11: language: expected text, got 3"),
        ("logo.svg", "../logo.svg", ":5:9: depot.logo: '../logo.svg' is not a file name"),
        ("logo.svg", "lgo.svg", ":5:9: depot.logo: there is no file 'lgo.svg' (beside the site file: logo.svg)"),
        ("language: de", "language: pl.yaml", ":8:11: language: there is no file 'pl.yaml'"),
        ("4 Lock Lane", '"' + "x" * 121 + '"', "text longer than 120 characters"),
    ],
)
def test_a_mistake_is_told_at_its_place(tmp_path: Path, old: str, new: str, said: str) -> None:
    """File, line and column, what was found, what to try."""
    assert said in problem(written(tmp_path, SITE.replace(old, new, 1)))


def test_a_site_file_that_is_missing_says_so(tmp_path: Path) -> None:
    """No site at the given path is a problem of a document, not silence."""
    assert "there is no such file" in problem(tmp_path / "site.yaml")


@pytest.mark.parametrize(
    ("inside", "said"),
    [
        ("<script>alert(1)</script>", "has an element <script>"),
        ('<path onload="alert(1)" d="M0 0"/>', "has an attribute onload, which can run something"),
        ('<use href="#a"/>', "has an element <use>"),
        ('<image href="https://example.org/x.png"/>', "has an element <image>"),
        ('<foreignObject><p xmlns="http://www.w3.org/1999/xhtml">x</p></foreignObject>', "has an element <foreignObj"),
        ('<p xmlns="http://www.w3.org/1999/xhtml">x</p>', "has an element <p>"),
        ('<set attributeName="href" to="javascript:alert(1)"/>', "has an element <set>"),
        ('<path fill="url(https://example.org/#a)" d="M0 0"/>', "refers outside itself by fill"),
        ('<path style="fill:url( \'//example.org\')" d="M0 0"/>', "refers outside itself by style"),
        ("<style>@import 'x.css';</style>", "refers outside itself in a style"),
        ("<style>" + " " * 9000 + "@im<!-- -->port 'x.css';</style>", "refers outside itself in a style"),
        ('<g xmlns:x="http://www.w3.org/1999/xlink" x:href="x.svg"/>', "refers outside itself by href"),
        ("<text>Lock Lane</text>", "has an element <text>"),
        ("<path d='M0 0'>", "is not readable as SVG"),
    ],
)
def test_an_svg_may_only_draw(tmp_path: Path, inside: str, said: str) -> None:
    """Whatever could run, move or fetch is refused with line and column, and what to try."""
    found = problem(written(tmp_path, logo=SVG.replace("</svg>", f"\n{inside}</svg>")))
    assert ":5:9: depot.logo: logo.svg: line 2" in found
    assert said in found


@pytest.mark.parametrize(
    "inside",
    [
        '<linearGradient id="a"><stop offset="0"/></linearGradient><path fill="url( #a )" d="M0 0h1"/>',
        "<style>.a{fill:#123}</style><title>Lock Lane</title>",
        '<x:view xmlns:x="urn:drawing-program" x:docname="C:\\logo.svg"/>',
    ],
)
def test_what_only_draws_is_taken(tmp_path: Path, inside: str) -> None:
    """Gradients by name, a style sheet without references, and what a drawing program notes for itself."""
    assert load_site(written(tmp_path, logo=SVG.replace("</svg>", f"{inside}</svg>"))).logo is not None


@pytest.mark.parametrize(
    ("logo", "said"),
    [
        ('<!DOCTYPE svg [<!ENTITY a "b">]>' + SVG, "has a document type"),
        ('<?xml-stylesheet href="x.css"?>' + SVG, "has an instruction <?xml-stylesheet"),
        ("<html/>", "begins with <html>, not with <svg>"),
        ("%PDF-1.4", "is neither an SVG nor a PNG"),
        (SVG + " " * 300_000, "is larger than 256 KiB"),
        (SVG.replace("</svg>", "<g/>" * 4000 + "</svg>"), "has more than 4000 elements"),
        (png(50_000, 50_000), "is a PNG of 50000 by 50000 pixels (at most 2000 each way; scale it)"),
        (png(10, 0), "is a PNG of 10 by 0 pixels"),
        (png(10, 10)[:-1], "is a PNG that is damaged"),
        (png(10, 10).replace(b"IDAT", b"IDAU"), "is a PNG that is damaged"),
        (png(10, 10, behind=b"<script>"), "is a PNG that is damaged at byte"),
        (png(10, 10)[:33], "without a picture or without an end"),
        (b"\x89PNG\r\n\x1a\n", "is a PNG without a header"),
    ],
    ids=lambda value: value[:24] if isinstance(value, str) else "png",
)
def test_a_logo_that_could_do_harm_is_refused(tmp_path: Path, logo: str | bytes, said: str) -> None:
    """Document types, other kinds of file, sizes beyond need, and pictures that are not whole."""
    assert said in problem(written(tmp_path, logo=logo))


def test_a_moving_png_is_refused_and_a_still_one_taken(tmp_path: Path) -> None:
    """A chunk acTL begins an animation (W3C PNG, 11.3.2)."""
    moving = struct.pack(">I", 8) + b"acTL" + bytes(8) + struct.pack(">I", zlib.crc32(b"acTL" + bytes(8)))
    assert "is a PNG that moves" in problem(written(tmp_path, logo=png(10, 10, between=moving)))
    loaded = load_site(written(tmp_path, logo=png(1800, 400)))
    assert loaded.logo is not None
    assert "png" == loaded.logo.kind


def test_the_schema_takes_what_the_reader_takes() -> None:
    """The schema for editors agrees on the example, and refuses a key that is not known."""
    described = json.loads(json.dumps(schema(Site)))
    written_out = yaml.safe_load(SITE)
    jsonschema.validate(written_out, described)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**written_out, "logo": "x"}, described)


def test_a_site_says_where_the_records_of_all_benches_are(tmp_path: Path) -> None:
    """The address of a server; a file, or another kind of server, is refused with its place."""
    assert (
        "postgresql://depot/records"
        == load_site(written(tmp_path, f"{SITE}records: postgresql://depot/records\n")).site.records
    )
    said = problem(written(tmp_path, f"{SITE}records: runs/records.sqlite\n"))
    assert "site.yaml:9" in said
    assert "'runs/records.sqlite' is not the address of a server" in said
