"""Every mistake in a profile is found, at its place, in words that help."""

import re
from pathlib import Path

import pytest

from benchtest.documents.wording import SPELLED
from benchtest.errors import DocumentError
from benchtest.profile import load_profile
from tests.documents.conftest import BOARDS, Spoil

GOOD = BOARDS / "tank.yaml"
PACKAGE = Path(__file__).parents[2] / "benchtest"
ONE_MISTAKE = [
    # shape
    ("    lamp: D1\n", "    «lampp: D1\n", "unknown key 'lampp' (nearest lamp;"),
    ("board: {part", "«bord: {}\nboard: {part", "unknown key 'bord' (nearest board;"),
    ("    nominal: 24 V\n", "    nominal: 24 V\n    «nominal: 12 V\n", "key 'nominal' twice, on lines 21 and 22"),
    ("current_limit: 1 A", "current_limit: «1", "got 1 without a unit"),
    ("gap: 200 ms", "gap: «200 V", "'V' is not a unit of duration"),
    ("operate: {min: 1 ms", "operate: «{min: 20 ms", "lower limit 20 ms lies above upper limit 12 ms"),
    ("kind: level", "kind: «levle", "kind 'levle' is unknown (nearest level; known: dry contact, level, probe)"),
    ("step: safe off", "step: «safe of", "step 'safe of' is unknown (nearest safe off;"),
    ("{step: safe off}", "«{}", "'step' is missing"),
    ("colour: blue", "colour: «blau", "'blau' is not possible here (nearest blue; possible: red, green,"),
    ("form: C, make: X3.3-X3.4, break", "«x: 1, form: C, make: X3.3-X3.4, break", "unknown key 'x'"),
    ("{form: C, make: X3.3-X3.4, break: X3.3-X3.5}", "«{form: C, make: X3.3-X3.4}", "form C contact needs 'make' and"),
    ('D9: "3"', "D9: «3", "expected text, got 3 (write it in quotes: '3')"),
    ('{"11": warm', "{«11: warm", "name 11 is not text (write it in quotes: '11')"),
    ('revisions: ["A"]', "revisions: [«1.0]", "expected text, got 1.0"),
    ("pins: 6", "pins: «100", "100 is more than 99"),
    ("  bounce: {max: 5 ms}\n", "  bounce: «{}\n", "neither min nor max is given"),
    ("  K1:\n    load: pump\n", "  «K1:\n", "'load' is missing (give load: text)"),
    ("    load: pump\n", "    load: «~\n", "a key without a value"),
    ("coil: TP.2-X1.2", "coil: «TP.2", "'TP.2' is not a pair of terminals (try 'X7.1-X7.2')"),
    ("      1: {means: all", "      «one: {means: all", "name 'one' is not a whole number"),
    ("stages: [6 V, 12 V]", "stages: «6 V", "expected a list, got '6 V' (write it in square brackets)"),
    ("flash: 200 ms", "flash: «0 ms", "0 s is no time (give more than 0 s)"),
    ("gap: 200 ms", "gap: «-200 ms", "-0.2 s is no time (give more than 0 s)"),
    (
        "any: [day]}, reaction: {max: 80 ms}",
        "any: [day]}, reaction: «{min: 80 ms}",
        "no max is given, and nobody would know how long to wait",
    ),
    ("{min: 0.7 s, max: 1.4 s}", "«{min: -2 s, max: -1 s}", "max is not above 0 s, and nobody would know how long"),
    (
        "Controller, every: 200 ms",
        "Controller, every: «900 ms",
        "board may take the link for lost after 0.7 s (every so",
    ),
    ("  bounce: {max: 5 ms}\n", "  resistance: «{min: -1 ohm}\n", "min lies below 0 ohm, and no resistance does (give"),
    ("  bounce: {max: 5 ms}\n", "  resistance: «{max: -200 mohm}\n", "max lies below 0 ohm"),
    ("pins: 2, use: link", "pins: 2, bridge: «{max: -2 ohm}, use: link", "max lies below 0 ohm"),
    ("  bounce: {max: 5 ms}\n", "  open_voltage: «{min: 120 %}\n", "min lies above 100 %, and no open contact shows"),
    ("  bounce: {max: 5 ms}\n", "  open_voltage: «{min: -5 %}\n", "min lies below 0 %, and no share does"),
    # decision
    ("connectors:\n", "decision: {rule: «lenient}\nconnectors:\n", "'lenient' is not possible here"),
    (
        "connectors:\n",
        "decision: «{rule: simple acceptance, guard: 1.0}\nconnectors:\n",
        "simple acceptance has no guard band (delete 'guard'",
    ),
    (
        "connectors:\n",
        "decision: «{rule: guarded acceptance, accept_conditional: true}\nconnectors:\n",
        "guarded acceptance knows no conditional pass to accept",
    ),
    ("connectors:\n", "decision: «{coverage: 100 %}\nconnectors:\n", "a coverage probability of 100"),
    ("connectors:\n", "decision: {coverage: «2}\nconnectors:\n", "got 2 without a unit"),
    ("connectors:\n", "decision: {accept_unresolved: «[K3]}\nconnectors:\n", "expected"),
    # terminals
    ("X2.3-X1.2", "«X2.1-X1.2", "input day takes terminal X2.1, which input float_up has (line 29)"),
    ("X2.5-X2.6", "«X2.5-X2.3", "input water takes terminal X2.3, which input day has"),
    ("make: X3.6-X3.7", "make: «X3.6-X3.2", "contact of K3 takes terminal X3.2, which contact of K1 has"),
    ("X4.1-X4.2", "«X4.1-X4.9", "link sits on X4.9, but X4 has 2 pins (X4.1 to X4.2)"),
    ("coil: TP.2-X1.2", "coil: «TQ.2-X1.2", "there is no connector TQ (nearest TP;"),
    ("coil: TP.2-X1.2", "coil: «X5.1-X1.2", "X5 must stay empty"),
    ("[[1, 2]]", "[«[1, 3]]", "X6 has no pin 3"),
    # names
    ("    lamp: D2\n", "    lamp: «D6\n", "relay K2 names lamp D6, which is not there (nearest D"),
    ("    lamp: D2\n", "    lamp: «D1\n", "lamp D1 already shows relay K1"),
    ("    lamp: D2\n", "    lamp: «D9\n", "lamp D9 already shows code status"),
    ("K3, variant: salt", "K3, variant: «slat", "there is no variant 'slat' (nearest salt; known: fresh, salt)"),
    ("    load: heater\n", "    load: heater\n    option: «mon\n", "there is no option 'mon' (nearest moon;"),
    ("{input: day}", "{input: «night}", "relay K3 obeys input 'night', which is not there"),
    ("{input: day}", "{input: «water}", "relay K3 obeys input water, which is a probe (name a level or a dry contact)"),
    ("{link: heater}", "{link: «heatre}", "message Command has no signal 'heatre' (nearest heater;"),
    ("feedback: k1", "feedback: «k9", "message Status has no signal 'k9' (nearest k1;"),
    (
        "    load: heater\n",
        "    load: heater\n    feedback: «k1\n",
        "signal k1 reports K1 already (line 42) (K2 needs one of its own, or none)",
    ),
    (
        "use: daylight}",
        "use: daylight, feedback: «in_float}",
        "signal in_float reports float_up already (line 29)",
    ),
    ("relay: K2", "relay: «K7", "there is no relay 'K7'"),
    (
        "all: [float_up]",
        "all: [«flaot_up]",
        "'flaot_up' is no relay, input, supply, 'link' or 'interlock' (nearest float",
    ),
    ("all: [float_up]", "all: [«float_up=up]", "only a probe has named states"),
    ("[water=cold]", "[«water]", "'water' names no state of probe water"),
    ("[water=cold]", "[«water=hot]", "'water=hot' names no state of probe water"),
    ("probes: [water]", "probes: [«day]", "input day is not a probe"),
    ('"12": cold', '"12": «freezing', "probe water has no state 'freezing'"),
    ("  logic: {t", "  «link: {t", "'link' cannot be a name"),
    (
        "  logic: {t",
        "  «logic 3.3 V: {t",
        "cannot be a name here (a letter, then letters, digits, blanks, '_' and '-'; 40",
    ),
    ("part: FT-0100", "part: «ft_0100", "'ft_0100' cannot be written here (capital letters, digits and '-', 2 to 30"),
    # sense
    ("stages: [6 V, 12 V]", "stages: [6 V, «24 V]", "stage 24 V is not above 0 V and below what follows it, 24 V"),
    ("stages: [6 V, 12 V]", "stages: [«12 V, 6 V]", "stage 12 V is not above 0 V and below what follows it, 6 V"),
    ("first_limit: 100 mA", "first_limit: «2 A", "first_limit 2 A lies above current_limit 1 A"),
    ("needs: {any: [day]}", "needs: «{any: [day, K1]}", "the interlock depends on itself"),
    ("needs: {any: [day]}", "needs: «{none: [interlock]}", "the interlock depends on itself"),
    # steps
    ("supplies: [main]", "supplies: [main, «man]", "'man' is not among the supplies (nearest main;"),
    ("[K1, K2, K3]", "[K1, K2, «K4]", "'K4' is not among the relays"),
    ("[K1, K2, K3]", "[K1, K2, «K2]", "'K2' is there twice"),
    ("dark: [D1, D2]", "dark: [D1, «D8]", "lamp D8 is expected both lit and dark"),
    ("{water: cold}", "{water: «hot}", "input water has no state 'hot'"),
    ("{water: cold}", "{«watr: cold}", "'watr' is not among the inputs (nearest water;"),
    ('D9: "3"', 'D9: «"7"', "code status has no meaning for '7' (known: 2, 3, 1)"),
    ('D7: "12"', 'D7: «"12 11"', "code probe has 1 number(s), one after the other, got '12 11'"),
    ('D7: "12"', '«D1: "12"', "lamp D1 shows no code (lamps with a code: D7, D9)"),
    ("of: link", "of: «mains", "there is no supply 'mains' to lose (nearest main;"),
    # the file beside
    ("tank.dbc", "«thank.dbc", "'thank.dbc' there is no such file (DBC files beside the profile: tank.dbc)"),
    ("tank.dbc", "«../boards/tank.dbc", "'../boards/tank.dbc' is not a file name"),
    ("tank.dbc", "«/etc/passwd", "'/etc/passwd' is not a file name"),
    ("tank.dbc", "«tank.yaml", "(try saving it anew with a DBC editor)"),
    ("command: Command", "command: «Comand", "there is no message 'Comand' (nearest Command;"),
    ("board: {message: Tank", "board: {message: «Tonk", "there is no message 'Tonk' (nearest Tank;"),
]


