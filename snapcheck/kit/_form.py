"""What is printed on the cubes of a kind."""

from __future__ import annotations

import enum

from snapcheck.words import tr


class ValueForm(enum.StrEnum):
    """What is printed on the cubes of a kind."""

    NONE = "none"
    OHMS = "ohms"
    FARADS = "farads"
    HENRIES = "henries"
    VOLTS = "volts"
    AMPERES = "amperes"
    TYPE = "type"  #: a part number, such as BC547
    COLOUR = "colour"
    LAMP = "volts/current"  #: 3.5V/0.2A
    RANGE = "range"  #: a meter's full scale: 15 V, 100 mA

    @property
    def numeric(self) -> bool:
        """True when the value is one number in SI units."""
        return self in _SI_UNIT or self is ValueForm.RANGE

    @property
    def words(self) -> str:
        """What is printed, in the active language; the value itself is for kit files and programs."""
        return {
            ValueForm.NONE: tr("nothing"),
            ValueForm.OHMS: tr("ohms"),
            ValueForm.FARADS: tr("farads"),
            ValueForm.HENRIES: tr("henries"),
            ValueForm.VOLTS: tr("volts"),
            ValueForm.AMPERES: tr("amperes"),
            ValueForm.TYPE: tr("type"),
            ValueForm.COLOUR: tr("colour"),
            ValueForm.LAMP: tr("volts/current"),
            ValueForm.RANGE: tr("range"),
        }[self]

    @property
    def si_unit(self) -> str:
        """``ohm``, ``F``, ``H``, ``V``, ``A``, or "" where the value is no single number of one unit."""
        return _SI_UNIT.get(self, "")


_SI_UNIT = {
    ValueForm.OHMS: "ohm",
    ValueForm.FARADS: "F",
    ValueForm.HENRIES: "H",
    ValueForm.VOLTS: "V",
    ValueForm.AMPERES: "A",
}
