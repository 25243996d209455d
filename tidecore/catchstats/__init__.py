"""Statistics of the catch log: rates with exact limits, and two rods side by side. Numbers alone, no scipy.

``special`` has the incomplete gamma and beta functions, ``poisson`` the limits of a count and its over-dispersion,
``comparison`` two rates, ``counting`` what a trip adds, ``rates`` what trips add up to, ``two_rods`` what to do on the
shore now, ``rod_logs`` what a trip on record says of one rod.
"""

from tidecore.catchstats.comparison import RateComparison, chance_greater, compare_rates
from tidecore.catchstats.counting import count_by_bin, count_trip
from tidecore.catchstats.poisson import dispersion_of_trips, poisson_limits, rate_limits
from tidecore.catchstats.rates import CatchRate, TripCount, catch_rate, rate_of_counts, rates_by_bin
from tidecore.catchstats.rod_logs import RodOnRecord, rod_on_record, rods_of, without_rod
from tidecore.catchstats.two_rods import BASES, Habits, RodLog, Side, TwoRodAdvice, advise

__all__ = [
    "BASES",
    "CatchRate",
    "Habits",
    "RateComparison",
    "RodLog",
    "RodOnRecord",
    "Side",
    "TripCount",
    "TwoRodAdvice",
    "advise",
    "catch_rate",
    "chance_greater",
    "compare_rates",
    "count_by_bin",
    "count_trip",
    "dispersion_of_trips",
    "poisson_limits",
    "rate_limits",
    "rate_of_counts",
    "rates_by_bin",
    "rod_on_record",
    "rods_of",
    "without_rod",
]