@pytest.mark.parametrize(("old", "new", "said"), ONE_MISTAKE, ids=[row[1].strip()[:50] for row in ONE_MISTAKE])
def test_one_mistake_is_one_problem_at_its_place(spoil: Spoil, old: str, new: str, said: str) -> None:
    """A single mistake gives a single problem, whose line and column are those of the mistake."""
    spoiled = spoil("tank.yaml", (old, new))

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)
    assert said in str(refused.value)


def test_what_energises_a_relay_is_false_at_rest(spoil: Spoil) -> None:
    """A relay that would be energised while nothing is wanted cannot be worked from rest; the input is named."""
    spoiled = spoil("tank.yaml", ("use: daylight}", "use: daylight, rest: high}"))

    with pytest.raises(DocumentError, match="input day, which is high at rest: it would be energised at rest"):
        load_profile(spoiled.path)


ONCE = [
    ("  - {step: safe off}", "  - {step: safe off}\n  - «{step: unpowered}", "'unpowered' is there a second time"),
    (
        "  - {step: safe off}",
        "  - {step: exercise, relays: [«K2]}\n  - {step: safe off}",
        "exercise of K2 is there a second",
    ),
    (
        "  - {step: safe off}",
        "  - {step: interlocks, names: [«heater only with water]}\n  - {step: safe off}",
        "trial of 'heater only with water' is there a second time, and its readings would take the place of the first",
    ),
]


