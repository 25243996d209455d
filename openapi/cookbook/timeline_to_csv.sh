#!/bin/sh
# What do the tide and the light do at a mark, as a table for a spreadsheet?
#
# sh timeline_to_csv.sh MARK START END > table.csv     MARK: its external_ref; instants as 2026-12-01T00:00Z
#
# EBBMARK_URL and EBBMARK_KEY say where the service is and who asks.
set -eu
url=${EBBMARK_URL:-http://localhost:8321}/v1/marks

call() {
    curl --fail-with-body --silent --show-error --max-time 60 ${EBBMARK_KEY:+-H "Authorization: Bearer $EBBMARK_KEY"} "$@"
}

id=$(call --get "$url" --data-urlencode "external_ref=$1" | sed -n 's/.*"id":"\(mrk_[^"]*\)".*/\1/p')
if [ -z "$id" ]; then
    echo "no mark is called $1" >&2
    exit 1
fi
call --get "$url/$id/timeline" -H 'Accept: text/csv' \
    --data-urlencode "start=$2" --data-urlencode "end=$3" -d step=10min \
    -d factor=height -d factor=flow_index -d factor=named_phase -d factor=light -d factor=hours_from_lw
