"""What wires resist and bear, and the fuses that protect them, against published tables."""

from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from patcher.power.wires import Wire, blade, wire_of

# Source: HyperPhysics, Common Wire Gauges: Ω per 1000 ft of solid copper at 20 °C, as printed.
HYPERPHYSICS = {
    10: "0.9989", 12: "1.588", 14: "2.525", 16: "4.016", 18: "6.385", 20: "10.15", 22: "16.14", 24: "25.67",
}  # fmt: skip
# Source: IEC 60228, class 5: largest Ω/km at 20 °C.
IEC_60228 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91}
# From memory: ISO 8820-3.
BLADES = [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30]
KILOFOOT = 304.8

gauges = st.integers(0, 40)
areas = st.floats(0.05, 35.0)


@pytest.mark.parametrize(("gauge", "printed"), HYPERPHYSICS.items())
def test_gauges_as_published(gauge: int, printed: str) -> None:
    unit = 10.0 ** -len(printed.partition(".")[2])
    # The table has four figures, and its resistivity as many: half a unit of the last place, and 0.02 % for that.
    within = unit / 2 + 2e-4 * float(printed)
    assert Wire(awg=gauge).ohms() * KILOFOOT == pytest.approx(float(printed), abs=within)


@pytest.mark.parametrize(("area", "ohms"), IEC_60228.items())
def test_cross_sections_as_published(area: float, ohms: float) -> None:
    assert Wire(mm2=area).ohms() * 1000 == pytest.approx(ohms, rel=1e-12)


def test_the_two_gauges_that_define_all() -> None:
    # From memory: ASTM B258: AWG 36 is 0.0050 inch, AWG 0000 0.4600; six steps halve the diameter, or nearly.
    inch = 25.4
    assert Wire(awg=36).area == pytest.approx(3.141592653589793 / 4 * (0.005 * inch) ** 2, rel=1e-12)
    assert (Wire(awg=36).area / Wire(awg=-3).area) ** 0.5 == pytest.approx(0.005 / 0.46, rel=1e-9)
    assert (Wire(awg=10).area / Wire(awg=16).area) ** 0.5 == pytest.approx(2.0, abs=0.01)


@given(gauges)
def test_a_thicker_gauge_resists_less_and_bears_no_less(gauge: int) -> None:
    thick, thin = Wire(awg=gauge), Wire(awg=gauge + 1)
    assert thick.area > thin.area > 0
    assert 0 < thick.ohms() < thin.ohms()
    assert thick.bears >= thin.bears > 0


@given(areas, areas)
@example(1.49, 1.5)
@example(2.4, 2.5)
def test_a_larger_cross_section_resists_less_and_bears_no_less(first: float, second: float) -> None:
    thin, thick = sorted((first, second))
    assert Wire(mm2=thin).area == thin
    assert Wire(mm2=thick).ohms() <= Wire(mm2=thin).ohms() * (1 + 1e-12)
    assert Wire(mm2=thick).bears >= Wire(mm2=thin).bears > 0


@given(areas)
def test_class_5_resists_no_less_than_as_much_solid_copper(area: float) -> None:
    # Source: IEC 60028: 1/58 Ω·mm²/m is what annealed copper has at 20 °C; IEC 60228's largest values of class 5 lie
    # 11 to 16 % above it.
    assert 1.05 < Wire(mm2=area).ohms() * area * 58 < 1.2


@given(gauges, st.floats(-40, 90))
def test_warm_copper_resists_more(gauge: int, celsius: float) -> None:
    # Source: IEC 60028: 0.00393 a kelvin at 20 °C.
    for wire in (Wire(awg=gauge), Wire(mm2=1.5)):
        assert wire.ohms(celsius) / wire.ohms() == pytest.approx(1 + 0.00393 * (celsius - 20), rel=1e-12)
        assert wire.ohms(celsius) < wire.ohms(celsius + 1)


def test_it_is_20_degrees_where_nothing_is_said() -> None:
    assert Wire(awg=18).ohms() == Wire(awg=18).ohms(20.0)


def test_what_common_gauges_bear() -> None:
    # From memory: NFPA 70, 240.4(D): at most 7 A for AWG 18, 10 for 16, 15 for 14, 20 for 12, 30 for 10.
    assert [Wire(awg=gauge).bears for gauge in (18, 16, 14, 12, 10)] == [7, 10, 15, 20, 30]


@given(gauges)
def test_a_gauge_bears_less_a_square_millimetre_than_glows(gauge: int) -> None:
    # From memory: Preece's law: a copper wire of diameter d inches melts at 10 244 d^1.5 amperes. A rating above a
    # fifth of that would be no rating.
    inches = 0.005 * 92 ** ((36 - gauge) / 39)
    assert Wire(awg=gauge).bears < 10244 * inches**1.5 / 5


@given(st.floats(0, 60), st.one_of(st.sampled_from(BLADES), st.floats(0, 60)))
def test_the_fuse_is_the_smallest_that_carries_the_current_for_hours_and_protects_the_wire(
    amps: float, bears: float
) -> None:
    # From memory: NFPA 70, 210.20(A) and 215.3: rated for 125 % of a continuous load or more.
    size = blade(amps, bears)
    fit = [listed for listed in BLADES if listed >= 1.25 * amps - 1e-9 and listed <= bears]
    assert size == (fit[0] if fit else None)


@pytest.mark.parametrize(
    ("amps", "bears", "size"),
    [
        (2.99, 15, 4),
        (4.0, 15, 5),
        (4.01, 15, 7.5),
        (4.01, 5.0, None),
        (4.01, 7.4, None),
        (2.4, 3.0, 3),  # 0.8 × 3 is 2.4000000000000004 to a machine, and 3 × 0.8 the same: no luck is asked for
        (0.0, 0.9, None),
        (24.0, 40, 30),
        (24.01, 40, None),
    ],
)
def test_fuses_at_their_edges(amps: float, bears: float, size: float | None) -> None:
    # From memory: makers of blade fuses say 75 to 80 % of the rating at 25 °C; what carries more may open in time, so
    # the next size is taken; one above what the wire bears does not protect it.
    assert blade(amps, bears) == size


def test_a_wire_is_what_its_table_says() -> None:
    assert wire_of(None, None) is None
    assert wire_of(18, None) == Wire(awg=18)
    assert wire_of(None, 0.75) == Wire(mm2=0.75)
    assert [str(Wire(awg=18)), str(Wire(mm2=0.75)), str(Wire(mm2=1.0))] == ["AWG 18", "0.75 mm²", "1 mm²"]


def test_tables_rise_from_size_to_size() -> None:
    for sizes in (sorted(IEC_60228), [*sorted(IEC_60228), 16.0, 25.0]):
        for thin, thick in pairwise(sizes):
            assert Wire(mm2=thick).ohms() < Wire(mm2=thin).ohms()
            assert Wire(mm2=thick).bears >= Wire(mm2=thin).bears