@pytest.mark.parametrize(("old", "new", "said"), ONCE)
def test_nothing_is_read_twice_under_one_name(spoil: Spoil, old: str, new: str, said: str) -> None:
    """A second exercise of a relay would put its readings in the place of a failed first one: it is refused."""
    spoiled = spoil("tank.yaml", (old, new))

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert said in str(refused.value)
    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_steps_of_two_variants_may_do_the_same(spoil: Spoil) -> None:
    """No board has both."""
    (step,) = [row for row in GOOD.read_text(encoding="utf-8").splitlines() if "step: interlocks" in row]
    fresh, salt = (step.replace("]}", f"], variant: {variant}}}") for variant in ("fresh", "salt"))

    load_profile(spoil("tank.yaml", (step, f"{fresh}\n{salt}")).path)


@pytest.mark.parametrize(
    "edits",
    [
        [
            ("    load: pump\n", "    load: pump\n    variant: fresh\n"),
            ("    load: skimmer\n", "    load: skimmer\n    feedback: k1\n"),
            ("D1: {colour: green, use: coil of K1}", "D1: {colour: green, use: coil of K1, variant: fresh}"),
        ],
        [("    load: heater\n    ", "    load: heater\n    feedback: k1\n    "), ("{link: heater}", "{link: pump}")],
    ],
)
def test_a_signal_may_report_two_relays_that_are_never_apart(spoil: Spoil, edits: list[tuple[str, str]]) -> None:
    """Relays of two variants are never on one board, and relays of one command come and go together."""
    load_profile(spoil("tank.yaml", *edits).path)


