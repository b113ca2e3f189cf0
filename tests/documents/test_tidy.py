"""One style for profiles: what is rewritten, what stays, and that nothing is lost or said otherwise."""

import re
from collections import Counter
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from benchtest.cli import entry
from benchtest.documents.tidy import tidy
from benchtest.documents.tree import grow
from benchtest.profile import Profile, load_profile
from benchtest.quantities import CURRENT, DURATION, RESISTANCE, VOLTAGE, Dimension, parse, spelled

ROOT = Path(__file__).parent.parent.parent
TEXTS = [(ROOT / f"profiles/{name}.yaml").read_text(encoding="utf-8") for name in ("carwash", "greenhouse")]
HEAD = "format: benchtest-profile/1\n\nboard:\n  part: AB-1\n  name: A board\n  revisions: [A]\n\n"
REST = "\nrelays: {}\n\nsteps:\n  - {step: safe off}\n"


def styled(connectors: str = "{}", supply: str = "") -> str:
    """Return a small profile with connectors and a supply as they are written."""
    supply = supply or "  main: {kind: dc, terminals: X1.1-X1.2, nominal: 24 V, current_limit: 1 A}\n"
    return f"{HEAD}connectors: {connectors}\n\nsupplies:\n{supply}{REST}"


@pytest.mark.parametrize(
    ("written", "tidied"),
    [
        ("{X1: {use: in, pins: 2}}", "{X1: {pins: 2, use: in}}"),
        ("{X1: {  pins: 2,use: in }}", "{X1: {pins: 2, use: in}}"),
        ("{X1: {pins: 2, use: 'in'}}", "{X1: {pins: 2, use: in}}"),
        ("{X1: {pins: 2, use: 'in, out'}}", '{X1: {pins: 2, use: "in, out"}}'),
        ("{X1: {pins: 2, use: on}}", '{X1: {pins: 2, use: "on"}}'),
        ("{X1: {pins: 2, use: 12:30}}", '{X1: {pins: 2, use: "12:30"}}'),
        ("{X1: {pins: 2, use: '2026-03-02'}}", '{X1: {pins: 2, use: "2026-03-02"}}'),
        ("{X1: {pins: 2, use: '7'}}", '{X1: {pins: 2, use: "7"}}'),
        ("{X1: {pins: 2, use: '11 12'}}", '{X1: {pins: 2, use: "11 12"}}'),
        ("{X1: {pins: 2, use: 'a: b'}}", '{X1: {pins: 2, use: "a: b"}}'),
        ("{X1: {pins: 2, use: 'a #b'}}", '{X1: {pins: 2, use: "a #b"}}'),
        ("{X1: {pins: 2, use: 'say \"yes\"'}}", '{X1: {pins: 2, use: say "yes"}}'),
        ("\n   X1:\n      use: in\n      pins: 2", "\n  X1:\n    pins: 2\n    use: in"),
        ("\n  X1: {pins: 2,\n    use: in}", "\n  X1: {pins: 2, use: in}"),
        (
            "\n  X1: {pins: 2, bridge: {max: 2 ohm}, bridged: [[1, 2]], use: in} # c",
            "\n  X1: {pins: 2, use: in, bridged: [[1, 2]], bridge: {max: 2 ohm}}  # c",
        ),
        ("\n  X1: {pins: 2, # two\n    use: in}", "\n  X1:\n    pins: 2  # two\n    use: in"),
        ("\n  # above\n\n\n  X1: {pins: 2, use: in}\n  # below", "\n  # above\n\n  X1: {pins: 2, use: in}\n  # below"),
    ],
)
def test_what_is_written_in_another_style_is_written_in_the_usual_one(written: str, tidied: str) -> None:
    """Order by the schema, quotes where a reader needs them, indent, and comments where they were."""
    assert styled(tidied).replace(": \n", ":\n") == tidy(styled(written), Profile)


def test_the_kind_of_a_thing_comes_first_and_for_whom_it_is_fitted_last() -> None:
    """A supply in blocks, its quantities spelled with a space, its comments moved along with their keys."""
    supply = "  main:\n    # for all\n    current_limit: 1000mA # most\n    nominal: .024kV\n"
    supply += "    terminals: X1.1-X1.2\n    kind: dc\n"
    tidied = "  main:\n    kind: dc\n    terminals: X1.1-X1.2\n    nominal: 0.024 kV\n"
    tidied += "    # for all\n    current_limit: 1000 mA  # most\n"

    assert styled(supply=tidied) == tidy(styled(supply=supply), Profile)


