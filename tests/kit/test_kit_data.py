"""The bundled kit, and kits that a teacher writes."""

from pathlib import Path

import pytest

from snapcheck.errors import DataError, InputError
from snapcheck.kit import PLATE, Side, ValueForm, bundled_kit, load_kit

# the table of kinds: contacts at turn 0
CONTACTS = {
    "straight": "W E", "corner": "E S", "tee": "W E S", "cross": "N E S W", "crossover": "W E N S",
    "ground": "N", "socket": "E", "resistor": "W E", "capacitor": "W E", "electrolytic": "W E",
    "inductor": "W E", "diode": "W E", "zener": "W E", "led": "W E", "photoresistor": "W E",
    "thermistor": "W E", "potentiometer": "W E S", "npn": "W N S", "pnp": "W N S", "nmos": "W N S",
    "switch": "W E", "pushbutton": "W E", "lamp": "W E", "fuse": "W E", "battery": "W E", "supply": "W E",
    "audio-in": "E", "microphone": "W E", "speaker": "W E", "buzzer": "W E", "meter": "W E",
}  # fmt: skip
HALF_TURN = {
    "straight", "cross", "crossover", "resistor", "capacitor", "inductor", "photoresistor", "thermistor",
    "switch", "pushbutton", "lamp", "fuse", "speaker",
}  # fmt: skip


def test_every_kind_with_its_contacts() -> None:
    kit = bundled_kit()
    assert set(kit.kinds) == set(CONTACTS)
    for name, sides in CONTACTS.items():
        assert {c.side.name for c in kit[name].contacts} == set(sides.split()), name


def test_symmetries() -> None:
    kit = bundled_kit()
    for name, kind in kit.kinds.items():
        assert kind.same_turn(0, 180) is (name in HALF_TURN), name
        assert kind.same_turn(0, 90) is (name in ("cross", "crossover")), name


def test_terminals_by_side() -> None:
    kit = bundled_kit()
    expected = {
        "electrolytic": {"W": "plus", "E": "minus"},
        "battery": {"W": "plus", "E": "minus"},
        "supply": {"W": "plus", "E": "minus"},
        "microphone": {"W": "plus", "E": "minus"},
        "buzzer": {"W": "plus", "E": "minus"},
        "meter": {"W": "plus", "E": "minus"},
        "diode": {"W": "anode", "E": "cathode"},
        "zener": {"W": "anode", "E": "cathode"},
        "led": {"W": "anode", "E": "cathode"},
        "npn": {"W": "base", "N": "collector", "S": "emitter"},
        "pnp": {"W": "base", "N": "emitter", "S": "collector"},
        "nmos": {"W": "gate", "N": "drain", "S": "source"},
    }
    for name, sides in expected.items():
        assert {c.side.name: c.terminal for c in kit[name].contacts} == sides
    assert kit["potentiometer"].terminal_at(Side.S) == "wiper"
    crossover = kit["crossover"]
    assert crossover.terminal_at(Side.W) == crossover.terminal_at(Side.E)
    assert crossover.terminal_at(Side.N) == crossover.terminal_at(Side.S) != crossover.terminal_at(Side.E)


def test_bodies_on_the_plate() -> None:
    kit = bundled_kit()
    assert {n for n, k in kit.kinds.items() if k.plate_terminals} == {"ground", "socket", "audio-in"}
    assert kit["ground"].terminal_at(Side.N) == PLATE
    assert kit["socket"].sockets == {Side.E: "signal", Side.W: PLATE}
    assert kit["audio-in"].terminals == ("signal", PLATE)


def test_every_printed_type_has_model_and_ratings() -> None:
    kit = bundled_kit()
    types = {
        "npn": "BC547 BC549 BC337 2N2222 2N3904 BD139",
        "pnp": "BC557 BC559 BC327 2N3906 BD140",
        "nmos": "VN10 BS170 IRLZ44 IRF510 2N7000",
        "diode": "1N4007 1N4001 1N4148 1N5819 BAT85",
        "led": "red green white yellow orange blue",
    }
    for name, words in types.items():
        kind = kit[name]
        for word in words.split():
            assert word in kind.values
            parameters = kind.parameters_for(word)
            if name in ("npn", "pnp"):
                # without base resistance an astable flips at every time step
                assert parameters["RB"] > 0 and parameters["gain_min"] < parameters["gain_max"]
            if name in ("diode", "led"):
                assert parameters["RS"] > 0
            assert kind.ratings_for(word)["max_current_A"] > 0
    for volts in (2.7, 3.3, 3.9, 4.7, 5.1, 5.6, 6.2, 6.8, 8.2, 12.0, 15.0):
        assert kit["zener"].parameters_for(volts)["BV"] == pytest.approx(volts, rel=0.01)