EXCLUDED = [
    ("all: [float_up]}", "all: [float_up], none: [K1]}", "K1 and K2 exclude each other: one needs K1, which the other"),
    ("needs: {any: [day]}", "needs: {none: [float_up]}", "one needs float_up, which the other may not have"),
    ("needs: {any: [day]}", "needs: {any: [day], none: [K2]}", "K1 and K2 exclude each other: one needs K2"),
]


@pytest.mark.parametrize(("old", "new", "said"), EXCLUDED)
def test_no_loss_energises_what_excludes_one_another(spoil: Spoil, old: str, new: str, said: str) -> None:
    """A good board can energise one of two such relays only, and would fail a step that wants both."""
    spoiled = spoil("tank.yaml", (old, new), ("of: link, energised: [K1]", "of: link, energised: [K1, «K2]"))

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert said in str(refused.value)
    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_relays_that_exclude_one_another_on_one_variant_may_both_be_lost_on_the_other(spoil: Spoil) -> None:
    """An interlock that a step's variant does not have holds nothing in it."""
    lost = "{step: loss, of: link, energised: [K1, K2], variant: salt}"
    text = "needs: {all: [float_up], none: [K1]}, reaction: {max: 80 ms}, variant: fresh}"
    spoiled = spoil(
        "tank.yaml",
        ("needs: {all: [float_up]}, reaction: {max: 80 ms}}", text),
        ("{step: loss, of: link, energised: [K1]}", lost),
    )

    load_profile(spoiled.path)


def test_ohms_are_read_before_there_is_power_and_all_else_with_it(spoil: Spoil) -> None:
    """A step in the wrong place is refused where it stands."""
    power = next(row for row in GOOD.read_text(encoding="utf-8").splitlines() if "step: power up" in row)
    late = spoil("tank.yaml", (f"{power}\n", ""), ("  - {step: safe off}", f"{power}\n  - «{{step: safe off}}"))

    with pytest.raises(DocumentError, match="the board has no power in step 'exercise'"):
        load_profile(late.path)


