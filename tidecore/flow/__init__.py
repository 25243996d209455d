"""The run of the tide: how hard the stream flows, from how fast the level moves.

`SlackLags` says when the stream turns at a mark, `slack_times` when that is, `flow_index` how hard it runs in parts of
what `flow_normaliser` gives: the mean peak at springs. `lags_from_notes` tells lags from noted slacks.
"""

from tidecore.flow.index import flow_index
from tidecore.flow.lags import SlackLags, Slacks, slack_times
from tidecore.flow.normaliser import flow_normaliser
from tidecore.flow.notes import LagEstimate, NotedLags, lags_from_notes
from tidecore.flow.rates import day_rates, neap_ratio

__all__ = [
    "LagEstimate",
    "NotedLags",
    "SlackLags",
    "Slacks",
    "day_rates",
    "flow_index",
    "flow_normaliser",
    "lags_from_notes",
    "neap_ratio",
    "slack_times",
]
