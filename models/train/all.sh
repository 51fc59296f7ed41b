#!/usr/bin/env bash
# Train networks side by side on the GPUs there are, or slowly on the processor: [NETWORKS="symbols text"] all.sh FONTS OUT MINUTES [extra arguments of fit.py]
# OUT keeps the checkpoints (*.pt), what was trained and how (*.json) and the logs; `--from OUT` goes on from them.
# Labels are printed once for all: PRESSES of them, with SEED. Networks too many for a GPU each share the last one.
set -u
here=$(dirname "$0"); mkdir -p "$2"; fonts=$(realpath "$1") out=$(realpath "$2") minutes=$3; shift 3
nets=(${NETWORKS:-symbols text locate wires walk points}); presses=${PRESSES:-2400} seed=${SEED:-1}
python=${PYTHON:-python3} shared=/dev/shm; [ -w $shared ] || shared=${TMPDIR:-/tmp}
books=$(mktemp -d $shared/books.XXXX); trap 'rm -rf "$books"' EXIT
"$python" "$here/world.py" "$fonts" "$books" "$presses" 44 "$seed" || exit 1
gpus=$(nvidia-smi -L 2>/dev/null | wc -l); cores=$(($(nproc) / ${#nets[@]} - 1)); pids=(); n=0
[ $cores -ge 1 ] || cores=1
for net in "${nets[@]}"; do
  what=(fit.py "$net" --books "$books" --presses "$presses"); [ "$net" = points ] && what=(points.py)
  CUDA_VISIBLE_DEVICES=$((n < gpus ? n : gpus - 1)) PYTHONUNBUFFERED=1 OMP_NUM_THREADS=2 "$python" "$here/${what[0]}" "${what[@]:1}" \
    --fonts "$fonts" --out "$out" --minutes "$minutes" --workers $cores \
    --seed "$seed" "$@" > >(tee "$out/$net.log" | sed -u "s/^/ /") 2>&1 &
  pids+=($!); n=$((n + 1))
done
failed=0
for pid in "${pids[@]}"; do wait "$pid" || failed=1; done
exit $failed
