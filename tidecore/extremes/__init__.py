"""High and low waters: complete turning points first, then what each of them is.

`find_extremes` finds them; an `Extremes` table holds them. `peak_rates` gives the strongest rate of each half tide.
"""

from tidecore.extremes.rates import peak_rates
from tidecore.extremes.search import find_extremes
from tidecore.extremes.table import Extremes

__all__ = ["Extremes", "find_extremes", "peak_rates"]
