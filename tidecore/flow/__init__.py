"""The run of the tide: how hard the stream flows, from how fast the level moves.

`SlackLags` says when the stream turns at a mark, `slack_times` when that is, `flow_index` how hard it runs in parts of
what `flow_normaliser` gives: the mean peak at springs.
"""

from tidecore.flow.index import flow_index
from tidecore.flow.lags import SlackLags, Slacks, slack_times
from tidecore.flow.normaliser import flow_normaliser

__all__ = ["SlackLags", "Slacks", "flow_index", "flow_normaliser", "slack_times"]
