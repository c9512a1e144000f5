"""Trains the adapter, or writes the labels it is trained with.

usage: train.py label FOLDER BASE TOKENIZER
       train.py run FOLDER BASE OUT.safetensors [STEPS=n] [SEED=n] [setting=value ...]
       train.py average OUT.safetensors IN.safetensors IN.safetensors ...

FOLDER holds synthesize.py's sets train-*. A label is the way of writing that the
base model itself likes best among those of the words that were said; of a
person's prompt it is the base model's own transcript. So the adapter learns to
hear, and not to write in another way.
"""

import json
import math
import pathlib
import sys
import time

import numpy as np
import torch
import torch.nn.functional as F

import model as recogniser
import texts
from augment import RATE, Augment

SETTINGS = {
    "STEPS": 4000, "SEED": 1, "INIT": 0, "batch": 192, "rate": 1e-3, "decay": 0.01,
    # Shares of a batch: another sentence, a person, no speech at all.
    "other": 0.40, "human": 0.09, "foreign": 0.08, "silent": 0.08,
    "natural": 3.0,  # how much oftener a clip of the neural voices is drawn
    # Weights: nearness to the base on clean speech, and of a wrong command.
    "near": 0.5, "near_human": 1.5, "guard": 0.2, "guard_nats": 2.5,
    "average": 0.998, "minutes": 0.0, "FROM": "",
}
EDGES_S = [0.0, 1.0, 1.4, 1.8, 2.4, 3.2, 5.0]
LEAST_FIT = -4.5  # a clip the base finds less likely, per token, is not what it should be


class Set:
    """All clips of a folder, as one long sound."""

    def __init__(self, folder):
        sounds, self.list, at = [], [], 0
        for path in sorted(pathlib.Path(folder).glob("train-*.json")):
            sound = np.fromfile(path.with_suffix(".raw"), np.int16)
            for start, length, said, kind, voice in json.loads(path.read_text()):
                self.list.append((at + start, min(length, len(sound) - start - 1), said, kind,
                                  voice))
            sounds.append(sound)
            at += len(sound)
        self.sound = np.concatenate(sounds)

    def padded(self, rows, device, lead_s=0.4, tail_s=0.4):
        longest = max(self.list[row][1] for row in rows)
        size = int(longest + (lead_s + tail_s) * RATE)
        x = torch.zeros(len(rows), size)
        for at, row in enumerate(rows):
            start, length = self.list[row][:2]
            clip = self.sound[start:start + length].astype(np.float32) / 32768
            x[at, int(lead_s * RATE):int(lead_s * RATE) + length] = torch.from_numpy(clip)
        return (x + 1e-4 * torch.randn_like(x)).to(device)


def padded_tokens(all_tokens, device):
    width = max(map(len, all_tokens)) + 1
    given = torch.full((len(all_tokens), width), recogniser.END)
    wanted = torch.full((len(all_tokens), width), -1)
    for row, tokens in enumerate(all_tokens):
        given[row, :len(tokens) + 1] = torch.tensor([recogniser.BEGIN, *tokens])
        wanted[row, :len(tokens) + 1] = torch.tensor([*tokens, recogniser.END])
    return given.to(device), wanted.to(device)


def log_likelihood(model, heard, given, wanted):
    """Of whole labels: its sum and its count of tokens."""
    logits = model.decoder(given, heard).float()
    each = torch.log_softmax(logits, -1).gather(-1, wanted.clamp_min(0)[..., None])[..., 0]
    there = wanted >= 0
    return (each * there).sum(1), there.sum(1)


