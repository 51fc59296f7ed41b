#!/usr/bin/env bash
# Train all four networks side by side on two GPUs: all.sh FONTS OUT MINUTES [extra arguments of fit.py]
set -u
cd "$(dirname "$0")"
fonts=$1 out=$2 minutes=$3; shift 3
gpus=$(nvidia-smi -L | wc -l); cores=$(($(nproc) / 4 - 1)); pids=()
for net in symbols text locate wires; do
  case $net in symbols|locate) gpu=0 ;; *) gpu=$((gpus - 1)) ;; esac
  CUDA_VISIBLE_DEVICES=$gpu PYTHONUNBUFFERED=1 OMP_NUM_THREADS=2 python3 fit.py $net --fonts "$fonts" --out "$out" --minutes "$minutes" --workers $cores "$@" 2>&1 | tee "$out/$net.log" | sed -u "s/^/ /" &
  pids+=($!)
done
start=$SECONDS; wait -n; [ $((SECONDS - start)) -lt 60 ] && { echo "one ended early: stopping"; pkill -f fit.py; exit 1; }
wait
tar -C "$out" -cf "$out/nets.tar" --remove-files $(cd "$out" && ls | grep -v nets.tar)
