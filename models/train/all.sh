#!/usr/bin/env bash
# Train networks side by side on the GPUs there are: [NETWORKS="symbols text"] all.sh FONTS OUT MINUTES [extra arguments of fit.py]
# OUT keeps the checkpoints (*.pt), what was trained and how (*.json) and the logs; `--from OUT` goes on from them.
set -u
mkdir -p "$2"; fonts=$(realpath "$1") out=$(realpath "$2") minutes=$3; shift 3
nets=(${NETWORKS:-symbols text locate wires walk})
gpus=$(nvidia-smi -L | wc -l); cores=$(($(nproc) / ${#nets[@]} - 1)); pids=(); n=0
for net in "${nets[@]}"; do
  CUDA_VISIBLE_DEVICES=$((n++ % gpus)) PYTHONUNBUFFERED=1 OMP_NUM_THREADS=2 python3 "$(dirname "$0")/fit.py" $net \
    --fonts "$fonts" --out "$out" --minutes "$minutes" --workers $cores "$@" > >(tee "$out/$net.log" | sed -u "s/^/ /") 2>&1 &
  pids+=($!)
done
failed=0
for pid in "${pids[@]}"; do wait "$pid" || failed=1; done
exit $failed
