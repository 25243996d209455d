"""Compound tides of shallow water that utide's table lacks, composed from their parents.

Where the rise of the tide is no longer small beside the depth, and where friction grows with the square of the
stream, constituents make further ones: at the sums and differences of their speeds. The argument V and the nodal
angle u of a compound are sums of its parents', its node factor f is their product.

A compound is named after its parents: those that add come first, those that subtract follow, each with its number,
and the digits at the end are cycles a day. So 3MS8 is 3 M2 + S2, and 2MSN4 is 2 M2 + S2 - N2: the cycles a day say
where adding ends. M, S, N, NU, T and K stand for M2, S2, N2, NU2, T2 and K2; at odd cycles a day K, O and P stand
for K1, O1 and P1, one of them in each name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

#: Names by cycles a day. What has the speed of a constituent of utide's table (so 2MS2 that of MU2) is not here:
#: two lines of one speed cannot be told apart.
_NAMES = """
NKM2 MNK2 MNUS2 MNUN2 2KM2 NKS2 2NK2 SKN2 SNUN2 3MKS2 3MKN2 2KS2 2SN2M2 3S2M2 SNK2M2 2MNKS2 2MK2S2 2MSKN2 2MNUNS2
2MP3
MNU4 3MN4 3MK4 2K4 2MKN4 2MNK4 2MNUS4 2MNUN4 3NM4 2NSM4 2SNM4 3SM4 2NMS4 2SMN4 4M2S4 SNKM4 2SKM4 MSKN4 2SMK4 MSNUN4
4MKS4 4MKN4 3MN2S4 3MNKS4 3MSKN4 3MNUNS4 MT4
MSP5 NSO5 NSK5 2NK5
2MNU6 MKNU6 4MS6 4MN6 4MK6 2KM6 3N6 2NS6 2SN6 3MNS6 3MSN6 2NK6 2SK6 3MKS6 3MKN6 3MNK6 3MNUS6 3MNUN6 2M2NS6 2M2SN6
2M2NK6 2MSKN6 2MSNK6 2MT6 MST6
3MO7 2MNK7 2MSP7 MSNO7 MSNK7
3MNU8 2MKNU8 5MS8 5MN8 5MK8 2M2K8 3NM8 2NMS8 2SMN8 2SMK8 3SM8 4MNS8 4MSN8 2NMK8 4MKS8 4MKN8 4MNK8 4MSK8 4MNUS8 3MT8
4MO9 4MP9 3MNO9 3MSP9 2M2SK9 2MSNK9
4MK10 4MNU10 3M2N10 6MS10 6MN10 3MNK10 3MSK10 3M2K10 3N2M10 2M2NS10 2M2SN10 2M2SK10 3S2M10 5MNS10 5MSN10 5MKS10 5MNK10
5MSK10
5MK11 5MO11 5MP11 4MNK11 4MSP11 4MNO11
5MN12 5MK12 5MNU12 4M2N12 4MSN12 4M2S12 4MNK12 4MSK12 4M2K12 3M3N12 3M2NS12 3M2SN12 3M2SK12 3M3S12 6MNS12 6MSN12
"""
_PART = re.compile(r"(\d*)(NU|[MSNTKOP])")
_WHOLE = re.compile(r"((?:\d?(?:NU|[MSNTKOP]))+)(\d+)")
_SEMIDIURNAL = {"M": "M2", "S": "S2", "N": "N2", "NU": "NU2", "T": "T2", "K": "K2"}
_DIURNAL = {"K": "K1", "O": "O1", "P": "P1"}


def parents_of(name: str) -> tuple[tuple[str, int], ...]:
    """Return the parents of a compound by its name, each with how often it is added.

    Raises
    ------
    ValueError
        If the name is not one of the form that the module describes.

    Examples
    --------
    >>> parents_of("3MSN6")
    (('M2', 3), ('S2', 1), ('N2', -1))
    >>> parents_of("3MO7")
    (('M2', 3), ('O1', 1))
    """
    whole = _WHOLE.fullmatch(name)
    if whole is None:
        raise ValueError(f"{name} is not the name of a compound")
    cycles = int(whole[2])
    letters = {**_SEMIDIURNAL, **_DIURNAL} if cycles % 2 else _SEMIDIURNAL
    parts = [(letters.get(letter, ""), int(count or 1)) for count, letter in _PART.findall(whole[1])]
    if all(parent for parent, _ in parts):
        for adding in range(len(parts), 0, -1):
            signed = tuple((parent, count if at < adding else -count) for at, (parent, count) in enumerate(parts))
            if sum(count * int(parent[-1]) for parent, count in signed) == cycles:
                return signed
    raise ValueError(f"the parents of {name} do not make {cycles} cycles a day")


@lru_cache(maxsize=1)
def compounds() -> Mapping[str, tuple[tuple[str, int], ...]]:
    """Return the parents of every compound by its name, in the order of cycles a day."""
    return MappingProxyType({name: parents_of(name) for name in _NAMES.split()})