@torch.no_grad()
def label(folder, base, tokenizer):
    folder, device = pathlib.Path(folder), "cuda" if torch.cuda.is_available() else "cpu"
    model = recogniser.load(base).to(device).eval()
    spelling = recogniser.Spelling(tokenizer)
    clips = Set(folder)
    order = sorted(range(len(clips.list)), key=lambda row: clips.list[row][1])
    labels, scores, ways, fit_of = [None] * len(order), {}, {}, {}
    for start in range(0, len(order), 64):
        rows = order[start:start + 64]
        with torch.autocast(device, dtype=torch.bfloat16):
            heard = model.encoder(clips.padded(rows, device))
        asked, own = [], [at for at, row in enumerate(rows) if clips.list[row][3] >= 2]
        for at, tokens in zip(own, greedy_all(model, heard[own]) if own else []):
            labels[rows[at]] = tokens
        for at, row in enumerate(rows):
            _, _, said, kind, _ = clips.list[row]
            if kind >= 2:
                continue
            if said not in ways:
                spelled = [spelling.spell(form) for form in texts.written(said)]
                ways[said] = [tokens for tokens in spelled if tokens and len(tokens) <= 24]
            asked += [(at, row, number) for number in range(len(ways[said]))]
        if not asked:
            continue
        given, wanted = padded_tokens([ways[clips.list[row][2]][number]
                                       for _, row, number in asked], device)
        for first in range(0, len(asked), 256):
            part = slice(first, first + 256)
            which = torch.tensor([at for at, _, _ in asked[part]], device=device)
            with torch.autocast(device, dtype=torch.bfloat16):
                total, count = log_likelihood(model, heard[which], given[part], wanted[part])
            for (_, row, number), nats, tokens in zip(asked[part], total.tolist(), count.tolist()):
                scores.setdefault(row, {})[number] = (nats, tokens)
    # One way of writing for each thing said, over all the clips that say it.
    sums = {}
    for row, found in scores.items():
        each = sums.setdefault(clips.list[row][2], {})
        for number, (nats, _) in found.items():
            each[number] = each.get(number, 0.0) + max(nats, -40.0)
    kept = 0
    fits = []
    for row, found in scores.items():
        said = clips.list[row][2]
        best = max(sums[said], key=sums[said].get)
        nats, tokens = found[best]
        fits.append(nats / tokens)
        fit_of.setdefault(clips.list[row][4].split(" ")[0], []).append(nats / tokens)
        if nats / tokens > LEAST_FIT:
            labels[row], kept = ways[said][best], kept + 1
    counts = np.bincount([clip[3] for clip in clips.list], minlength=4)
    (folder / "labels.json").write_text(json.dumps(labels))
    print("clips: others, phrases, people, foreign", counts.tolist(), "labelled", kept,
          "fit at 1, 5, 25, 50 %", np.percentile(fits, [1, 5, 25, 50]).round(2).tolist())
    for engine, found in fit_of.items():
        print(f"  {engine}: {len(found)}, fit at 5, 25, 50 %",
              np.percentile(found, [5, 25, 50]).round(2).tolist())
    for said in ("yes that is right", "step done", "twenty four", "five and three eighths inches",
                 "logbook", "hey logbook", "four and a half", "six in twelve"):
        if said in sums:
            best = max(sums[said], key=sums[said].get)
            print(f"  {said}: {spelling.text(ways[said][best])}")


def greedy(model, heard, most=24):
    tokens = [recogniser.BEGIN]
    while len(tokens) <= most:
        given = torch.tensor([tokens], device=heard.device)
        with torch.autocast(heard.device.type, dtype=torch.bfloat16):
            token = int(model.decoder(given, heard, last=True)[0, -1].argmax())
        if token == recogniser.END:
            break
        tokens.append(token)
    return tokens[1:] if len(tokens) <= most else None


def greedy_all(model, heard, most=24):
    """As greedy, for many sounds of one length."""
    given = torch.full((len(heard), 1), recogniser.BEGIN, device=heard.device)
    for _ in range(most + 1):
        with torch.autocast(heard.device.type, dtype=torch.bfloat16):
            token = model.decoder(given, heard, last=True)[:, -1].argmax(-1)
        token = torch.where((given == recogniser.END).any(1), recogniser.END, token)
        given = torch.cat((given, token[:, None]), 1)
        if bool((token == recogniser.END).all()):
            break
    made = [tokens[1:tokens.index(recogniser.END)] if recogniser.END in tokens else None
            for tokens in given.tolist()]
    return [tokens if tokens is not None and len(tokens) < most else None for tokens in made]


