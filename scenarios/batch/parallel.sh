#!/bin/sh
# A sweep in four pieces under GNU parallel, on one machine or (with --sshlogin) on several, then the pieces joined:
#
#   parallel.sh SCENARIO.toml --vary KEY=V1,V2
#
# Each job finds out by itself which piece it is. One that was stopped goes on where it was when the same line is
# run again.
set -eu
pieces=4
one='halfloom sweep "$@" --slice auto/'$pieces' --threads 1 --quiet --csv "piece-$PARALLEL_SEQ.csv" > /dev/null
# 1 says that a promise is missed or undecided somewhere: an answer, not a failure of the job.
[ $? -le 1 ]'
# shellcheck disable=SC2016
seq "$pieces" | parallel --quote --max-args 0 --halt soon,fail=1 sh -c "$one" sweep "$@"
halfloom merge $(seq --format 'piece-%g.csv' "$pieces") -o whole.csv
