#!/bin/sh
# A sweep in four pieces as a Slurm job array, then the pieces joined:
#
#   sbatch --wait slurm.sh SCENARIO.toml --vary KEY=V1,V2
#   halfloom merge piece-*.csv -o whole.csv
#
# Task I of the array runs piece I of the sweep. A task that was stopped goes on where it was when it is submitted again,
# alone (sbatch --array=3 slurm.sh ...) or with the others. For more pieces change the array and `pieces` together.
#SBATCH --job-name=sweep
#SBATCH --array=1-4
#SBATCH --cpus-per-task=1
#SBATCH --output=piece-%a.log

pieces=4
halfloom sweep "$@" --slice "$SLURM_ARRAY_TASK_ID/$pieces" --threads "${SLURM_CPUS_PER_TASK:-1}" --quiet \
    --csv "piece-$SLURM_ARRAY_TASK_ID.csv"
# 1 says that a promise is missed or undecided somewhere: an answer, not a failure of the task.
code=$?
[ "$code" -eq 1 ] || exit "$code"
