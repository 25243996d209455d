"""The run of the tide: how hard the stream flows, from how fast the level moves.

`SlackLags` says when the stream turns at a mark, `slack_times` when that is, `flow_index` how hard it runs in parts of
what `flow_normaliser` gives: the mean peak at springs. `lags_from_notes` tells lags from noted slacks,
`fit_stream` and `stream_timing` from a record of the current; `day_rates` scales its rates by the range.
"""

from tidecore.flow.currents import Stream, check_current, fit_stream
from tidecore.flow.index import flow_index
from tidecore.flow.lags import SlackLags, Slacks, slack_times
from tidecore.flow.normaliser import flow_normaliser
from tidecore.flow.notes import LagEstimate, NotedLags, lags_from_notes
from tidecore.flow.rates import day_rates, neap_ratio
from tidecore.flow.streams import Streams, StreamTurns
from tidecore.flow.timing import StreamTiming, stream_timing

__all__ = [
    "LagEstimate",
    "NotedLags",
    "SlackLags",
    "Slacks",
    "Stream",
    "StreamTiming",
    "StreamTurns",
    "Streams",
    "check_current",
    "day_rates",
    "fit_stream",
    "flow_index",
    "flow_normaliser",
    "lags_from_notes",
    "neap_ratio",
    "slack_times",
    "stream_timing",
]