def test_every_pattern_has_its_words() -> None:
    """Nobody who writes a profile is shown a regular expression."""
    sources = (path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py"))
    patterns = {found for text in sources for found in re.findall(r'Field\(pattern=r"([^"]+)"', text)}

    assert patterns
    assert patterns <= SPELLED.keys()


def test_the_good_document_is_good(folder: Path) -> None:
    """The document that all these mistakes are made in has none itself."""
    assert "FT-0100" == load_profile(folder / "tank.yaml").profile.board.part


MANY = (
    ("current_limit: 1 A", "current_limit: «1"),
    ("kind: level", "kind: «levle"),
    ("operate: {min: 1 ms", "operate: «{min: 20 ms"),
    ("    lamp: D1\n", "    «lampp: D1\n"),
    ("    lamp: D2\n", "    lamp: «D6\n"),
    ("{link: heater}", "{link: «heatre}"),
    ("K3, variant: salt", "K3, variant: «slat"),
    ("pause: 1 s\n", "pause: 1 s\n    «pause: 2 s\n"),
    ("all: [float_up]", "all: [«*somewhere]"),
    ("dark: [D1, D2]", "dark: [D1, «D33]"),
    ('D7: "12"', 'D7: «"99"'),
    ("of: link", "of: «lnik"),
)


def test_all_mistakes_of_a_document_come_in_one_report(spoil: Spoil) -> None:
    """Twelve mistakes of shape, reference and sense are twelve problems, each at its place."""
    spoiled = spoil("tank.yaml", *MANY)

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert 12 == len(spoiled.places)
    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_a_broken_definition_is_not_called_missing(spoil: Spoil) -> None:
    """An input, a lamp and a relay that are broken are reported once, and not again wherever they are named."""
    spoiled = spoil(
        "tank.yaml",
        ("  day: {kind: level", "  day: {kind: «levels"),
        ("D3: {colour: green", "D3: {colour: «greenish"),
        ("    contact: {form: A, make: X3.1-X3.2}\n", "    contact: «X3.1-X3.2\n"),
        ("kind: probe, terminals: X2.5-X2.6, use: water temperature", "kind: probe, terminals: «X2.5, use: warmth"),
    )

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_places_in_lists_stay_right_when_an_earlier_entry_is_broken(spoil: Spoil) -> None:
    """A step left out as broken does not shift the places of the steps after it."""
    spoiled = spoil("tank.yaml", ("step: unpowered", "step: «unpowerd"), ("[K1, K2, K3]", "[K1, K2, «K4]"))

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)
    assert ["steps[1].step", "steps[5].relays[3]"] == [problem.where for problem in refused.value.problems]


def test_a_misspelt_code_leaves_the_code_unused_and_the_step_without_one(spoil: Spoil) -> None:
    """A lamp that names no code, and the code that no lamp shows, are both reported."""
    spoiled = spoil("tank.yaml", ("code: status", "code: «stats"), ("  status:\n    kind", "  «status:\n    kind"))

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)
    assert "no lamp shows code 'status'" in str(refused.value)


def test_a_name_is_given_once_over_all_sections(spoil: Spoil) -> None:
    """A rail and a relay may not share a name, since variants and conditions speak of things by name alone."""
    spoiled = spoil("tank.yaml", ("  logic: {t", "  K1: {t"), ("  K1:\n    load", "  «K1:\n    load"))

    with pytest.raises(DocumentError, match=r"the name 'K1' is taken by the rails \(line 27\)") as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_a_change_over_contact_has_one_common(spoil: Spoil) -> None:
    """Make and break of a form C contact begin at the same terminal."""
    spoiled = spoil(
        "tank.yaml",
        ("contact: {form: C, make: X3.3-X3.4, break: X3.3", "contact: «{form: C, make: X3.3-X3.4, break: X3.8"),
    )

    with pytest.raises(DocumentError, match=r"have the common first, got X3\.3 and X3\.8") as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_relays_that_wait_for_one_another_wait_for_ever(spoil: Spoil) -> None:
    """Two relays that each need the other energised are reported at both interlocks."""
    spoiled = spoil(
        "tank.yaml", ("needs: {all: [float_up]}", "needs: «{all: [K1]}"), ("needs: {any: [day]}", "needs: «{all: [K2]}")
    )

    with pytest.raises(DocumentError, match="relay K2 waits for itself, by way of K1") as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_things_of_different_variants_may_sit_on_the_same_terminals(spoil: Spoil) -> None:
    """Terminals are used once among what can be fitted together, not among what cannot."""
    spoiled = spoil(
        "tank.yaml",
        ("  day: {kind: level, terminals: X2.3", "  day: {kind: level, variant: salt, terminals: X2.3"),
        (
            "  water: {kind",
            "  float_2: {kind: dry contact, variant: fresh, terminals: X2.3-X2.2, use: it}\n  water: {kind",
        ),
        ("{any: [day]}", "{any: [day, float_2]}"),
    )

    assert "float_2" in load_profile(spoiled.path).profile.inputs