def test_rated_voltage_in_print_wins() -> None:
    kind = bundled_kit()["electrolytic"]
    assert kind.ratings_for(1e-4, "100uF/25V")["max_voltage_V"] == 25
    assert kind.ratings_for(1e-4, "100µ")["max_voltage_V"] == kind.ratings["max_voltage_V"]


def test_a_teacher_adds_a_kind_and_a_type(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    file.write_text(
        """
name = "ours"
title = "Our box"
based_on = "bundled"

[kind.relay-coil]
title = "relay coil"
contacts = { N = "a", S = "b" }
symmetry = 180
value = "ohms"
model = "resistor"
ratings = { max_voltage_V = 12 }

[device.npn.BC639]
ratings = { max_current_A = 1.0 }
parameters = { BF = 120 }
"""
    )
    kit = load_kit(file)
    assert kit["relay-coil"].terminal_at(Side.N) == "a"
    assert "BC639" in kit["npn"].values and "BC547" in kit["npn"].values
    assert kit["npn"].parameters_for("BC639")["BF"] == 120
    assert kit["npn"].parameters_for("BC547")["BF"] != 120
    assert "BC639" not in bundled_kit()["npn"].values


HEAD = 'name = "x"\ntitle = "x"\n'
KIND = '[kind.thing]\ntitle = "thing"\nmodel = "resistor"\ncontacts = { W = "a", E = "b" }\n'
TYPED = KIND.replace("resistor", "npn").replace('"a", E = "b"', '"base", N = "collector", S = "emitter"')
TYPED += 'value = "type"\n'
MISTAKES = [
    ('title = "x"', "name", "missing"),
    (HEAD, "kind", "no kinds"),
    (HEAD + "[kind.thing]\n", "kind.thing.title", "missing"),
    (HEAD + KIND + 'colour = "red"\n', "kind.thing.colour", "not known"),
    (HEAD + KIND + "ratngs = {}\n", "kind.thing.ratngs", "Did you mean 'ratings'"),
    (HEAD + KIND.replace("resistor", "resitor"), "kind.thing.model", "'resitor' is not accepted"),
    (HEAD + KIND.replace("W =", "X ="), "kind.thing.contacts.X", "not known"),
    (HEAD + KIND + "symmetry = 45\n", "kind.thing.symmetry", "45 is not accepted"),
    (HEAD + KIND + "symmetry = 90\n", "kind.thing.symmetry", "blank side"),
    (HEAD + KIND + 'marked = "plus"\n', "kind.thing.marked", "no terminal"),
    (HEAD + KIND + 'value = "kilograms"\n', "kind.thing.value", "not accepted"),
    (HEAD + KIND + 'value = "ohms"\nvalues = ["4x7"]\n', "kind.thing.values", "4x7"),
    (HEAD + KIND + "ratings = { max_power_W = -1 }\n", "kind.thing.ratings.max_power_W", "above zero"),
    (HEAD + KIND + "ratings = { max_power_kW = 1 }\n", "kind.thing.ratings.max_power_kW", "max_power_W"),
    (HEAD + KIND + 'parameters = { a = "b" }\n', "kind.thing.parameters.a", "not a number"),
    (HEAD + KIND + "parameters = { a = nan }\n", "kind.thing.parameters.a", "finite"),
    (HEAD + KIND + "tolerance = 5\n", "kind.thing.tolerance", "0.05"),
    (HEAD + KIND + "count = -1\n", "kind.thing.count", "no count"),
    (HEAD + KIND + 'interchangeable = [["a", "z"]]\n', "kind.thing.interchangeable", "'z'"),
    (HEAD + KIND + "plate = 1\n", "kind.thing.plate", "true, false"),
    (HEAD + KIND + "[device.other.X1]\n", "device.other", "no kind"),
    (HEAD + KIND + "[device.thing.4k7]\n", 'device.thing."4k7"', "nothing is printed"),
    (HEAD + "device = {thing = 1}\n" + KIND, "device.thing", "not a table"),
    (HEAD + 'kind = "x"\n', "kind", "not a table"),
    (HEAD + 'based_on = "moon"\n', "based_on", "bundled"),
    (HEAD + TYPED + "[device.thing.BC11]\ncolour = 1\n", 'device.thing."BC11".colour', "not known"),
    (
        HEAD + TYPED + "[device.thing.BC11]\nratings = { max_power_W = 0 }\n",
        'device.thing."BC11".ratings.max_power_W',
        "above zero",
    ),
    (
        HEAD + TYPED + "[device.thing.BC11]\nparameters = { BF = true }\n",
        'device.thing."BC11".parameters.BF',
        "true/false, not a number",
    ),
    (HEAD + TYPED + '[device.thing.BC11]\nparameters = "a"\n', 'device.thing."BC11".parameters', "is text"),
    (HEAD + TYPED + "[family.thing.BC12]\nlike = 3\n", 'family.thing."BC12".like', "a number, not text"),
    (
        HEAD + TYPED + "[device.thing.BC11]\n[family.thing.BC12]\nlike = 'BC13'\n",
        'family.thing."BC12".like',
        "Accepted: BC11",
    ),
    (
        HEAD + TYPED + "[device.thing.BC11]\n[family.thing.BC12]\nlike = 'BC11'\ncost = 1\n",
        'family.thing."BC12".cost',
        "not known",
    ),
    (
        HEAD
        + TYPED
        + "[device.thing.BC11]\n[family.thing.BC12]\nlike = 'BC11'\nratings = { max_power_W = -1 }\n",
        'family.thing."BC12".ratings.max_power_W',
        "above zero",
    ),
    (HEAD + KIND + 'legs = [{ name = "a", side = "W" }]\n', "kind.thing", "contacts"),
    (HEAD + KIND + "interchangeable = [1]\n", "kind.thing.interchangeable", "list"),
    (HEAD + KIND.replace('"thing"', "3"), "kind.thing.title", "a number, not text"),
    (HEAD + '[kind."two words"]\n', "kind.two words", "one word"),
    (HEAD + f"[kind.{'x' * 41}]\n", f"kind.{'x' * 40}", "at most 40 characters"),
]


@pytest.mark.parametrize(("text", "key", "words"), MISTAKES)
def test_mistakes_name_file_key_and_accepted_values(tmp_path: Path, text: str, key: str, words: str) -> None:
    file = tmp_path / "kit.toml"
    file.write_text(text)
    with pytest.raises(DataError) as caught:
        load_kit(file)
    assert str(file) in caught.value.place and f"key {key}" in caught.value.place
    assert words in str(caught.value)
    assert caught.value.way_out


def test_files_that_are_no_kit(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        load_kit(tmp_path / "none.toml")
    for name, content in {"bin": b"\xff\xd8\xff\xe0", "cut": b'name = "x', "big": b"#" * 2_100_000}.items():
        file = tmp_path / name
        file.write_bytes(content)
        with pytest.raises(DataError, match=name):
            load_kit(file)


def test_printed_values_of_the_kit_are_of_its_forms() -> None:
    for kind in bundled_kit().kinds.values():
        for value in kind.values:
            assert isinstance(value, float) is kind.value_form.numeric, kind.name
        assert kind.value_form is not ValueForm.NONE or not kind.values


def test_a_type_of_a_family_takes_what_it_does_not_say_from_its_like(tmp_path: Path) -> None:
    file = tmp_path / "kit.toml"
    file.write_text(
        HEAD
        + TYPED
        + """
ratings = { max_power_W = 1, max_current_A = 3 }
parameters = { BF = 50, RB = 7 }
[device.thing.BC11]
ratings = { max_power_W = 2 }
parameters = { BF = 60 }
[family.thing.BC12]
like = "BC11"
ratings = { max_current_A = 4 }
parameters = { RB = 8 }
"""
    )
    kind = load_kit(file)["thing"]
    assert kind.values == ("BC11",)  # a relative is known, and no cube of the kit
    assert kind.ratings_for("BC12") == {"max_power_W": 2, "max_current_A": 4}
    assert kind.parameters_for("BC12") == {"BF": 60, "RB": 8}
    assert kind.ratings_for("bc-11") == {"max_power_W": 2, "max_current_A": 3}  # another spelling
    assert kind.parameters_for("bc 11") == {"BF": 60, "RB": 7}
    assert kind.parameters_for("BC99") == kind.parameters_for(None) == {"BF": 50, "RB": 7}
    assert kind.knows("BC12") and kind.knows(None) and not kind.knows("BC99")


def test_a_rated_voltage_is_read_of_capacitors_alone() -> None:
    kit = bundled_kit()
    assert kit["electrolytic"].ratings_for(1e-4, "no value")["max_voltage_V"] == 16
    assert kit["resistor"].ratings_for(1e3, "1k/25V")["max_voltage_V"] == 250


def test_a_turn_counts_modulo_the_symmetry() -> None:
    kind = bundled_kit()["straight"]
    assert kind.same_turn(0, 180) and kind.same_turn(270, 90) and not kind.same_turn(0, 90)
    corner = bundled_kit()["corner"]
    assert corner.same_turn(90, 90) and not corner.same_turn(90, 270) and not corner.same_turn(270, 90)
    assert corner.sides("wire") == corner.sides("wire", 0) == (Side.E, Side.S)
    assert corner.sides("none") == ()
    assert [Side.S.turned(n) for n in (0, 90, 180, 270, 360)] == [Side.S, Side.W, Side.N, Side.E, Side.S]
