"""Arguments and node factors against T_TIDE, speeds against NOAA's list, all of it against utide.

T_TIDE: output of its t_vuf and t_astron at 1975-08-08T00:00Z, latitude 69.45, by Pawlowicz, Beardsley and Lentz
(2002), as quoted in the tests of the R package oce. Speeds: NOAA's 37 standard constituents (Schureman, Special
Publication 98).
"""

from __future__ import annotations

import numpy as np
import pytest

from tidecore.harmonics import Harmonics, arguments_of
from tidecore.harmonics.arguments import satellite_sums, table_names
from tidecore.harmonics.astronomy import longitude_rates, longitudes
from tidecore.timebase import US_PER_DAY, microseconds

#: T_TIDE prints 16 digits; its days since year 0 leave 1e-10 day, which the moon's argument multiplies by 2.
TTIDE_TOLERANCE = 1e-9
AT = microseconds("1975-08-08")

# tau, s, h, p, N', p': cycles, cycles a day.
ASTRONOMY = (
    ("tau", -0.021663092842985066, 0.9661368079665876),
    ("s", 0.3991183694539586, 0.036601101333188765),
    ("h", 0.37745527661097356, 0.00273790929977641),
    ("p", 0.47352449224491977, 0.00030945458977503856),
    ("np", 0.3416825376665251, 0.00014709398916752078),
    ("pp", 0.784779944831455, 1.3079800385981e-07),
)

# name, V [cycles], u [cycles], f.
NODES = (
    ("MM", -0.074406122790961149, 0, 1),
    ("MSF", 0.043326185685970131, 0, 1),
    ("ALP1", -0.63970152519195267, -0.035730081038281167, 0.9272666951860743),
    ("2Q1", -0.52196921671502139, -0.041056617835713731, 0.91876560270792529),
    ("Q1", -0.59637533950598254, -0.034750144410389414, 0.91361514379815112),
    ("O1", -0.67078146229694369, -0.029281122010452704, 0.90841044913845237),
    ("NO1", -0.2981386005980653, 0.072604014468481221, 1.3103929275110473),
    ("K1", -0.37254472338902644, 0.022609493053959144, 0.94730126197164677),
    ("J1", -0.44695084617998759, 0.049566898616426706, 0.92467374922680412),
    ("OO1", 0.4256920155188908, 0.098918591697039246, 0.87279495125656748),
    ("UPS1", 0.35128589272792965, 0.10028458991622789, 0.78090694856929177),
    ("EPS2", -0.012246248580979113, -0.0090264132502375343, 1.0214184478334933),
    ("MU2", -0.086652371371940262, 0.0012851013344483595, 1.0206332193576997),
    ("N2", 0.031079937104991018, 0.0046106124960731583, 1.0229060414080522),
    ("M2", -0.043326185685970131, 0.0054143730462262174, 1.021023572144711),
    ("L2", -0.61773230847693128, 0.0027404629057543963, 0.81679072125951691),
    ("S2", 0, -0.00026092506352816142, 0.99893775156306297),
    ("ETA2", 0.68050443043098596, 0.093923995768470173, 0.82805626744653082),
    ("MO3", -0.71410764798291382, -0.023866748964226487, 0.92750848175292389),
    ("M3", -0.5649892785289552, 0.0072982083341842034, 1.0318069958091132),
    ("MK3", -0.41587090907499658, 0.028023866100185361, 0.9672169183954834),
    ("SK3", -0.37254472338902644, 0.022348567990430983, 0.94629499268680894),
    ("MN4", -0.012246248580979113, 0.010024985542299376, 1.044411180366855),
    ("M4", -0.086652371371940262, 0.010828746092452435, 1.0424891348751457),
    ("SN4", 0.031079937104991018, 0.0043496874325449969, 1.0218194610644331),
    ("MS4", -0.043326185685970131, 0.005153447982698056, 1.0199389914511243),
    ("S4", 0, -0.00052185012705632285, 0.99787663149786776),
    ("2MK5", -0.45919709476096671, 0.033438239146411579, 0.98755127305895585),
    ("2SK5", -0.37254472338902644, 0.022087642926902823, 0.94528979230994603),
    ("2MN6", -0.055572434266949244, 0.015439358588525593, 1.0663684341660402),
    ("M6", -0.12997855705791039, 0.016243119138678652, 1.0644059804122707),
    ("2MS6", -0.086652371371940262, 0.010567821028924274, 1.0413817524211006),
    ("2SM6", -0.043326185685970131, 0.0048925229191698946, 1.0188555628516844),
    ("3MK7", -0.50252328044693684, 0.038852612192637796, 1.008313128494712),
    ("M8", -0.17330474274388052, 0.02165749218490487, 1.0867835963327299),
    ("M10", -0.21663092842985066, 0.027071865231131087, 1.1096316696759194),
    ("P1", -0.62745527661097356, 0.001579897681402987, 1.0047551890727409),
    ("K2", 0.75491055322194711, 0.044125677307723182, 0.86273520229848033),
)

