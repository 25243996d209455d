#!/bin/sh
# How do I bring in the marks of my old notebook, see what would happen first, and send the file twice without harm?
#
# sh import_marks.sh FILE     FILE holds one mark a line (NDJSON): the fields of POST /v1/marks and a client_ref
#
# EBBMARK_URL and EBBMARK_KEY say where the service is and who asks.
set -eu
file=$1
url=${EBBMARK_URL:-http://localhost:8321}/v1/imports

call() {
    curl --fail-with-body --silent --show-error --max-time 60 ${EBBMARK_KEY:+-H "Authorization: Bearer $EBBMARK_KEY"} "$@"
}

# field NAME: the first text or number of this name in the JSON on standard input.
field() {
    sed -n "s/.*[{,]\"$1\":\"\{0,1\}\([^\",}]*\).*/\1/p" | head -n 1
}

send() {
    id=$(call -X POST "$url?kind=mark&dry_run=$1" -H 'Content-Type: application/x-ndjson' --data-binary "@$file" | field id)
    until state=$(call "$url/$id" | field state) && [ "$state" != queued ] && [ "$state" != running ]; do
        sleep 0.2
    done
    answer=$(call "$url/$id")
    echo "$2: $state, $(echo "$answer" | field created) created, $(echo "$answer" | field unchanged) unchanged," \
        "$(echo "$answer" | field conflict) in conflict, $(echo "$answer" | field invalid) invalid"
}

send true "it would be"
for status in conflict invalid; do
    call "$url/$id/rows?status=$status"
    echo
done
send false "it is"
