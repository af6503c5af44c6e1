#!/bin/sh
# A sweep in four pieces as a Slurm job array, then the pieces joined:
#
#   sbatch --wait slurm.sh SCENARIO.toml --vary KEY=V1,V2
#   halfloom merge piece-*.csv -o whole.csv
#
# Each task finds out by itself which piece it is. A task that was stopped goes on where it was when the same array
# is submitted again.
#SBATCH --job-name=sweep
#SBATCH --array=1-4
#SBATCH --cpus-per-task=1
#SBATCH --output=piece-%a.log

halfloom sweep "$@" --slice auto --threads "${SLURM_CPUS_PER_TASK:-1}" --quiet \
    --csv "piece-$SLURM_ARRAY_TASK_ID.csv"
# 1 says that a promise is missed or undecided somewhere: an answer, not a failure of the task.
code=$?
[ "$code" -eq 1 ] || exit "$code"