SPEEDS = {
    "M2": 28.9841042, "S2": 30.0, "N2": 28.4397295, "K1": 15.0410686, "M4": 57.9682084, "O1": 13.9430356,
    "M6": 86.9523127, "MK3": 44.0251729, "S4": 60.0, "MN4": 57.4238337, "NU2": 28.5125831, "S6": 90.0,
    "MU2": 27.9682084, "2N2": 27.8953548, "OO1": 16.1391017, "LAM2": 29.4556253, "S1": 15.0, "M1": 14.4966939,
    "J1": 15.5854433, "MM": 0.5443747, "SSA": 0.0821373, "SA": 0.0410686, "MSF": 1.0158958, "MF": 1.0980331,
    "RHO": 13.4715145, "Q1": 13.3986609, "T2": 29.9589333, "R2": 30.0410667, "2Q1": 12.8542862, "P1": 14.9589314,
    "2SM2": 31.0158958, "M3": 43.4761563, "L2": 29.5284789, "2MK3": 42.9271398, "K2": 30.0821373,
    "M8": 115.9364166, "MS4": 58.9841042,
}  # fmt: skip
#: Degrees an hour. The list cuts its last digit here and there: M8 is 115.9364166, four times M2 115.9364168.
LAST_DIGITS = 4.0e-7
#: NOAA's name -> the name of convention "utide".
RENAMED = {"LAM2": "LDA2", "M1": "NO1", "RHO": "RHO1", "2MK3": "MO3"}
#: Two conventions, no error: utide's S1 and SA are those of h - p'.
OTHER_CONVENTION = {"S1": 15.0000020, "SA": 0.0410667}


def from_whole(cycles: np.ndarray) -> np.ndarray:
    return np.abs(cycles - np.rint(cycles))


def test_longitudes_are_those_of_t_tide() -> None:
    found, rates = longitudes(AT.reshape(1))[:, 0], longitude_rates(float(AT))
    assert from_whole(found - np.array([row[1] for row in ASTRONOMY])).max() < TTIDE_TOLERANCE
    assert np.abs(rates - np.array([row[2] for row in ASTRONOMY])).max() < TTIDE_TOLERANCE


def test_arguments_and_node_factors_are_those_of_t_tide() -> None:
    names = tuple(row[0] for row in NODES)
    lines = arguments_of(names)
    factors = lines.node_factors(satellite_sums(AT.reshape(1)), np.array([69.45]))[0, 0]
    v, u, f = (np.array([row[column] for row in NODES]) for column in (1, 2, 3))
    assert from_whole(lines.phases(AT.reshape(1))[0] - v).max() < TTIDE_TOLERANCE
    assert from_whole(np.angle(factors) / (2 * np.pi) - u).max() < TTIDE_TOLERANCE
    assert np.abs(np.abs(factors) - f).max() < TTIDE_TOLERANCE


def test_speeds_are_the_published_ones() -> None:
    names = tuple(RENAMED.get(name, name) for name in SPEEDS)
    speeds = Harmonics(names, np.ones(37), np.zeros(37), 50.0).speeds_deg_per_hour
    for name, ours in zip(SPEEDS, speeds, strict=True):
        assert ours == pytest.approx(OTHER_CONVENTION.get(name, SPEEDS[name]), abs=LAST_DIGITS), name


@pytest.mark.parametrize("latitude", [69.45, 50.0, 3.0, -2.0, -43.9])
def test_all_constituents_agree_with_utide(latitude: float) -> None:
    from utide._ut_constants import constit_index_dict
    from utide.harmonics import FUV

    # Instants that both clocks can hold without rounding: multiples of 1/1024 day.
    rng = np.random.default_rng(1)
    times = rng.integers(-70 * 365 * 1024, 80 * 365 * 1024, 200) * (US_PER_DAY // 1024)
    names = table_names()
    lines = arguments_of(names)
    index = [constit_index_dict[name] for name in names]
    f, u, v = FUV(times / US_PER_DAY + 719163.0, 0.0, index, latitude, [False] * 4)
    ours = lines.node_factors(satellite_sums(times), np.array([latitude]))[0]
    assert from_whole(lines.phases(times) - v).max() < 1e-12
    assert (np.abs(ours - f * np.exp(2j * np.pi * u)) / f).max() < 1e-12