class Batches:
    """Clips drawn by the shares of their kinds, those of one length together."""

    def __init__(self, clips, labels, settings, device):
        rows = [row for row, tokens in enumerate(labels) if tokens]
        self.labels = [labels[row] for row in rows]
        picked = [clips.list[row] for row in rows]
        self.start = torch.tensor([clip[0] for clip in picked], device=device)
        self.length = torch.tensor([clip[1] for clip in picked], device=device)
        self.kind = np.array([clip[3] for clip in picked])
        self.sound = torch.from_numpy(clips.sound).to(device)
        self.said = [clip[2] for clip in picked]
        self.settings, self.device = settings, device
        self.pick = np.random.default_rng([settings["SEED"], 1])
        self.random = torch.Generator(device).manual_seed(settings["SEED"] * 7919 + 3)
        self.augment = Augment(self.sound, settings["SEED"] * 104729 + 5)
        shares = {0: settings["other"], 2: settings["human"], 3: settings["foreign"]}
        shares[1] = 1 - sum(shares.values())
        weight = np.array([settings["natural"] if clip[4].startswith("kokoro") else 1.0
                           for clip in picked])
        for kind, share in shares.items():
            mine = self.kind == kind
            weight[mine] *= share / max(weight[mine].sum(), 1e-9)
        seconds = np.array([clip[1] for clip in picked]) / RATE
        self.bucket = np.digitize(seconds, EDGES_S) - 1
        self.rows = [np.flatnonzero(self.bucket == b) for b in range(len(EDGES_S) - 1)]
        self.shares = [weight[r] / max(weight[r].sum(), 1e-9) for r in self.rows]
        self.buckets = np.array([weight[r].sum() for r in self.rows])
        self.buckets /= self.buckets.sum()

    def uniform(self, *shape, low=0.0, high=1.0):
        return torch.rand(*shape, device=self.device, generator=self.random) * (high - low) + low

    def next(self):
        count = self.settings["batch"]
        bucket = self.pick.choice(len(self.rows), p=self.buckets)
        rows = self.pick.choice(self.rows[bucket], count, p=self.shares[bucket])
        top = min(EDGES_S[bucket + 1], 4.6)
        size = int((math.ceil((top + self.pick.uniform(0.35, 1.1)) * 4) / 4) * RATE)
        at = torch.from_numpy(rows).to(self.device)
        start, length = self.start[at][:, None], self.length[at][:, None]
        speed = torch.exp(self.uniform(count, 1, low=math.log(0.86), high=math.log(1.17)))
        speed = torch.where(self.uniform(count, 1) < 0.75, speed, torch.ones_like(speed))
        speed = torch.maximum(speed, length / (size - 2400.0))
        spoken = length / speed
        lead = (size - spoken) * self.uniform(count, 1)
        place = (torch.arange(size, device=self.device)[None] - lead) * speed
        inside = (place >= 0) & (place < length - 1)
        low = torch.minimum(place.clamp_min(0).long(), length - 2)
        part = place.clamp_min(0) - low
        left, right = self.sound[start + low], self.sound[start + low + 1]
        x = (left * (1 - part) + right * part) * inside / 32768
        silent = (self.uniform(count, 1) < self.settings["silent"]).float()
        noisy = self.augment(x, spoken, silent)
        clean = x + 1e-4 * torch.randn(x.shape, device=self.device, generator=self.random)
        quiet = silent[:, 0].tolist()
        tokens = [[] if q else self.labels[row] for q, row in zip(quiet, rows)]
        given, wanted = padded_tokens(tokens, self.device)
        return rows, clean, noisy, given, wanted, silent[:, 0] > 0


def guards(batches, spelling_labels, rows):
    """A command that was not said, for each clip."""
    confirming, others = spelling_labels
    made = []
    for row in rows:
        mine = batches.labels[row]
        pool = confirming if batches.pick.random() < 0.7 else others
        wrong = pool[batches.pick.integers(len(pool))]
        made.append(wrong if wrong != mine else confirming[confirming.index(mine) - 1]
                    if mine in confirming else others[others.index(mine) - 1])
    return made


