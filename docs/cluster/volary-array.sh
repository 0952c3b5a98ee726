#!/bin/bash
# Attributes one study on a Slurm cluster: plan, an array of parts, merge.
#
#   ./volary-array.sh STUDY.json DIR PARTS
#
# Run it on a login node; study, recordings and DIR must lie on a disk that all nodes see. Set what your site asks for:
#   VOLARY        how volary is called (default: volary)
#   SBATCH_PLAN, SBATCH_PART, SBATCH_MERGE   more options for sbatch, such as "--partition=short --time=2:00:00"
#   CPUS          cores of the plan and of each part (default 4)
# To do single parts again, such as those a merge said are missing:
#   ARRAY=2-5,9 ./volary-array.sh STUDY.json DIR PARTS
set -euo pipefail
if [ $# -ne 3 ]; then
  echo "usage: volary-array.sh STUDY.json DIR PARTS" >&2
  exit 2
fi
study=$(realpath -- "$1")
mkdir -p -- "$2"
dir=$(realpath -- "$2")
parts=$3
cpus=${CPUS:-4}
export VOLARY=${VOLARY:-volary} VOLARY_STUDY=$study VOLARY_DIR=$dir VOLARY_PARTS=$parts

# The jobs find study and folder in their environment, so that any name is safe. One line of output: the number of the job.
submit() {
  sbatch --parsable --export=ALL "$@" | cut -d ';' -f 1
}

# shellcheck disable=SC2016,SC2086  # the jobs expand their own variables; more options are several words
{
  plan=$(submit --job-name=volary-plan --output="$dir/%x-%j.log" --cpus-per-task="$cpus" --mem=2G ${SBATCH_PLAN:-} \
    --wrap='exec $VOLARY attribute "$VOLARY_STUDY" --out "$VOLARY_DIR" --workers "${SLURM_CPUS_PER_TASK:-1}" --plan "$VOLARY_PARTS"')
  part=$(submit --job-name=volary-part --output="$dir/%x-%A_%a.log" --dependency=afterok:"$plan" --array="${ARRAY:-1-$parts}" --requeue --cpus-per-task="$cpus" --mem=2G ${SBATCH_PART:-} \
    --wrap='exec $VOLARY attribute "$VOLARY_STUDY" --out "$VOLARY_DIR" --workers "${SLURM_CPUS_PER_TASK:-1}" --part "$SLURM_ARRAY_TASK_ID"')
  merge=$(submit --job-name=volary-merge --output="$dir/%x-%j.log" --dependency=afterok:"$part" --cpus-per-task=1 --mem=4G ${SBATCH_MERGE:-} \
    --wrap='exec $VOLARY attribute "$VOLARY_STUDY" --out "$VOLARY_DIR" --merge')
}
echo "plan $plan, parts $part, merge $merge"
