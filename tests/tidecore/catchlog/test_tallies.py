from __future__ import annotations

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.catchlog.trips import BASS, catch
from tidecore.catchlog import Catch, DiaryRow, longest_of, tally_catches, tally_row, ticks

COD = {"scientific_name": "Gadus morhua", "fao_code": "COD"}
#: Written without its code it is told apart: the tally keeps what was written.
NAMED = {"scientific_name": "gadus morhua"}
SHOUTED = {"scientific_name": "GADUS MORHUA", "fao_code": "COD"}

CATCHES = st.lists(
    st.builds(
        lambda minute, species, fate, cm, kind: Catch.parse(
            catch(
                f"19:{minute:02d}", species=species, fate=fate, length=None if cm is None else {"cm": cm, "kind": kind}
            )
        ),
        st.integers(0, 59),
        st.sampled_from([BASS, COD, NAMED, SHOUTED]),
        st.sampled_from(["kept", "returned"]),
        st.sampled_from([None, 30.0, 40.0, 50.0]),
        st.sampled_from(["total", "fork"]),
    ),
    max_size=12,
)


def key(one):
    return one.species.fao_code, one.species.scientific_name.lower()


@given(CATCHES)
def test_catches_are_counted_by_species_and_fate(catches):
    fates = Counter((key(one), one.fate) for one in catches)
    counts = Counter(key(one) for one in catches)
    found = tally_catches(catches)
    assert {key(one): (one.count, one.kept, one.returned) for one in found} == {
        of: (counts[of], fates[of, "kept"], fates[of, "returned"]) for of in counts
    }
    assert [key(one) for one in found] == list(dict.fromkeys(key(one) for one in catches))


@given(CATCHES)
def test_the_longest_is_longer_than_all_others_or_as_long_and_the_first(catches):
    found = {(key(one), one.length.kind): one for one in longest_of(catches)}
    measured = [one for one in catches if one.length is not None]
    assert found.keys() == {(key(one), one.length.kind) for one in measured}
    for of, best in found.items():
        same = [one for one in measured if (key(one), one.length.kind) == of]
        most = max(one.length.cm for one in same)
        assert best.length.cm == most
        assert best.at_us == min(ticks(one.at) for one in same if one.length.cm == most)


def test_a_coarse_row_counts_what_it_counts():
    row = {"date": "2011-10-02", "mark": "m", "outcome": "fished"}
    caught = [{"species": BASS, "count": 2}, {"species": COD, "count": 0}]
    (found,) = tally_row(DiaryRow.parse({**row, "caught": caught}))
    assert (key(found), found.count, found.kept, found.returned) == (("BSS", "dicentrarchus labrax"), 2, 0, 0)