def run(folder, base, out, *changes):
    settings = dict(SETTINGS)
    for change in changes:
        name, value = change.split("=", 1)
        settings[name] = type(SETTINGS[name])(value)
    folder, device = pathlib.Path(folder), "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    clips = Set(folder)
    labels = json.loads((folder / "labels.json").read_text())
    batches = Batches(clips, labels, settings, device)
    teacher = recogniser.load(base).to(device).eval().requires_grad_(False)
    torch.manual_seed(settings["INIT"])
    model = recogniser.load(base).adapt()
    if settings["FROM"]:
        model.take(recogniser.read_adapter(settings["FROM"]))
    model.to(device)
    learned = {name: value for name, value in model.named_parameters() if value.requires_grad}
    mean = {name: value.detach().clone() for name, value in learned.items()}
    source = json.loads((folder / "commands.json").read_text())
    by_said = {batches.said[row]: batches.labels[row] for row in range(len(batches.said))}
    confirming = [by_said[said] for said in source["confirming"] if said in by_said]
    others = [by_said[said] for said in source["commanding"]
              if said in by_said and by_said[said] not in confirming]
    optimizer = torch.optim.AdamW(learned.values(), lr=settings["rate"], betas=(0.9, 0.98),
                                  weight_decay=settings["decay"], fused=device == "cuda")
    near = torch.tensor([settings["near"], settings["near"], settings["near_human"], 1.0],
                        device=device)
    half = torch.tensor([1.0, 1.0, 0.5, 0.25], device=device)
    begun, log = time.time(), []

    def save(path, values, step):
        recogniser.write_adapter(
            path, {name: value.detach().cpu().numpy() for name, value in values.items()},
            {"seed": str(settings["SEED"]), "settings": settings, "steps": str(step),
             "split": json.loads((folder / "split.json").read_text())
             if (folder / "split.json").exists() else "voices.py"})

    step = 0
    while True:
        part = (step / settings["STEPS"] if not settings["minutes"]
                else (time.time() - begun) / 60 / settings["minutes"])
        if part >= 1:
            break
        speed = min(1.0, (step + 1) / 150) * (0.5 * (1 + math.cos(math.pi * part)) + 0.01)
        for group in optimizer.param_groups:
            group["lr"] = settings["rate"] * speed
        rows, clean, noisy, given, wanted, silent = batches.next()
        kind = torch.from_numpy(batches.kind[rows]).to(device)
        there = wanted >= 0
        count = there.sum(1)
        with torch.no_grad(), torch.autocast(device, dtype=torch.bfloat16):
            old = teacher(clean, given).float().log_softmax(-1)
        with torch.autocast(device, dtype=torch.bfloat16):
            heard = model.encoder(noisy)
            new = model.decoder(given, heard)
        new = new.float().log_softmax(-1)
        truth = wanted.clamp_min(0)[..., None]
        entropy = -(new.gather(-1, truth)[..., 0] * there).sum(1) / count
        agreed = there & (old.argmax(-1) == wanted) & ~silent[:, None]
        apart = (old.exp() * (old - new)).sum(-1)
        apart = (apart * agreed).sum(1) / count
        loss = (half[kind] * entropy + near[kind] * apart).mean()
        if settings["guard"]:
            wrong_given, wrong_wanted = padded_tokens(
                guards(batches, (confirming, others), rows), device)
            with torch.autocast(device, dtype=torch.bfloat16):
                nats, tokens = log_likelihood(model, heard, wrong_given, wrong_wanted)
            loss = loss + settings["guard"] * F.relu(
                nats / tokens + settings["guard_nats"]).mean()
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(learned.values(), 1.0)
        optimizer.step()
        step += 1
        follow = min(settings["average"], 1 - 1 / (1 + step / 4))
        torch._foreach_lerp_(list(mean.values()), [v.detach() for v in learned.values()],
                             1 - follow)
        if step % 25 == 0:
            log.append((entropy.mean().item(), apart.mean().item(), loss.item()))
        if step % 250 == 0:
            last = np.mean(log[-10:], 0).round(4).tolist()
            print(f"{pathlib.Path(out).stem} step {step} {time.time() - begun:.0f} s "
                  f"cross-entropy {last[0]} apart {last[1]} loss {last[2]}", flush=True)
        if step % 2000 == 0:
            save(out, mean, step)
    save(out, mean, step)
    print(f"{out}: {step} steps, {time.time() - begun:.0f} s", flush=True)


def average(out, *adapters):
    """The mean of runs that began from the same numbers."""
    made = [recogniser.read_adapter(path) for path in adapters]
    recogniser.write_adapter(out, {name: np.mean([one[name].astype(np.float32) for one in made], 0)
                                   for name in made[0]}, {"mean of": " ".join(adapters)})


if __name__ == "__main__":
    ways = {"label": label, "run": run, "average": average}
    if len(sys.argv) < 5 or sys.argv[1] not in ways:
        sys.exit(__doc__)
    ways[sys.argv[1]](*sys.argv[2:])
