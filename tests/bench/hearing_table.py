"""Prints the hearing table from what was said and what was heard.

usage: hearing_table.py TRUTH HEARD
"""

import collections
import json
import sys

KINDS = ["command", "measure", "measure, narrow step", "human number"]
CONDITIONS = ["clean", "20 dB", "10 dB", "5 dB", "0 dB"]
# A false one of these logs something that was not done.
CONFIRMING = {"step-done", "yes", "log-as-is", "skip", "photo-taken", "was-wrong"}


def main(truth_path, heard_path):
    truth = {}
    with open(truth_path) as lines:
        for line in lines:
            path, *rest = line.rstrip("\n").split("\t")
            truth[path] = rest
    with open(heard_path) as lines:
        heard = [json.loads(line) for line in lines]
    if len(heard) != len(truth):
        sys.exit(f"{len(truth)} files were to be heard and {len(heard)} were")

    cells = collections.defaultdict(collections.Counter)
    noises = collections.defaultdict(collections.Counter)
    false, wrong, took = [], [], []
    negatives, negative_ms = 0, 0
    for file in heard:
        kind, condition, noise, text, meaning, voice = truth[file["file"]]
        segments = file["segments"]
        accepted = [s for s in segments if s["accepted"]]
        if kind == "negative":
            negatives += 1
            negative_ms += sum(s["length_ms"] for s in segments)
            false += [(s["meaning"], s["kind"], text, voice, condition) for s in accepted]
            continue
        took += [s["ms"] for s in segments]
        best = max(accepted, key=lambda s: s["b"], default=None)
        cell = cells[kind, condition]
        cell["all"] += 1
        cell["no speech found"] += not segments
        cell["best is right"] += any(s["meaning"] == meaning for s in segments)
        if best:
            right = best["meaning"] == meaning
            cell["accepted"] += right
            cell["wrong"] += not right
            if not right:
                wrong.append((text, best["words"], voice, condition, noise))
        if condition in ("5 dB", "0 dB") and kind in ("command", "measure"):
            noises[kind, noise]["all"] += 1
            noises[kind, noise]["accepted"] += bool(best and best["meaning"] == meaning)

    print("Accepted and right %, (accepted and wrong %), [best guess right %], files")
    print(f"{'':22}" + "".join(f"{c:>22}" for c in CONDITIONS))
    for kind in KINDS:
        row = f"{kind:22}"
        for condition in CONDITIONS:
            cell = cells[kind, condition]
            every = max(cell["all"], 1)
            share = [100 * cell[key] / every for key in ("accepted", "wrong", "best is right")]
            row += f"{share[0]:6.1f} ({share[1]:3.1f}) [{share[2]:3.0f}]{cell['all']:4d}"
        print(row)
    print("\nAccepted and right % at 5 and 0 dB, by noise")
    for (kind, noise), cell in sorted(noises.items()):
        print(f"{kind:10} {noise:12} {100 * cell['accepted'] / cell['all']:5.1f} of {cell['all']}")
    confirmations = [f for f in false if f[1] in CONFIRMING]
    commands = [f for f in false if f[1] not in CONFIRMING and f[1] not in ("length", "count")]
    print(f"\nNegatives: {negatives} files, {negative_ms / 60000:.1f} minutes taken for speech")
    print(f"  false confirmations {len(confirmations)}, other false commands {len(commands)},"
          f" numbers taken {len(false) - len(confirmations) - len(commands)}")
    for found in false:
        print("  taken:", *found, sep="  ")
    print(f"\nWrong meanings accepted: {len(wrong)}")
    for found in wrong:
        print("  said / heard:", *found, sep="  ")
    took.sort()
    if took:
        print(f"\nDecision, one thread: median {took[len(took) // 2]:.0f} ms,"
              f" 95th percentile {took[len(took) * 95 // 100]:.0f} ms")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main(*sys.argv[1:])