@pytest.mark.parametrize(
    ("text", "dimension", "usual"),
    [
        ("24V", VOLTAGE, "24 V"),
        (" 4.80   V ", VOLTAGE, "4.80 V"),
        ("-.5V", VOLTAGE, "-0.5 V"),
        ("10kΩ", RESISTANCE, "10 kohm"),
        ("80 mOhm", RESISTANCE, "80 mohm"),
        ("20µs", DURATION, "20 us"),
        ("2min", DURATION, "2 min"),
        ("1e3mA", CURRENT, "1e3 mA"),
        ("open", RESISTANCE, "open"),
        ("24", VOLTAGE, "24"),
        ("24 furlongs", VOLTAGE, "24 furlongs"),
    ],
)
def test_quantities_have_one_spelling(text: str, dimension: Dimension, usual: str) -> None:
    """A space before the unit, no other spelling of it, the digits as they were; what is no quantity stays."""
    assert usual == spelled(text, dimension) == spelled(usual, dimension)


@given(
    number=st.floats(1e-3, 1e6), prefix=st.sampled_from(["", "m", "k", "µ", "u", "M"]), gap=st.sampled_from(["", " "])
)
def test_a_quantity_in_its_usual_spelling_is_the_same_quantity(number: float, prefix: str, gap: str) -> None:
    """To the last bit."""
    for unit in ("ohm", "Ω", "Ohm"):
        text = f"{number!r}{gap}{prefix}{unit}"
        assert parse(text, RESISTANCE) == parse(spelled(text, RESISTANCE), RESISTANCE)


@st.composite
def untidy(draw: st.DrawFn) -> str:
    """A shipped profile with comments, blank lines, other spellings and collections spread over lines."""
    chance = draw(st.randoms(use_true_random=False))
    text = re.sub(
        r"(\d) (V|ms|mA|ohm)\b", lambda m: m[0] if chance.random() < 0.5 else m[1] + m[2], chance.choice(TEXTS)
    )
    lines: list[str] = []
    for number, whole in enumerate(text.split("\n")):
        line = whole
        if chance.random() < 0.05:
            lines.append(" " * chance.randrange(8) + f'# alone {number}: "{{')
        if chance.random() < 0.05:
            lines.append("")
        cut = [place for place in range(len(line)) if line.startswith(", ", place) and _inside(line, place)]
        if cut and '"' not in line and chance.random() < 0.3:
            place = chance.choice(cut)
            lines.append(line[: place + 1] + chance.choice(["", f" # within {number}"]))
            line = " " * 30 + line[place + 2 :]
        beside = line.strip() and not line.lstrip().startswith("#") and chance.random() < 0.1
        lines.append(line + (f" # beside {number}" if beside else ""))
    return "\n".join(lines)


def _inside(line: str, place: int) -> bool:
    before = line[:place]
    return before.count("{") + before.count("[") > before.count("}") + before.count("]")


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(text=untidy())
def test_formatting_keeps_every_comment_and_the_meaning_and_is_done_once(text: str) -> None:
    """For any such profile; PyYAML, reading with its own rules, finds the same names in it as before."""
    assume(not grow(text).refused)
    tidied = tidy(text, Profile)

    assert tidied == tidy(tidied, Profile)
    assert Counter(re.findall("#.*", text)) == Counter(re.findall("#.*", tidied))
    assert Profile.model_validate(grow(text).value) == Profile.model_validate(grow(tidied).value)
    assert list(yaml.safe_load(text)["relays"]) == list(yaml.safe_load(tidied)["relays"])


# ---------------------------------------------------------------- from the command line


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    """A copy of a shipped profile."""
    path = tmp_path / "carwash.yaml"
    path.write_text(TEXTS[0].replace("24 V", "24V").replace("\n", "\r\n"), encoding="utf-8", newline="")
    return path


def test_a_file_is_written_anew_once(profile: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--check and --diff write nothing; after formatting --check is content, and the profile is the same."""
    before, loaded = profile.read_bytes(), load_profile(profile).profile
    profile.chmod(0o640)
    codes = [entry(["profile", "format", str(profile), *more]) for more in (["--check"], ["--diff"])]

    assert ([1, 0], before) == (codes, profile.read_bytes())
    assert [0, 0] == [entry(["profile", "format", str(profile), *more]) for more in ([], ["--check"])]
    assert b"\r" not in profile.read_bytes()
    assert (loaded, 0o640) == (load_profile(profile).profile, profile.stat().st_mode & 0o777)
    assert "+    nominal: 24 V" in capsys.readouterr().out


def test_a_file_with_problems_is_left_alone_and_the_others_are_done(
    profile: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 4, its problems with their places; the other file is formatted."""
    broken = profile.with_name("broken.yaml")
    broken.write_text("format: benchtest-profile/1\nboard: 3\n", encoding="utf-8")
    missing = profile.with_name("missing.yaml")
    code = entry(["profile", "format", str(broken), str(missing), str(profile)])
    said = capsys.readouterr()

    assert (4, "format: benchtest-profile/1\nboard: 3\n") == (code, broken.read_text(encoding="utf-8"))
    assert "broken.yaml:2:8: board" in said.err
    assert "missing.yaml: there is no such file" in said.err
    assert f"{profile}: written anew" in said.out