def test_a_board_without_a_link_has_nothing_to_say_about_one(spoil: Spoil, folder: Path) -> None:
    """Without `link:`, commands, feedback, conditions, states and steps that need it are refused at their places."""
    text = (folder / "tank.yaml").read_text(encoding="utf-8")
    section = text[text.index("link:\n  kind: can") : text.index("steps:\n")]
    spoiled = spoil(
        "tank.yaml",
        (section, ""),
        ("feedback: in_float", "feedback: «in_float"),
        ("{link: pump}", "{link: «pump}"),
        ("{link: heater}", "{link: «heater}"),
        ("feedback: k1", "feedback: «k1"),
        ("{none: [link]}", "{none: [«link]}"),
        ("{step: link}", "«{step: link}"),
        ("of: link", "of: «link"),
    )

    with pytest.raises(DocumentError) as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_a_database_of_the_right_name_that_links_elsewhere_is_refused(folder: Path, tmp_path: Path) -> None:
    """A DBC file that is a symbolic link out of the profile's folder is not read."""
    (folder / "tank.dbc").rename(tmp_path / "elsewhere.dbc")
    (folder / "tank.dbc").symlink_to(tmp_path / "elsewhere.dbc")

    with pytest.raises(DocumentError, match=r"tank\.yaml:\d+:13: link\.database: 'tank\.dbc' is not a file name"):
        load_profile(folder / "tank.yaml")


def test_a_relay_of_every_variant_does_not_lean_on_a_lamp_of_one(spoil: Spoil) -> None:
    """A lamp that only one variant has cannot be the lamp of a relay that all variants have."""
    spoiled = spoil("tank.yaml", ("coil of K2}", "coil of K2, variant: salt}"), ("    lamp: D2\n", "    lamp: «D2\n"))

    with pytest.raises(DocumentError, match="lamp D2 is fitted only with variant salt") as refused:
        load_profile(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


IMPOSSIBLE = [
    ("Controller: 1 C", "Controller: 99999991 C", "a message of 99999991 bytes, a frame has at most 64"),
    ("BO_ 784 Tank: 1", "BO_ 784 Tank: 065", "a message of 065 bytes"),
    ("pump : 0|1@", "pump : 0|99999991@", "a signal of 99999991 bits from bit 0"),
    ("heater : 1|1@", "heater : 999999991 | 1@", "a signal of 1 bits from bit 999999991"),
    ("heater : 1|1@", f"heater : {'9' * 5000}|1@", "a signal of 1 bits from bit 99999999999999999999,"),
    ("BO_ 800 Status", "SG_MUL_VAL_ 288 heater pump 1-2, 3-999999999 ;\n\nBO_ 800 Status", "value of 999999999"),
]


@pytest.mark.parametrize(("old", "new", "said"), IMPOSSIBLE, ids=[row[2] for row in IMPOSSIBLE])
def test_a_database_with_impossible_sizes_is_refused_at_once(
    spoil: Spoil, folder: Path, old: str, new: str, said: str
) -> None:
    """Sizes that would keep the DBC reader busy without end are refused before it sees them."""
    spoil("tank.dbc", (old, new))

    with pytest.raises(
        DocumentError, match=r"tank\.yaml:\d+:13: link\.database: 'tank\.dbc' is not a readable"
    ) as refused:
        load_profile(folder / "tank.yaml")

    assert said in str(refused.value)
