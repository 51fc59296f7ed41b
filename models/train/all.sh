#!/usr/bin/env bash
# Train networks side by side on the GPUs there are: [NETWORKS="symbols text"] all.sh FONTS OUT MINUTES [extra arguments of fit.py]
set -u
mkdir -p "$2"; fonts=$(realpath "$1") out=$(realpath "$2") minutes=$3; shift 3
cd "$(dirname "$0")"
nets=(${NETWORKS:-symbols text locate wires walk})
gpus=$(nvidia-smi -L | wc -l); cores=$(($(nproc) / ${#nets[@]} - 1)); pids=(); n=0
for net in "${nets[@]}"; do
  gpu=$((n++ % gpus))
  CUDA_VISIBLE_DEVICES=$gpu PYTHONUNBUFFERED=1 OMP_NUM_THREADS=2 python3 fit.py $net --fonts "$fonts" --out "$out" --minutes "$minutes" --workers $cores "$@" 2>&1 | tee "$out/$net.log" | sed -u "s/^/ /" &
  pids+=($!)
done
start=$SECONDS; wait -n; [ $((SECONDS - start)) -lt 60 ] && { echo "one ended early: stopping"; pkill -f fit.py; exit 1; }
wait
tar -C "$out" -cf "$out/nets.tar" --remove-files $(cd "$out" && ls | grep -v nets.tar)
