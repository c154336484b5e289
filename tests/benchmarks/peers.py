"""What a careful person would do with the general-purpose tools, as shell scripts.

Each copies the card to every drive and checks what it wrote, from the medium, and ends with 0
only if all agree: what does not check is not compared. `CARD`, `DRIVES` and `SCRATCH` are set.
"""

from __future__ import annotations

HEAD = r"""
set -euo pipefail
read -ra drives <<< "$DRIVES"
listed() { (cd "$1" && find . -type f ! -path './lost+found*' -print0 | sort -z); }
cold() { for d in "${drives[@]}"; do sync -f "$d"; done; echo 1 > /proc/sys/vm/drop_caches; }
sums() { local top=$1 out=$2; shift 2; (cd "$top" && listed . | xargs -0 "$@") > "$SCRATCH/$out"; }
alike() { for i in "${!drives[@]}"; do cmp "$SCRATCH/card" "$SCRATCH/$i"; done; }
all() { local pids=() p; while read -r job; do eval "$job" & pids+=($!); done
        for p in "${pids[@]}"; do wait "$p"; done; }
copy_in_turn() { for d in "${drives[@]}"; do cp -a "$CARD/." "$d/"; done; }
sums_in_turn() { sums "$CARD" card "$@"
                 for i in "${!drives[@]}"; do sums "${drives[$i]}" "$i" "$@"; done; alike; }
sums_at_once() { { echo "sums '$CARD' card $*"
                   for i in "${!drives[@]}"; do echo "sums '${drives[$i]}' $i $*"; done; } | all
                 alike; }
"""

FAN_OUT = r"""
mkfifo "$SCRATCH/pipe"
while IFS= read -r -d '' f; do
  outs=("$SCRATCH/pipe")
  for d in "${drives[@]}"; do mkdir -p "$d/${f%/*}"; outs+=("$d/$f"); done
  openssl dgst -sha256 -r < "$SCRATCH/pipe" >> "$SCRATCH/sha256" &
  tee "${outs[@]}" < "$CARD/$f" | xxhsum -q -H1 | sed "s|stdin$|$f|" >> "$SCRATCH/card"
  wait $!
done < <(listed "$CARD")
cold
for i in "${!drives[@]}"; do echo "sums '${drives[$i]}' $i xxhsum -q -H1"; done | all
alike
"""

SCRIPTS = {
    # The textbook's way, with the checksum of coreutils, of OpenSSL, and with xxh64.
    "cp+sha256sum": "copy_in_turn; cold; sums_in_turn sha256sum",
    "cp+openssl": "copy_in_turn; cold; sums_in_turn openssl dgst -sha256 -r",
    "cp+xxhsum": "copy_in_turn; cold; sums_in_turn xxhsum -q -H1",
    # All copies at once, then all checksums at once; no SHA-256.
    "parallel": """for d in "${drives[@]}"; do echo "cp -a '$CARD/.' '$d/'"; done | all
                   cold; sums_at_once xxhsum -q -H1""",
    "rsync": """for d in "${drives[@]}"; do rsync -a "$CARD/" "$d/"; done; cold
                for d in "${drives[@]}"; do
                  test -z "$(rsync -a --exclude=lost+found --checksum --dry-run -i "$CARD/" "$d/")"
                done""",
    "rsync-copy": """for d in "${drives[@]}"; do rsync -a "$CARD/" "$d/"; sync -f "$d"; done""",
    # One read of the card for all drives and two checksums: the best shell fan-out.
    "tee": FAN_OUT,
    # Limits, which check nothing: the card read once; and the drives written and read at once.
    "read-card": """listed "$CARD" | (cd "$CARD" && xargs -0 -I{} dd if={} of=/dev/null bs=4M \
                    iflag=direct status=none)""",
    "write-and-back": """
                    big() { dd if=/dev/zero of="$1/limit" bs=4M count=$((BYTES / 4194304)) \
                              oflag=direct conv=fsync status=none
                            dd if="$1/limit" of=/dev/null bs=4M iflag=direct status=none; }
                    for d in "${drives[@]}"; do echo "big '$d'"; done | all""",
}
LIMITS = frozenset({"read-card", "write-and-back"})


def script(name: str) -> str:
    """The whole script of a peer."""
    return HEAD + SCRIPTS[name]
