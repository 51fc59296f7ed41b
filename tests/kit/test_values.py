"""Values as printed: read, refused with a reason, written back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapcheck.errors import InputError
from snapcheck.kit import ValueForm, decades_apart, format_value, parse_value

F = ValueForm

READ = [
    ("4k7", F.OHMS, 4700.0),
    ("4K7", F.OHMS, 4700.0),
    ("4.7k", F.OHMS, 4700.0),
    ("4,7k", F.OHMS, 4700.0),
    ("4.7 kΩ", F.OHMS, 4700.0),
    ("4.7 k\u2126", F.OHMS, 4700.0),
    ("4.7kohm", F.OHMS, 4700.0),
    ("470", F.OHMS, 470.0),
    ("470R", F.OHMS, 470.0),
    ("470 Ω", F.OHMS, 470.0),
    ("470 ohms", F.OHMS, 470.0),
    ("R22", F.OHMS, 0.22),
    ("0R", F.OHMS, 0.0),
    ("2M2", F.OHMS, 2.2e6),
    ("k47", F.OHMS, 470.0),
    ("100n", F.FARADS, 1e-7),
    ("4µ7", F.FARADS, 4.7e-6),
    ("4\u03bc7", F.FARADS, 4.7e-6),
    ("4u7", F.FARADS, 4.7e-6),
    ("0.47uF", F.FARADS, 4.7e-7),
    ("470 nF", F.FARADS, 4.7e-7),
    ("470nf", F.FARADS, 4.7e-7),
    ("p47", F.FARADS, 4.7e-13),
    ("100UF", F.FARADS, 1e-4),
    ("1000µ", F.FARADS, 1e-3),
    ("1mF", F.FARADS, 1e-3),
    ("0,047u", F.FARADS, 4.7e-8),
    ("0.47 mfd", F.FARADS, 4.7e-7),
    ("10MFD", F.FARADS, 1e-5),
    (".33uF", F.FARADS, 3.3e-7),
    ("473K", F.FARADS, 4.7e-8),  # IEC 60062, clause 5, with a tolerance letter: not kilo
    ("101J", F.FARADS, 1e-10),
    ("68K", F.OHMS, 68e3),
    ("68k\n10%", F.OHMS, 68e3),
    ("47R ±5%", F.OHMS, 47.0),
    ("22R 1%", F.OHMS, 22.0),
    ("220000", F.OHMS, 220e3),
    ("47µF\n25V", F.FARADS, 4.7e-5),
    ("330µH", F.HENRIES, 3.3e-4),
    ("4m7", F.HENRIES, 4.7e-3),
    ("4.7 mH", F.HENRIES, 4.7e-3),
    ("1H", F.HENRIES, 1.0),
    ("9V", F.VOLTS, 9.0),
    ("4.5 V", F.VOLTS, 4.5),
    ("8V2", F.VOLTS, 8.2),
    ("9", F.VOLTS, 9.0),
    ("500mA", F.AMPERES, 0.5),
    ("100 mA", F.AMPERES, 0.1),
    ("1A5", F.AMPERES, 1.5),
    ("T250mA", F.AMPERES, 0.25),
    ("2", F.AMPERES, 2.0),
    ("15 V", F.RANGE, 15.0),
    ("100mA", F.RANGE, 0.1),
    (" 50  \u03bcA", F.RANGE, 5e-5),  # Greek mu, blanks as they come
    ("bc547", F.TYPE, "BC547"),
    ("1N 4148", F.TYPE, "1N4148"),
    ("2N\n3904", F.TYPE, "2N3904"),
    ("Red", F.COLOUR, "red"),
    ("GRN", F.COLOUR, "green"),
    ("YEL", F.COLOUR, "yellow"),
    ("ORANGE", F.COLOUR, "orange"),
    ("3.5V/0.2A", F.LAMP, "3.5V/0.2A"),
    ("12V / 100mA", F.LAMP, "12V/100mA"),
    ("6V 0.1A", F.LAMP, "6V/0.1A"),
    ("1,5V/0,25A", F.LAMP, "1,5V/0,25A"),
    ("6V, 0.1A", F.LAMP, "6V/0.1A"),
    ("6V,0.1A", F.LAMP, "6V/0.1A"),
    ("6V\n0.1A", F.LAMP, "6V/0.1A"),
]

REFUSED = [
    ("", F.OHMS, "empty"),
    ("abc", F.OHMS, "no value"),
    ("4.7.7k", F.OHMS, "no value"),
    ("-4k7", F.OHMS, "negative"),
    ("4E7", F.OHMS, "ambiguous"),
    ("4,700", F.OHMS, "ambiguous"),
    ("100n", F.OHMS, "does not go with"),
    ("470nF", F.OHMS, "is in F"),
    ("1mH", F.OHMS, "is in H"),
    ("10mF", F.OHMS, "is in F"),
    ("10µH", F.FARADS, "is in H"),
    ("99999999M", F.OHMS, "absurd"),
    ("100", F.FARADS, "ambiguous"),
    ("104", F.FARADS, "three-digit code"),
    ("0.1", F.FARADS, "ambiguous"),
    ("10M", F.FARADS, "mega"),
    ("4k7", F.FARADS, "does not go with"),
    ("0p", F.FARADS, "zero"),
    ("10", F.HENRIES, "ambiguous"),
    ("10MH", F.HENRIES, "mega"),
    ("500", F.AMPERES, "ambiguous"),
    ("0V", F.VOLTS, "zero"),
    ("3.5V", F.LAMP, "voltage and a current"),
    ("3.5V/red", F.LAMP, "no value"),
    ("15", F.RANGE, "meter range"),
    ("?!", F.TYPE, "part number"),
    ("123red", F.COLOUR, "no colour"),
    ("x" * 50, F.OHMS, "too long"),
    ("47k", F.NONE, "nothing is printed"),
]


@pytest.mark.parametrize(("text", "form", "value"), READ)
def test_reads(text: str, form: ValueForm, value: float | str) -> None:
    assert parse_value(text, form).value == value


@pytest.mark.parametrize(("text", "form", "why"), REFUSED)
def test_refuses_and_says_why(text: str, form: ValueForm, why: str) -> None:
    with pytest.raises(InputError, match=why) as caught:
        parse_value(text, form)
    assert caught.value.way_out


def test_further_data() -> None:
    assert parse_value("100uF/16V", F.FARADS).rated_V == 16.0
    assert parse_value("100µ 16V", F.FARADS).rated_V == 16.0
    assert parse_value("4µ7, 6V3", F.FARADS).rated_V == 6.3
    assert parse_value("4k7J", F.OHMS).tolerance == 0.05
    assert parse_value("4k7 ± 5 %", F.OHMS).tolerance == 0.05
    assert parse_value("4k7 10%", F.OHMS).tolerance == 0.1
    assert parse_value("473K", F.FARADS).tolerance == 0.1
    assert parse_value("100nK", F.FARADS).tolerance == 0.1
    assert parse_value("100nF", F.FARADS).tolerance is None
    assert parse_value("10mF", F.FARADS).tolerance is None
    assert parse_value("4n7H", F.FARADS).tolerance == 0.03
    lamp = parse_value("6V/50mA", F.LAMP)
    assert (lamp.volts, lamp.amperes) == (6.0, 0.05)
    lamp = parse_value("1,5V/0,25A", F.LAMP)
    assert (lamp.volts, lamp.amperes) == (1.5, 0.25)
    assert parse_value("6V 0.3W", F.LAMP).amperes == pytest.approx(0.05)
    assert parse_value("0.05A/6V", F.LAMP).volts == 6.0
    assert [parse_value(t, F.RANGE).unit for t in ("15V", "100 mA", "3A")] == ["V", "mA", "A"]


PRINTED = [
    (4700.0, F.OHMS, "4k7", "4.7k", "4.7 kΩ"),
    (470.0, F.OHMS, "470R", "470", "470 Ω"),
    (0.22, F.OHMS, "220m", "220m", "220 mΩ"),
    (1e6, F.OHMS, "1M", "1M", "1 MΩ"),
    (4.7e-6, F.FARADS, "4µ7", "4.7µF", "4.7 µF"),
    (1e-3, F.FARADS, "1000µ", "1000µF", "1000 µF"),
    (4.7e-3, F.HENRIES, "4m7H", "4.7mH", "4.7 mH"),
    (8.2, F.VOLTS, "8V2", "8.2V", "8.2 V"),
    (0.5, F.AMPERES, "500mA", "500mA", "500 mA"),
    (0.0, F.OHMS, "0R", "0", "0 Ω"),
    (999.0, F.OHMS, "999R", "999", "999 Ω"),
    (1000.0, F.OHMS, "1k", "1k", "1 kΩ"),
    (2e9, F.OHMS, "2G", "2G", "2 GΩ"),
    (0.5e-3, F.OHMS, "0m5", "0.5m", "0.5 mΩ"),
    (0.02, F.FARADS, "20000µ", "20000µF", "20000 µF"),
    (4.7e-10, F.FARADS, "470p", "470pF", "470 pF"),
    (2.2e-8, F.FARADS, "22n", "22nF", "22 nF"),
    (3.3e-7, F.HENRIES, "330nH", "330nH", "330 nH"),
    (1.5, F.HENRIES, "1H5", "1.5H", "1.5 H"),
    (0.25, F.VOLTS, "250mV", "250mV", "250 mV"),
    (12.0, F.VOLTS, "12V", "12V", "12 V"),
    (2e-5, F.AMPERES, "20µA", "20µA", "20 µA"),
    (2.5, F.AMPERES, "2A5", "2.5A", "2.5 A"),
]


@pytest.mark.parametrize(("value", "form", "code", "plain", "spaced"), PRINTED)
def test_writes(value: float, form: ValueForm, code: str, plain: str, spaced: str) -> None:
    assert format_value(value, form) == code
    assert format_value(value, form, style="plain") == plain
    assert format_value(value, form, style="spaced") == spaced


def test_a_meter_keeps_the_unit_that_is_printed() -> None:
    assert (
        format_value(0.1, F.RANGE, unit="mA")
        == format_value(0.1, F.RANGE, unit="mA", style="plain")
        == "100mA"
    )
    assert format_value(5e-5, F.RANGE, unit="µA", style="spaced") == "50 µA"
    assert format_value(15.0, F.RANGE) == "15V" and format_value(3.0, F.RANGE, unit="A") == "3A"
    assert (parse_value("50uA", F.RANGE).unit, parse_value("50uA", F.RANGE).value) == ("µA", 5e-5)
    assert format_value(None, F.OHMS) == "" and format_value("BC547", F.TYPE) == "BC547"


RANGES = {F.OHMS: (1e-3, 1e12), F.FARADS: (1e-14, 1e3), F.HENRIES: (1e-9, 1e3), F.VOLTS: (1e-3, 1e4),
          F.AMPERES: (1e-6, 1e3)}  # fmt: skip


@given(data=st.data(), form=st.sampled_from(list(RANGES)), style=st.sampled_from(["code", "plain", "spaced"]))
def test_what_is_written_reads_back_to_the_very_same_number(data, form, style) -> None:
    value = data.draw(st.floats(*RANGES[form]))
    text = format_value(value, form, style=style)
    if len(text) <= 40:  # longer ones are refused as no print
        assert parse_value(text, form).value == value


@given(text=st.text(max_size=60), form=st.sampled_from(list(ValueForm)))
def test_any_text_gives_a_value_or_a_reason(text: str, form: ValueForm) -> None:
    try:
        parse_value(text, form)
    except InputError as error:
        assert error.message and error.way_out


@pytest.mark.parametrize(("a", "b", "apart"), [
    (47e-6, 4.7e-6, True), (4.7e-6, 47e-6, True), (330e-6, 330e-9, True), (1000.0, 1e6, True),
    (470.0, 470.0, False), (470.0, 480.0, False), (470.0, 5600.0, False), (470.0, 4800.0, True),
    ("BC547", 47.0, False), (None, 47.0, False), (0.0, 47.0, False),
])  # fmt: skip
def test_values_that_differ_by_a_point_or_a_prefix_alone(a: object, b: object, apart: bool) -> None:
    assert decades_apart(a, b) is apart
